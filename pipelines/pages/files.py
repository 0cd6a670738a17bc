"""What the file of a page is called."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence


def file_names(prefix: str, dogs: Sequence[str], suffix: str = ".html") -> dict[str, str]:
    """A plain file name for each dog, whatever its name holds."""
    names: dict[str, str] = {}
    for dog in dogs:
        ascii_name = unicodedata.normalize("NFKD", dog).encode("ascii", "ignore").decode()
        base = re.sub(r"[^a-z0-9]+", "-", ascii_name.lower()).strip("-")[:60] or "dog"
        name, n = f"{prefix}-{base}{suffix}", 2
        while name in names.values():
            name, n = f"{prefix}-{base}-{n}{suffix}", n + 1
        names[dog] = name
    return names
