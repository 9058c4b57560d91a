"""What hypothesis draws: shapes for every package's property tests."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from nestkit.geometry import Outline, Path

# --- geometry -------------------------------------------------------------------------------------


@st.composite
def star_points(draw: st.DrawFn, low: float = 5.0, high: float = 60.0, most: int = 12) -> np.ndarray:
    """Corners of a simple polygon that can be seen whole from its middle, counter-clockwise, (n, 2) mm."""
    count = draw(st.integers(3, most))
    radii = draw(st.lists(st.floats(low, high), min_size=count, max_size=count))
    # Jitter under half a step keeps the order of the corners; under pi between neighbours keeps it simple.
    jitter = draw(st.lists(st.floats(-0.2, 0.2), min_size=count, max_size=count))
    angles = math.tau * (np.arange(count) + np.array(jitter)) / count
    return np.round(np.column_stack((radii * np.cos(angles), radii * np.sin(angles))), 3)


@st.composite
def outlines(draw: st.DrawFn, holes: bool = True) -> Outline:
    """An outline of straight lines, sometimes with a round hole about its middle."""
    points = draw(star_points(low=15.0))
    if holes and draw(st.booleans()):
        # Of a flat triangle an edge may pass its middle closely: the hole stays clear of it.
        room = float(Polygon(points).exterior.distance(Point(0.0, 0.0)))
        radius = min(draw(st.floats(1.0, 5.0)), 0.8 * room)
        return Outline(Path.polyline(points, True), (Path.circle(0.0, 0.0, radius),))
    return Outline(Path.polyline(points, True))


@st.composite
def rounded_rectangles(draw: st.DrawFn) -> tuple[float, float, float]:
    """Width, height and corner radius, mm."""
    width, height = draw(st.floats(5.0, 200.0)), draw(st.floats(5.0, 200.0))
    return width, height, draw(st.floats(0.5, 0.4 * min(width, height)))


@st.composite
def grid_rings(draw: st.DrawFn) -> list[tuple[int, int]]:
    """A convex counter-clockwise ring of whole numbers, from its lowest, then leftmost, point."""
    from shapely.geometry import MultiPoint
    from shapely.geometry.polygon import orient

    spots = draw(st.lists(st.tuples(st.integers(-40, 40), st.integers(-40, 40)), min_size=3, max_size=9))
    hull = MultiPoint([*spots, (0, 0), (41, 0), (0, 41)]).convex_hull
    ring = [(int(x), int(y)) for x, y in list(orient(hull).exterior.coords)[:-1]]
    first = min(range(len(ring)), key=lambda k: (ring[k][1], ring[k][0]))
    return ring[first:] + ring[:first]
