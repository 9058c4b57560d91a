"""Whether a strip's thickness has room in the hollows of an outline, however its corners are made."""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon

from nestkit.geometry import Path
from nestkit.patterns.model import Spot

#: Far above what any corner that a strip goes round needs.
_MITRE = 1000.0
#: Slots narrower than two of these have no room on their bottom either, mm.
_HAIR = 0.01
#: A hollow filled up by less than this part of the thickness squared is no slot but rounding.
_SLIVER = 0.05


def too_narrow(outline: Path, thickness: float, inner: bool = False) -> Spot | None:
    """A place where two sides of a hollow are less than two thicknesses apart, mm; None when there is none.

    The outline is grown by the strip and shrunk again, with mitred corners: a hollow that has room for the
    strip on all its sides comes back as it was, a slot or a narrow mouth stays filled. An opening (``inner``)
    is shrunk first and grown again.
    """
    area = Polygon(outline.flatten(0.005))
    off = -thickness if inner else thickness
    first = area.buffer(off, join_style="mitre", mitre_limit=_MITRE)
    second = first.buffer(-off, join_style="mitre", mitre_limit=_MITRE)
    # Corners come back a rounding error beside the outline's, where overlays go wrong: hence the hair.
    less, more = (second, area) if inner else (area, second)
    filled = more.difference(less.buffer(_HAIR, join_style="mitre"))
    shut = [Polygon(hole) for part in shapely.get_parts(first) for hole in part.interiors]
    slots = [part for part in shapely.get_parts(filled) if part.area > _SLIVER * thickness**2]
    for found in (*slots, *shut):
        place = found.representative_point()
        return float(place.x), float(place.y)
    return None
