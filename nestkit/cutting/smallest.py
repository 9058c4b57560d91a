"""Places that are too slim for the cutter: necks of foam and holes that get lost as a prop gets smaller.

A neck is where the foam is narrower than the smallest width and joins wider foam on both sides; pointed ends
are slim too, but meant. Found by opening the part with a disc: what a disc of that width can't reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import Build, Cutter, Part
from nestkit.geometry import Outline
from nestkit.units import Unit, show_length

#: Without a setting, foam slimmer than this share of its thickness, or than so many kerfs, counts as lost;
#: common practice, no source.
OF_THICKNESS = 0.5
KERFS = 3.0

#: Arcs are flattened this finely, and shapes this near to each other touch, mm.
FINE = 0.005
_TOUCH = 0.02

What = Literal["neck", "hole", "part"]


@dataclass(frozen=True, slots=True)
class Slim:
    """One slim place: ``width`` is how wide it is, ``at`` where (mm, in the part)."""

    what: What
    width: float
    at: tuple[float, float]

    def told(self, unit: Unit) -> str:
        """``a neck of 1.2 mm``."""
        if self.what == "part":
            return f"nowhere wider than {show_length(self.width, unit)}"
        return f"a {self.what} of {show_length(self.width, unit)}"


def smallest_width(cutter: Cutter, thickness: float) -> float:
    """The width below which foam of this thickness (mm) counts as too slim, mm."""
    if cutter.smallest is not None:
        return cutter.smallest
    kerf = 0.0 if cutter.kind == "hand" else cutter.kerf
    return max(OF_THICKNESS * thickness, KERFS * kerf)


def slim_parts(build: Build) -> dict[str, tuple[Slim, ...]]:
    """The slim places of each part that has some, by the part's name, in the build's order."""
    found = {part.name: _of_part(build, part) for part in build.parts}
    return {name: places for name, places in found.items() if places}


def _of_part(build: Build, part: Part) -> tuple[Slim, ...]:
    cutter = build.cutter_for(part.material, part.thickness)
    return slim_places(part.shape.outline, smallest_width(cutter, part.thickness))


def slim_places(outline: Outline, smallest: float) -> tuple[Slim, ...]:
    """Necks and holes of an outline that are narrower than ``smallest``, from left to right.

    Parameters
    ----------
    outline : Outline
        Finished size, mm.
    smallest : float, mm
        0 finds nothing.
    """
    if smallest <= 0.0:
        return ()
    found = [
        Slim("hole", width, middle)
        for hole in outline.holes
        for width, middle in (_widest(Polygon(hole.flatten(FINE))),)
        if width < smallest - FINE
    ]
    foam = outline.polygon(FINE)
    half = smallest / 2.0 - FINE
    wide = _opened(foam, half)
    if wide.is_empty:
        width, middle = _widest(foam)
        return (Slim("part", width, middle),)
    for piece in shapely.get_parts(shapely.difference(foam, wide.buffer(FINE))):
        contact = [
            part for part in _parts(shapely.intersection(wide, piece.buffer(_TOUCH))) if part.area > 0.0
        ]
        if len(contact) < 2:
            continue
        sides = _parts(shapely.difference(piece.boundary, wide.buffer(2.0 * _TOUCH)))
        gaps = [shapely.distance(one, other) for n, one in enumerate(sides) for other in sides[n + 1 :]]
        middle = piece.representative_point()
        found.append(Slim("neck", float(min(gaps, default=_widest(piece)[0])), (middle.x, middle.y)))
    return tuple(sorted(found, key=lambda place: (place.at, place.what)))


def _opened(shape: BaseGeometry, half: float) -> BaseGeometry:
    return shapely.buffer(shapely.buffer(shape, -half, quad_segs=16), half, quad_segs=16)


def _parts(shape: BaseGeometry) -> list[BaseGeometry]:
    """Pieces that only meet in a point are told apart; lines that go on in each other are not."""
    if shape.geom_type == "MultiLineString":
        shape = shapely.line_merge(shape)
    return [part for part in shapely.get_parts(shape) if not part.is_empty]


def _widest(shape: Polygon) -> tuple[float, tuple[float, float]]:
    """Width of the widest place, and where it is."""
    circle = shapely.maximum_inscribed_circle(shape, FINE)
    x, y = circle.coords[0]
    return 2.0 * float(circle.length), (float(x), float(y))
