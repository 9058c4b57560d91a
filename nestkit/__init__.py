"""nestkit: from a maker's drawings to sheets, cutter files and pieces that fit.

For programs of your own: ``from nestkit import load_build, plan, write, check``. They come from
`nestkit.library` when they are first asked for, so that ``nestkit --help`` is instant.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nestkit.errors import InputError, NestkitError, OutputError
    from nestkit.library import check, load_build, plan, write

__version__ = "0.1.0"

__all__ = ["InputError", "NestkitError", "OutputError", "check", "load_build", "plan", "write"]


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    room = "errors" if name.endswith("Error") else "library"
    return getattr(import_module(f"nestkit.{room}"), name)
