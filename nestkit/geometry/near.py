"""Whether two lines run along each other everywhere."""

from __future__ import annotations

import numpy as np
import shapely


def run_together(one: shapely.Geometry, other: shapely.Geometry, limit: float) -> bool:
    """Whether the ends and middles of each line's pieces lie near the other line.

    The Hausdorff distance says the same of the ends, at a cost of one length times the other; this
    looks each line up in a tree.

    Parameters
    ----------
    one, other : shapely.Geometry
        Of lines; mm.
    limit : float, mm
    """
    return _is_near(one, other, limit) and _is_near(other, one, limit)


def _is_near(line: shapely.Geometry, other: shapely.Geometry, limit: float) -> bool:
    points = shapely.get_coordinates(line)
    spots = shapely.points(np.concatenate((points, (points[:-1] + points[1:]) / 2.0)))
    shapely.prepare(other)
    return bool(shapely.dwithin(other, spots, limit).all())
