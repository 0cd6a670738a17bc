"""Every fixed text a reader sees, one file a language."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

LANGUAGES = ("en",)


@cache
def texts(language: str) -> Mapping[str, str]:
    """Texts of one language by key.

    Raises
    ------
    ValueError
        There is no such language.
    """
    if language not in LANGUAGES:
        raise ValueError(f"no texts in {language!r}; there are {', '.join(LANGUAGES)}")
    source = (files("reports") / "catalog" / f"{language}.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(source))
