"""Are these the numbers that were read before?"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

import numpy as np

SAME_BITS = 24
"""Leading binary digits by which two numbers are the same, 6 × 10⁻⁸ of them: another machine or
another version of a library differs in the last of 53, a record that was changed in the first."""


def fingerprint_of(arrays: Iterable[np.ndarray[Any, Any]], names: Iterable[str]) -> str:
    """Fingerprint of arrays and names, in their order.

    Parameters
    ----------
    arrays
        Numbers, truth values or moments, any shape.
    names
        Texts.
    """
    digest = hashlib.sha256()
    for values in arrays:
        digest.update(repr(values.shape).encode())
        digest.update(np.ascontiguousarray(_rounded(values)).tobytes())
    digest.update("\x1f".join(names).encode())
    return digest.hexdigest()


def _rounded(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Numbers to their leading digits; what is counted or dated stays."""
    if values.dtype.kind == "M":
        return values.astype("datetime64[us]")
    if values.dtype.kind != "f":
        return values
    part, power = np.frexp(values)
    # Nought has one sign.
    return np.asarray(np.ldexp(np.rint(part * 2.0**SAME_BITS), power - SAME_BITS) + 0.0)
