"""Leftovers: what of a sheet's free foam is worth keeping, as outlines; no slivers, no scraps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.geometry import Outline, Path

#: Arcs are flattened this finely, mm.
FINE = 0.01
#: Cut edges with arcs or many corners are followed this loosely, never into what was cut, mm.
LOOSE = 0.25
#: Corners lie on a grid of this step, mm.
GRID = 0.001
#: Outlines with more corners than this are followed loosely.
MANY_CORNERS = 40
#: Corners sharper than a mitre of this length allows are cut off.
MITRE_LIMIT = 2.0


@dataclass(frozen=True, slots=True)
class Usable:
    """From what size on foam is kept; the usual values are common practice, no source.

    Parameters
    ----------
    width : float, mm
        Where the foam is narrower than this, nothing is kept of it.
    area : float, mm^2
        Pieces smaller than this are not kept.

    Raises
    ------
    ValueError
        When one of them is not positive and finite.
    """

    width: float = 50.0
    area: float = 10_000.0

    def __post_init__(self) -> None:
        if not (0.0 < self.width < np.inf and 0.0 < self.area < np.inf):
            raise ValueError("the smallest width and area worth keeping are above 0")


#: What is worth keeping when nobody says otherwise.
USUAL = Usable()


def leftovers(
    sheet: Outline, taken: Iterable[Outline], kerf: float = 0.0, usable: Usable = USUAL
) -> tuple[Outline, ...]:
    """The pieces worth keeping of a sheet from which parts are cut.

    The free foam is the sheet less the parts, which are grown by the kerf; the foam inside a part's
    hole is free as well. It is opened with a square of the smallest width (shrunk by half of it, grown
    again), so that necks and slivers go and wide places come apart where only a neck joined them.

    Parameters
    ----------
    sheet : Outline
        Its holes are no foam.
    taken : iterable of Outline
        Finished parts, in the sheet's coordinates.
    kerf : float, mm
        Width burnt away along each part's edge; the margin of the sheet is not taken off.
    usable : Usable

    Returns
    -------
    tuple of Outline
        In the sheet's coordinates, largest first. None of them overlap, none touches what was cut.

    Raises
    ------
    ValueError
        When the kerf is negative.
    """
    if kerf < 0.0:
        raise ValueError("a kerf can't be negative")
    cut = shapely.union_all([_burnt(outline, kerf) for outline in taken])
    free = shapely.difference(sheet.polygon(FINE), cut)
    half = usable.width / 2.0
    pieces: list[Polygon] = []
    # Each is grown by itself: grown together, two that only a neck joins could touch again.
    for core in shapely.get_parts(_mitred(free, -half)):
        kept = shapely.simplify(shapely.intersection(_mitred(core, half), free), 0.0)
        # What lies beyond a thin part is no piece of this one.
        parts = [one for one in shapely.get_parts(kept) if one.geom_type == "Polygon"]
        pieces += [one for one in parts if shapely.intersects(one, core)][:1]
    pieces = [piece for each in _apart(pieces) if _is_kept(piece := _snapped(each), usable)]
    return tuple(outline_of(piece) for piece in sorted(pieces, key=lambda one: (-one.area, one.bounds)))


def outline_of(polygon: Polygon) -> Outline:
    """A shapely polygon as an outline of straight lines."""
    rings = [
        Path.polyline(np.asarray(shapely.get_coordinates(ring), dtype=np.float64)[:-1], True)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return Outline(rings[0], tuple(rings[1:]))


def _burnt(outline: Outline, kerf: float) -> BaseGeometry:
    """What is gone with a part: never less than the truth, with few corners."""
    polygon = outline.polygon(FINE)
    curved = any(ring.has_arcs for ring in outline.rings())
    loose = LOOSE if curved or len(shapely.get_coordinates(polygon)) > MANY_CORNERS else 0.0
    # A distance next to nothing breaks geometry that 0 does not.
    if kerf + loose > 1e-6:
        polygon = _mitred(polygon, kerf + loose)
    return shapely.simplify(polygon, loose)


def _mitred(shape: BaseGeometry, distance: float) -> BaseGeometry:
    return shapely.buffer(shape, distance, join_style="mitre", mitre_limit=MITRE_LIMIT)


def _apart(pieces: list[Polygon]) -> list[Polygon]:
    """The pieces without what an earlier, larger one has already; what comes apart by that is dropped."""
    kept: list[Polygon] = []
    for piece in sorted(pieces, key=lambda one: (-one.area, one.bounds)):
        near = [other for other in kept if shapely.area(shapely.intersection(other, piece)) > 0.0]
        if near:
            rest = shapely.get_parts(shapely.difference(piece, shapely.union_all(near)))
            piece = max((one for one in rest if one.geom_type == "Polygon"), key=_area, default=Polygon())
        if not piece.is_empty:
            kept.append(piece)
    return kept


def _is_kept(piece: Polygon, usable: Usable) -> bool:
    """Whether a piece is large enough, and still wide enough once others have their share."""
    wide = not shapely.buffer(piece, GRID - usable.width / 2.0).is_empty
    return bool(piece.area >= usable.area and wide)


def _snapped(piece: Polygon) -> Polygon:
    """The piece on a grid, so that it stays sound when it is written with few digits."""
    parts = shapely.get_parts(shapely.set_precision(piece, GRID))
    return max((one for one in parts if one.geom_type == "Polygon"), key=_area, default=Polygon())


def _area(polygon: Polygon) -> float:
    return float(polygon.area)
