"""Which people a text names: asked of every note in a packet, so that none names anybody else."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

_RUN = re.compile(r"\w+")
_KEPT = 4096
"""Texts whose answer is kept: thousands of calls share the same words."""


class NamesInText:
    """Finds names in texts, whatever their case: the longest at each place, and only where it is not part of a word.

    Names are looked up by the word that they begin with. One pattern of all names would try thousands of them at each
    place of each text.
    """

    def __init__(self, names: Iterable[str]) -> None:
        self._by_first: dict[str, list[str]] = {}
        odd = []
        for name in sorted({name.casefold() for name in names if name.strip()}, key=lambda name: (-len(name), name)):
            if first := _RUN.match(name):
                self._by_first.setdefault(first[0], []).append(name)
            else:
                odd.append(name)
        # Names that begin with a mark, such as an id in brackets, are few or none.
        self._odd = re.compile("|".join(rf"(?<!\w){re.escape(name)}(?!\w)" for name in odd)) if odd else None
        self.found = lru_cache(maxsize=_KEPT)(self._found)

    def _found(self, text: str) -> frozenset[str]:
        """Return the names that a text holds, in lower case."""
        text = text.casefold()
        found = set(self._odd.findall(text)) if self._odd else set()
        end = 0
        for run in _RUN.finditer(text):
            if run.start() < end:
                continue
            for name in self._by_first.get(run[0], ()):
                after = run.start() + len(name)
                if text.startswith(name, run.start()) and not _RUN.match(text, after):
                    found.add(name)
                    end = after
                    break
        return frozenset(found)
