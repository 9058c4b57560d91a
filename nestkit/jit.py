"""How the kernels are compiled: four ways, so that compiling them all takes seconds, not a minute."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])

# Dividing by zero gives infinity in kernels, as it does in numpy: asking first slows down every loop.
_compiled = njit(cache=True, error_model="numpy", _nrt=True)
_maker = njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=True)
# References to arrays are counted only where arrays are made (a kernel would take this from its caller
# otherwise): counting took five sixths of the time of the packing search.
_uncounted = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "_nrt": False}
_inner = njit(cache=True, error_model="numpy", **_uncounted)
_woven = njit(cache=True, error_model="numpy", forceinline=True, **_uncounted)


def kernel(function: F) -> F:
    """A kernel that Python calls."""
    return cast(F, _compiled(function))


def maker(function: F) -> F:
    """A kernel that only other kernels call, and that makes arrays: without the way in from Python."""
    return cast(F, _maker(function))


def inner(function: F) -> F:
    """A kernel that only other kernels call and that makes no arrays, so that none need be counted."""
    return cast(F, _inner(function))


def woven(function: F) -> F:
    """An inner kernel that is woven into those that call it: for the innermost loops. It makes no arrays."""
    return cast(F, _woven(function))
