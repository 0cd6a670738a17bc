"""What holds a model's numbers: numpy's arrays where answers are read, the sampler's inside it.

A formula that stands in a density and in an answer is written once, for both. Nothing is loaded
here: the name of the sampler's array serves readers and type checkers only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

if TYPE_CHECKING:
    import jax

Array: TypeAlias = "np.ndarray[Any, Any] | jax.Array"
"""An array of either library; its shape stands where it is used."""
