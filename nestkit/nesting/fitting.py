"""Whether a part fits a sheet at all, alone, at one of its turns."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.build.model import Turns
from nestkit.geometry import Outline

#: Steps of the sweep over all turns when any turn is allowed, radians.
SWEEP = math.radians(0.5)
#: An outline that is larger than its room by no more than this still fits, mm.
HAIR = 0.002


def turns_that_fit(outline: Outline, turns: Turns, room: tuple[float, float]) -> tuple[float, ...]:
    """The turns at which the outline's bounding box fits into a room.

    Parameters
    ----------
    outline : Outline
    turns : Turns
        When any turn is allowed, turns in steps of half a degree are looked at, and those that lay an
        edge of the outline's hull along the room.
    room : (float, float), mm
        Width and height, the margin taken off.

    Returns
    -------
    tuple of float, radians
        In ascending order; empty when there is none.
    """
    points = outline.exterior.flatten(0.01)
    angles = _all_turns(points) if turns.angles is None else np.array(turns.angles)
    found = []
    for angle in angles:
        c, s = math.cos(angle), math.sin(angle)
        xs, ys = points[:, 0] * c - points[:, 1] * s, points[:, 0] * s + points[:, 1] * c
        if np.ptp(xs) <= room[0] + HAIR and np.ptp(ys) <= room[1] + HAIR:
            found.append(float(angle))
    return tuple(found)


def _all_turns(points: NDArray[np.float64]) -> NDArray[np.float64]:
    hull = shapely.get_coordinates(shapely.MultiPoint(points).convex_hull)
    edges = np.diff(hull, axis=0)
    lean = np.arctan2(edges[:, 1], edges[:, 0])
    square = (np.arange(4)[:, None] * (math.pi / 2.0) - lean).ravel() % math.tau
    return np.unique(np.concatenate((np.arange(0.0, math.tau, SWEEP), square)))
