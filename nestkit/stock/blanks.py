"""Blanks: a sheet that is larger than the cutter's bed is cut by hand into pieces that fit it.

Only straight cuts right across the sheet are asked for, first in one direction, then in the other,
as a maker does with a long rule and a knife.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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


def turned_for(size: tuple[float, float], bed: tuple[float, float] | None) -> tuple[float, float]:
    """The sheet's size, turned by a quarter where only that makes it lie on the bed."""
    across = (size[1], size[0])
    return across if not lies_on(size, bed) and lies_on(across, bed) else size


def blanks_of(size: tuple[float, float], bed: tuple[float, float] | None) -> tuple[Blank, ...]:
    """The blanks that a sheet is cut into, largest first; the sheet itself when it lies on the bed.

    Each blank is as large as the bed allows, what remains becomes the last of its row. Of the
    sheet's two directions the one that gives fewer blanks is taken, then the one that leaves the
    largest blank, for the longest parts.

    Raises
    ------
    ValueError
        When a size is not positive.
    """
    if min(size) <= 0.0 or (bed is not None and min(bed) <= 0.0):
        raise ValueError("a sheet and a bed have sizes above 0")
    if lies_on(size, bed) or bed is None:
        return (Blank(0.0, 0.0, *size),)
    along = [
        (_steps(size[0], bed[0]), _steps(size[1], bed[1])),
        (_steps(size[0], bed[1]), _steps(size[1], bed[0])),
    ]
    columns, rows = min(along, key=lambda cuts: (len(cuts[0]) * len(cuts[1]), -max(cuts[0]) * max(cuts[1])))
    found = []
    x = 0.0
    for width in columns:
        y = 0.0
        for height in rows:
            found.append(Blank(x, y, width, height))
            y += height
        x += width
    return tuple(sorted(found, key=lambda blank: (-blank.width * blank.height, blank.x, blank.y)))


def _steps(length: float, most: float) -> list[float]:
    """A length in pieces of ``most`` and a remainder."""
    count = max(1, math.ceil((length - HAIR) / most))
    return [most] * (count - 1) + [length - most * (count - 1)] if count > 1 else [length]
