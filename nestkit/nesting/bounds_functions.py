"""Dual-feasible functions: they change sizes so that what fits together still does, and add up to more.

A function f on [0, 1] is dual feasible when numbers that add up to no more than 1 still do after f. Take
two of them, f for widths and g for heights, both as shares of the sheet: the sum of f(width) g(height)
over the rectangles on one sheet is at most 1. All functions here grow with their argument, so that a
width that is known to be at least w may be counted as w.

References
----------
Fekete and Schepers 2001, "New classes of fast lower bounds for bin packing problems", Mathematical
Programming 91: `rounded_down` (their u of k), `without_small` (U of epsilon), `in_steps` (phi of epsilon).
Carlier, Clautiaux and Moukrim 2007, "New reduction procedures and lower bounds for the two-dimensional bin
packing problem with fixed orientation", Computers & Operations Research 34: `in_whole_steps` (their f of
k, first function). Formulas from memory; tests/nesting checks that they are dual feasible.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Function = Callable[[Values], Values]

#: Shares closer than this to a step are taken to lie below it.
EPSILON = 1e-9


@dataclass(frozen=True, eq=False)
class Named:
    """A dual-feasible function, and what to call it."""

    name: str
    of: Function


def identity(x: Values) -> Values:
    """x itself."""
    return x


def rounded_down(k: int, x: Values) -> Values:
    """u of k: floor((k + 1) x) / k, and x itself where (k + 1) x is a whole number."""
    scaled = (k + 1) * x
    near = np.abs(scaled - np.rint(scaled)) < EPSILON * (k + 1)
    return np.where(near, np.minimum(x, np.rint(scaled) / (k + 1)), np.floor(scaled) / k)


def without_small(epsilon: float, x: Values) -> Values:
    """U of epsilon, up to 1/2: 1 above 1 - epsilon, 0 below epsilon, x between."""
    return np.where(x > 1.0 - epsilon + EPSILON, 1.0, np.where(x < epsilon - EPSILON, 0.0, x))


def in_steps(epsilon: float, x: Values) -> Values:
    """phi of epsilon, up to 1/2: large ones lose the steps that fit beside them, others are one step."""
    steps = np.floor(1.0 / epsilon + EPSILON)
    beside = np.floor((1.0 - x) / epsilon + EPSILON)
    small = np.where(x < epsilon + EPSILON, 0.0, 1.0 / steps)
    return np.where(x > 0.5 + EPSILON, 1.0 - beside / steps, small)


def in_whole_steps(k: float, x: Values) -> Values:
    """f of k, up to 1/2: how many steps k less fit when x is there; twice that for small ones."""
    whole = math.floor(1.0 / k + EPSILON)
    large = 2.0 * (whole - np.floor((1.0 - x) / k + EPSILON))
    small = 2.0 * np.floor(np.maximum(x / k - EPSILON, 0.0))
    middle = np.minimum(whole, large)
    near = np.abs(x - 0.5) <= EPSILON
    doubled: Values = np.where(near, np.minimum(middle, small), np.where(x > 0.5, large, small))
    return doubled / (2.0 * whole)


def functions(shares: Iterable[float], most: int = 8) -> list[Named]:
    """The identity, and functions with steps at the given shares, at most ``most`` of them.

    Parameters
    ----------
    shares : iterable of float
        Widths, or heights, over the sheet's; the commonest matter most and come first.
    most : int
    """
    steps: list[float] = []
    for share in shares:
        for step in (share, 1.0 - share, share / 2.0, share / 3.0):
            # A little below the share, so that the share itself lies above its step.
            below = step - 4.0 * EPSILON
            if 0.05 < below <= 0.5 and all(abs(below - other) > 1e-4 for other in steps):
                steps.append(below)
    found = [Named("its share", identity)]
    found += [Named(f"u of {k}", partial(rounded_down, k)) for k in (1, 2, 3)]
    for step in steps[:most]:
        found += [
            Named(f"U of {step:.3f}", partial(without_small, step)),
            Named(f"phi of {step:.3f}", partial(in_steps, step)),
            Named(f"f of {step:.3f}", partial(in_whole_steps, step)),
        ]
    return found
