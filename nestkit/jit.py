"""How the kernels are compiled: three ways, so that compiling them all takes seconds, not a minute."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])

_compiled = njit(cache=True)
_inner = njit(cache=True, no_cpython_wrapper=True, no_cfunc_wrapper=True)
_woven = njit(cache=True, no_cpython_wrapper=True, no_cfunc_wrapper=True, forceinline=True)


def kernel(function: F) -> F:
    """A kernel that Python calls."""
    return cast(F, _compiled(function))


def inner(function: F) -> F:
    """A kernel that only other kernels call: without the way in from Python, most of its compile time."""
    return cast(F, _inner(function))


def woven(function: F) -> F:
    """A kernel that is woven into those that call it: for the innermost loops."""
    return cast(F, _woven(function))
