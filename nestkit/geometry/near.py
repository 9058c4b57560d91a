"""Whether one line runs along another everywhere."""

from __future__ import annotations

import numpy as np
import shapely


def all_near(line: shapely.Geometry, other: shapely.Geometry, limit: float) -> bool:
    """Whether the ends and middles of a line's pieces lie near another line.

    The Hausdorff distance says the same of two lines, at a cost of one length times the other; this
    looks the other one up in a tree.

    Parameters
    ----------
    line, other : shapely.Geometry
        Of lines; mm.
    limit : float, mm
    """
    points = shapely.get_coordinates(line)
    spots = shapely.points(np.concatenate((points, (points[:-1] + points[1:]) / 2.0)))
    shapely.prepare(other)
    return bool(shapely.dwithin(other, spots, limit).all())
