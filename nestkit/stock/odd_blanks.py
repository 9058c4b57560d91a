"""An offcut of any outline, laid on the bed, or cut by hand into blanks that lie on it."""

from __future__ import annotations

import math

import shapely

from nestkit.geometry import Outline
from nestkit.geometry.affine import compose, rotation, translation
from nestkit.stock.blanks import Blank, as_laid, lies_on, ways_to_cut
from nestkit.stock.leftovers import FINE, outline_of

#: What a cut across an offcut leaves is no blank when it is smaller than this, mm^2.
SMALLEST = 100.0


def laid_offcut(outline: Outline, bed: tuple[float, float] | None) -> Outline:
    """The offcut the way round that it is laid, or cut into blanks, for a bed; see `blanks.as_laid`."""
    size = outline.size
    if as_laid(size, bed) == size:
        return outline
    return outline.transformed(compose(translation(size[1], 0.0), rotation(math.pi / 2.0)))


def odd_blanks(
    outline: Outline, bed: tuple[float, float] | None, most_cuts: int | None = None
) -> tuple[tuple[Blank, Outline], ...]:
    """The blanks of an offcut, largest first: each with the box around it and its own true edge.

    Like a sheet it is turned by a quarter where that makes it lie on the bed, and cut right across
    where it is too large; a cut may make several blanks of one box.

    Parameters
    ----------
    outline : Outline
        Bounding box from the origin.
    bed : (float, float) or None, mm
    most_cuts : int, optional
        See `blanks.ways_to_cut`.

    Returns
    -------
    tuple of (Blank, Outline)
        The boxes are those of the laid offcut; the outlines' bounding boxes start at the origin.
    """
    size = as_laid(outline.size, bed)
    boxes = ways_to_cut(size, bed, most_cuts)[0]
    outline = laid_offcut(outline, bed)
    if lies_on(size, bed):
        return ((boxes[0], outline),)
    polygon = outline.polygon(FINE)
    found = []
    for box in boxes:
        inside = shapely.box(box.x, box.y, box.x + box.width, box.y + box.height)
        for part in shapely.get_parts(shapely.intersection(polygon, inside)):
            if part.geom_type == "Polygon" and part.area >= SMALLEST:
                x0, y0, x1, y1 = part.bounds
                moved = outline_of(shapely.transform(part, lambda xy, by=(x0, y0): xy - by))
                found.append((Blank(x0, y0, x1 - x0, y1 - y0), moved))
    return tuple(sorted(found, key=lambda each: (-each[1].area, each[0].x, each[0].y)))
