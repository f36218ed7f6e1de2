"""Loads the constraint solver without the library of tables that it imports for calls that nobody makes here.

Loading pandas takes several times as long as all the rest of the solver; the solver names two of its classes in annotations and
asks whether what it is handed is one of them. While it is loaded two empty classes stand in for them. Should a later release
of the solver want more of pandas than that, it is loaded as it is.
"""

import contextlib
import sys
import threading
from types import ModuleType
from typing import Final

__all__ = ["load_solver"]

_SOLVER: Final = "ortools.sat.python.cp_model"
_TABLES: Final = "pandas"
_one_at_a_time: Final = threading.Lock()


def load_solver() -> None:
    """After this ``from ortools.sat.python import cp_model`` finds it loaded. Harmless where it is already."""
    with _one_at_a_time:
        if _SOLVER in sys.modules or _TABLES in sys.modules:
            return
        sys.modules[_TABLES] = _two_classes()
        try:
            with contextlib.suppress(
                AttributeError, ImportError
            ):  # whoever needs it imports it again, and is told then
                import ortools.sat.python.cp_model  # noqa: F401  to be found loaded
        finally:
            del sys.modules[_TABLES]


def _two_classes() -> ModuleType:
    module = ModuleType(_TABLES, "Stands in while the solver is loaded.")
    for name in ("Index", "Series"):
        setattr(module, name, type(name, (), {}))
    return module
