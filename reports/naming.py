"""File names and anchors for ids, which are data and may look like anything."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
_RESERVED = {"con", "prn", "aux", "nul", "assets"} | {f"{name}{i}" for name in ("com", "lpt") for i in range(10)}


def slug(text: str) -> str:
    """Return `text` itself where it is a plain file name, else a readable part of it and eight digits of its hash."""
    if _PLAIN.fullmatch(text) and text.casefold() not in _RESERVED:
        return text
    return f"{_readable(text)}-{_digits(text)}"


def _readable(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:30] or "id"


def _digits(text: str, number: int = 8) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:number]


def folder_names(ids: Iterable[str]) -> dict[str, str]:
    """Return a folder name for each id, none like another even where upper and lower case are one.

    Names that meet take more and more digits of the hashes, so that ids made to meet are told apart too.
    """
    names = {text: slug(text) for text in ids}
    for number in (8, 16, 32, 64):
        counts = Counter(name.casefold() for name in names.values())
        for text in [text for text, name in names.items() if counts[name.casefold()] > 1]:
            names[text] = f"{_readable(text)}-{_digits(text, number)}"
    return names


@lru_cache(maxsize=16384)
def anchor(prefix: str, text: str) -> str:
    """Return an anchor for an id: `prefix-` and its slug."""
    return f"{prefix}-{slug(text)}"
