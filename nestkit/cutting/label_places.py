"""Where text finds room on a part: its number at the widest place, seams' numbers at their edges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.cutting.lettering import ink_box
from nestkit.folds.grooves import PartGrooves
from nestkit.geometry import Shape
from nestkit.geometry.rooms import BoxRoom

#: Foam between a label and whatever is cut, etched, drawn or written, mm (common practice, no source).
CLEAR = 1.0
#: Smaller digits burn together, mm (common practice, no source).
SMALLEST = 2.5
#: Height of a seam's number over that of the part's.
SEAM_SHARE = 2.0 / 3.0
#: Kept on top of CLEAR: curves are flattened, and rooms simplified, within less.
_HAIR = 0.12
#: Sizes that are tried, from the largest to the smallest.
_SIZES = 7
#: Places along a seam's edge, best first, and how far from it, mm: past bevels and notches.
_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9)
_FARTHER = (0.0, 2.0, 4.0, 7.0, 10.0, 14.0)

#: A seam's text and its edge, in the part's coordinates.
Seam = tuple[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True, slots=True)
class Spot:
    """A text on a part: centre and direction of its box in the part's coordinates, height of its digits."""

    text: str
    x: float
    y: float
    turn: float
    height: float

    def box(self) -> Polygon:
        """What the text fills."""
        x0, y0, x1, y1 = ink_box(self.text)
        half = (x1 - x0) * self.height / 2.0, (y1 - y0) * self.height / 2.0
        level = shapely.box(-half[0], -half[1], half[0], half[1])
        turned = shapely.affinity.rotate(level, self.turn, origin=(0.0, 0.0), use_radians=True)
        return shapely.affinity.translate(turned, self.x, self.y)


@lru_cache(maxsize=4096)
def places(
    shape: Shape, grooves: PartGrooves | None, number: str, seams: tuple[Seam, ...], largest: float
) -> tuple[Spot | None, ...]:
    """Where the number and each seam's text stand, in this order; None for what finds no room.

    Parameters
    ----------
    shape : Shape
    grooves : PartGrooves or None
        Those of its folds and bevels.
    number : str
        Empty for none; its place is then None.
    seams : tuple of (str, points)
    largest : float, mm
        Height of the number's digits where there is room.
    """
    foam = _clear(shape, grooves)
    found = [_widest(foam, number, largest) if number else None]
    for text, edge in seams:
        taken = [spot.box().buffer(CLEAR) for spot in found if spot is not None]
        room = foam.difference(shapely.union_all(taken)) if taken else foam
        found.append(_beside(room, text, LineString(edge), SEAM_SHARE * largest))
    return tuple(found)


def _sizes(largest: float) -> list[float]:
    sizes: list[float] = np.geomspace(largest, min(SMALLEST, largest), _SIZES).tolist()
    return sizes


def _widest(foam: BaseGeometry, text: str, largest: float) -> Spot | None:
    """The text as large as it goes, at the widest place that has room for it."""
    # Largest room first; rounded, so that equal ones come in the order in which they lie.
    rooms = [room for room in shapely.get_parts(foam) if room.area > SMALLEST**2]
    rooms.sort(key=lambda room: -round(float(room.area), 1))
    x0, y0, x1, y1 = ink_box(text)
    tried = [BoxRoom(room, widest_first=True) for room in rooms]
    for height in _sizes(largest):
        for room in tried:
            place = room.place((x1 - x0) * height, (y1 - y0) * height)
            if place is not None:
                return Spot(text, *place, height)
    return None


def _beside(room: BaseGeometry, text: str, edge: LineString, largest: float) -> Spot | None:
    """The text along an edge, as near its middle and as near to it as there is room."""
    _, low, _, high = ink_box(text)
    shapely.prepare(room)
    for height in _sizes(largest):
        # A little off the edge of the room, which rounding would take to either side of the text.
        half = (high - low) * height / 2.0 + CLEAR + _HAIR + 1e-6
        spots = [
            _aside(edge, text, share, side * (half + farther), height)
            for farther, share, side in product(_FARTHER, _SHARES, (1.0, -1.0))
        ]
        fits = np.flatnonzero(shapely.contains(room, [spot.box() for spot in spots]))
        if fits.size:
            return spots[int(fits[0])]
    return None


def _aside(edge: LineString, text: str, share: float, away: float, height: float) -> Spot:
    before, middle, after = (
        edge.interpolate(min(max(at, 0.0), 1.0), normalized=True)
        for at in (share - 0.02, share, share + 0.02)
    )
    turn = math.atan2(after.y - before.y, after.x - before.x)
    return Spot(text, middle.x - math.sin(turn) * away, middle.y + math.cos(turn) * away, turn, height)


def _clear(shape: Shape, grooves: PartGrooves | None) -> BaseGeometry:
    """The foam that is far enough from everything."""
    busy: list[BaseGeometry] = []
    for line in shape.lines:
        points = line.path.flatten(0.02)
        busy.append(shapely.linearrings(points) if line.path.closed else shapely.linestrings(points))
    if grooves is not None:
        busy += [*grooves.areas[:1], grooves.mouths]
    away = CLEAR + _HAIR
    foam = shape.outline.polygon(0.02).buffer(-away)
    return foam.difference(shapely.union_all(shapely.buffer(busy, away))) if busy else foam
