"""The box round an outline as it turns: at which turns it fits into a room."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.geometry.outline import Outline

#: Steps of the sweep over all turns when any turn is allowed, radians.
SWEEP = math.radians(0.5)
#: An outline that is larger than its room by no more than this still fits, mm.
HAIR = 0.002


def turns_that_fit(
    outline: Outline, angles: Sequence[float] | None, room: tuple[float, float]
) -> tuple[float, ...]:
    """The turns at which the outline's bounding box fits into a room.

    Parameters
    ----------
    outline : Outline
    angles : sequence of float, radians, or None
        The turns that are allowed. When any is (None), turns in steps of half a degree are looked at, and
        those that lay an edge of the outline's hull along the room.
    room : (float, float), mm
        Width and height, the margin taken off.

    Returns
    -------
    tuple of float, radians
        In ascending order; empty when there is none.
    """
    foam = shapely.MultiPoint(outline.exterior.flatten(0.01)).convex_hull
    hull = shapely.get_coordinates(foam)
    if _too_large(foam.area, hull, room):
        return ()
    tried = _all_turns(hull) if angles is None else np.array(angles)
    c, s = np.cos(tried)[:, None], np.sin(tried)[:, None]
    xs, ys = hull[:, 0] * c - hull[:, 1] * s, hull[:, 0] * s + hull[:, 1] * c
    fits = (np.ptp(xs, axis=1) <= room[0] + HAIR) & (np.ptp(ys, axis=1) <= room[1] + HAIR)
    return tuple(tried[fits].tolist())


def _too_large(area: float, hull: NDArray[np.float64], room: tuple[float, float]) -> bool:
    """Whether no turn can do: it has more area than the room, or is longer than from corner to corner.

    A circle of many metres has thousands of edges to lay along the room, and this tells it apart at once.
    """
    width, height = room[0] + HAIR, room[1] + HAIR
    if min(width, height) < 0.0:
        return True
    long = float(np.ptp(hull, axis=0).max())
    spare = 1.0 + 1e-9
    return area > width * height * spare or long > math.hypot(width, height) * spare


def _all_turns(hull: NDArray[np.float64]) -> NDArray[np.float64]:
    edges = np.diff(hull, axis=0)
    lean = np.arctan2(edges[:, 1], edges[:, 0])
    square = (np.arange(4)[:, None] * (math.pi / 2.0) - lean).ravel() % math.tau
    return np.unique(np.concatenate((np.arange(0.0, math.tau, SWEEP), square)))
