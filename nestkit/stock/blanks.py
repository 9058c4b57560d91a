"""Blanks: a sheet that is larger than the cutter's bed is cut by hand into pieces that fit it.

Only straight cuts right across the sheet are asked for, first in one direction, then in the other,
as a maker does with a long rule and a knife.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nestkit.geometry import Outline, Path

#: A sheet that is longer than the bed by no more than this still lies on it, mm.
HAIR = 0.01


@dataclass(frozen=True, slots=True)
class Blank:
    """A rectangle of a sheet: lower left corner and size, mm."""

    x: float
    y: float
    width: float
    height: float


def lies_on(size: tuple[float, float], bed: tuple[float, float] | None) -> bool:
    """Whether a sheet lies on the bed as it is, not turned."""
    return bed is None or (size[0] <= bed[0] + HAIR and size[1] <= bed[1] + HAIR)


def as_laid(size: tuple[float, float], bed: tuple[float, float] | None) -> tuple[float, float]:
    """The sheet's size the way round that it is laid, or cut into blanks, for a bed.

    As it is, when it lies on the bed so; else turned by a quarter where that makes it lie there, or
    gives fewer blanks, or a larger largest one for the longest parts.
    """
    if bed is None or lies_on(size, bed):
        return size
    return min((size, (size[1], size[0])), key=lambda laid: _awkwardness(laid, bed))


def _awkwardness(size: tuple[float, float], bed: tuple[float, float]) -> tuple[int, float]:
    columns, rows = _steps(size[0], bed[0]), _steps(size[1], bed[1])
    return len(columns) * len(rows), -max(columns) * max(rows)


def blanks_of(laid: tuple[float, float], bed: tuple[float, float] | None) -> tuple[Blank, ...]:
    """The blanks that a sheet is cut into, largest first; the sheet itself when it lies on the bed.

    Each blank is as large as the bed allows, what remains becomes the last of its row. Every blank
    lies on the bed the way round that it is cut.

    Parameters
    ----------
    laid : (float, float), mm
        The sheet's size from `as_laid`.
    bed : (float, float) or None, mm

    Raises
    ------
    ValueError
        When a size is not positive.
    """
    return ways_to_cut(laid, bed)[0]


def ways_to_cut(
    laid: tuple[float, float], bed: tuple[float, float] | None, most_cuts: int | None = None
) -> tuple[tuple[Blank, ...], ...]:
    """The different ways in which a sheet may be cut into blanks, the usual one (`blanks_of`) first.

    The usual way makes blanks as large as the bed; the others make equal ones, and such as lie between:
    which of them wastes least depends on the parts.

    Parameters
    ----------
    laid, bed
        As for `blanks_of`.
    most_cuts : int, optional
        No way takes more straight cuts than this. What would take more is no blank and stays whole.

    Returns
    -------
    tuple of tuple of Blank
        At least one way, all different; one without any blank when nothing can be cut that lies on the bed.

    Raises
    ------
    ValueError
        When a size is not positive.
    """
    if min(laid) <= 0.0 or (bed is not None and min(bed) <= 0.0):
        raise ValueError("a sheet and a bed have sizes above 0")
    if bed is None or lies_on(laid, bed):
        return ((Blank(0.0, 0.0, *laid),),)
    found: dict[tuple[tuple[float, float], ...], tuple[Blank, ...]] = {}
    for evenness in (0.0, 1.0, 0.5):
        columns = _steps(laid[0], bed[0], evenness)
        rows = _steps(laid[1], bed[1], evenness)
        blanks = _cut(columns, rows, most_cuts)
        alike = tuple((round(blank.width), round(blank.height)) for blank in blanks)
        found.setdefault(alike, blanks)
    return tuple(found.values())


def _cut(columns: Sequence[float], rows: Sequence[float], most_cuts: int | None) -> tuple[Blank, ...]:
    """The blanks of columns cut into rows, as far as the cuts go, largest first."""
    left = math.inf if most_cuts is None else most_cuts
    found = []
    x = 0.0
    for i, width in enumerate(columns):
        if i < len(columns) - 1:
            if left < 1:
                break
            left -= 1
        y = 0.0
        for j, height in enumerate(rows):
            if j < len(rows) - 1:
                if left < 1:
                    break
                left -= 1
            found.append(Blank(x, y, width, height))
            y += height
        x += width
    return tuple(sorted(found, key=lambda blank: (-blank.width * blank.height, blank.x, blank.y)))


def _steps(length: float, most: float, evenness: float = 0.0) -> list[float]:
    """A length in as few pieces as can be: of ``most`` and a remainder, with ``evenness`` 1 all alike."""
    count = max(1, math.ceil((length - HAIR) / most))
    if count == 1:
        return [length]
    each = most + evenness * (length / count - most)
    return [each] * (count - 1) + [length - each * (count - 1)]


def rectangle(width: float, height: float) -> Outline:
    """A rectangle with its lower left corner at the origin.

    Raises
    ------
    ValueError
        When a size is not above 0.
    """
    if not (width > 0.0 and height > 0.0):
        raise ValueError("a sheet's width and height are above 0")
    return Outline(Path.rectangle(width, height))
