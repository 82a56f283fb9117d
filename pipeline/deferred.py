"""Put off loading a module that other packages import and hardly ever use."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from types import ModuleType
from typing import Any


class _Deferred(ModuleType):
    """Stands for a module until something of it is asked for.

    The loader that Python has for this (`importlib.util.LazyLoader`) loads a module as soon as a second place imports
    it, because importing looks at `__spec__`.
    """

    def __getattr__(self, name: str) -> Any:
        # Asked for what this stand-in lacks, which is all but a few names that importing looks at.
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(importlib.import_module(self.__name__), name)


def defer(name: str) -> None:
    """Have a module loaded when something of it is first asked for, and not when it is imported.

    Nothing happens where it is loaded already or is not installed. Its parent packages are loaded.
    """
    if name in sys.modules:
        return
    spec = importlib.util.find_spec(name)
    if spec is None:
        return
    module = _Deferred(name)
    module.__spec__, module.__loader__, module.__file__ = spec, spec.loader, spec.origin
    sys.modules[name] = module
    parent, _, last = name.rpartition(".")
    if parent:
        vars(sys.modules[parent])[last] = module
