"""Folds and rolls flat pieces back in space; for tests alone, and without any formula of the patterns.

Foam is modelled as a chain of thin flat strips or of panels: turning each about its hinge is all that happens
here. Where a pattern ends up is measured, not computed from its sizes.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPoint, Polygon
from shapely.geometry.polygon import orient

from nestkit.geometry import LineKind, Shape

Array = np.ndarray


def turning(axis: Array, angle: float) -> Array:
    """Rotation matrix about an axis, from a unit quaternion."""
    x, y, z = axis / np.linalg.norm(axis) * math.sin(angle / 2.0)
    w = math.cos(angle / 2.0)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def folded_points(shape: Shape, spots: Array) -> Array:
    """``spots`` (n, 2) of a piece whose parallel folds run from edge to edge, once they are folded, (n, 3).

    The piece is cut into regions by plain half-planes, one fold after another, outward from the side that
    holds the first outline point; each fold turns everything beyond it.
    """
    folds = [
        (line.path.points[0], line.path.points[-1], line.angle)
        for line in shape.lines
        if line.kind is LineKind.FOLD
    ]
    home = np.array(shape.outline.polygon().representative_point().coords[0])
    # The fold nearest to home turns last, so that those beyond it are carried along.
    folds.sort(key=lambda fold: -LineString(fold[:2]).distance(shapely.Point(home)))
    out = np.column_stack((spots, np.zeros(len(spots))))
    for start, end, angle in folds:
        way = np.append(end - start, 0.0)

        def side(of: Array, start: Array = start, way: Array = way) -> Array:
            return way[0] * (of[:, 1] - start[1]) - way[1] * (of[:, 0] - start[0])

        # Points that lie beyond this fold in the flat piece, seen from home.
        beyond = side(spots) * side(home[None])[0] < -1e-7
        sign = -math.copysign(1.0, side(home[None])[0])
        turn = turning(way, sign * angle)
        at = np.append(start, 0.0)
        out[beyond] = (out[beyond] - at) @ turn.T + at
    return out


def seen_from(points: Array, towards: Array, up: Array) -> Array:
    """Points in space as an eye sees them that ``towards`` points at: right, up and nearer, (n, 3)."""
    near = towards / np.linalg.norm(towards)
    high = up - near * (up @ near)
    high = high / np.linalg.norm(high)
    return points @ np.column_stack((np.cross(high, near), high, near))


def roll_shut(left: Array, right: Array, count: int, strips: int = 120) -> tuple[Array, float]:
    """Rolls ``count`` sectors or rectangles, seam to seam, by equal small folds until they close.

    Parameters
    ----------
    left, right : (2, 2) float
        Seam edges of the flat piece, each from its wide end; the piece between them is swept about the
        point where they meet (or straight, when they are parallel).
    count : int
    strips : int
        Flat strips that all pieces together are parted into.

    Returns
    -------
    rims : (strips + 1, 2, 3) float
        Ends of each hinge in space, from wide to narrow end.
    gap : float
        Between the last hinge and the first.
    """
    hinges = _hinges(left, right, count, strips)

    def closed(angle: float) -> Array:
        """All hinges after folding each by ``angle``: each next strip turns about the hinge before it."""
        placed = np.zeros((len(hinges), 2, 3))
        placed[:, :, :2] = hinges
        frame, move = np.eye(3), np.zeros(3)
        for k in range(1, len(hinges)):
            placed[k] = placed[k] @ frame.T + move
            turn = turning(placed[k, 1] - placed[k, 0], angle)
            frame, move = turn @ frame, turn @ (move - placed[k, 0]) + placed[k, 0]
        return placed

    def gap(angle: float) -> float:
        rims = closed(angle)
        return float(np.linalg.norm(rims[-1] - rims[0], axis=1).max())

    # Folded too little or too much it gapes; twice round lies beyond these bounds.
    grid = np.linspace(0.0, 1.5 * math.tau / strips, 25)
    best = int(np.argmin([gap(angle) for angle in grid]))
    a, b = grid[max(best - 1, 0)], grid[min(best + 1, 24)]
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(28):
        c, d = b - golden * (b - a), a + golden * (b - a)
        if gap(c) < gap(d):
            b = d
        else:
            a = c
    return closed((a + b) / 2.0), gap((a + b) / 2.0)


def face(rims: Array, off: float) -> Array:
    """Rims of a face of the foam that lies ``off`` mm outside the rolled surface, measured square to it."""
    # Square to the strips on both sides of a hinge; the last hinge is the first again.
    before, after = np.roll(rims[:-1], 1, axis=0), np.roll(rims[:-1], -1, axis=0)
    normals = np.cross((after - before).sum(axis=1), rims[:-1, 1] - rims[:-1, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    outward = np.sign((normals * (rims[:-1] - rims[:-1].mean(axis=0)).sum(axis=1)).sum(axis=1))
    return rims[:-1] + off * (normals * outward[:, None])[:, None, :]


def _angle(way: Array) -> float:
    return math.atan2(way[0], -way[1])


def _meeting(left: Array, right: Array) -> Array | None:
    """Where the two seam edges' lines meet; None when they are parallel."""
    u, v = left[1] - left[0], right[1] - right[0]
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 1e-9 * np.hypot(*u) * np.hypot(*v):
        return None
    w = right[0] - left[0]
    return left[0] + u * (w[0] * v[1] - w[1] * v[0]) / cross


def _hinges(left: Array, right: Array, count: int, strips: int) -> Array:
    """Hinges of all pieces laid side by side in the plane."""
    meeting = _meeting(left, right)
    if meeting is None:
        step = (right - left) * count / strips
        return np.array([left + step * k for k in range(strips + 1)])
    sweep = (_angle(right[0] - meeting) - _angle(left[0] - meeting)) * count
    hinges = []
    for k in range(strips + 1):
        turn = turning(np.array([0.0, 0.0, 1.0]), sweep * k / strips)[:2, :2]
        hinges.append((left - meeting) @ turn.T + meeting)
    return np.array(hinges)


def diameter(points: Array) -> float:
    """Diameter of the circle that points in space lie on, from three of them."""
    a, b, c = points[0], points[len(points) // 3], points[2 * len(points) // 3]
    x, y, z = np.linalg.norm(b - c), np.linalg.norm(c - a), np.linalg.norm(a - b)
    return float(x * y * z / np.linalg.norm(np.cross(b - a, c - a)))


def plan_of_strip(stops: list[float], turns: list[float]) -> Polygon:
    """The line on which a strip's hinges lie, in plan: straight from hinge to hinge, turned at each.

    ``stops`` are the hinges' places along the strip, its two ends included; ``turns`` the angles at the inner
    ones. Nothing is known of the outline that it goes round.
    """
    spot, heading, ring = np.zeros(2), 0.0, [np.zeros(2)]
    for k in range(len(stops) - 1):
        spot = spot + (stops[k + 1] - stops[k]) * np.array([math.cos(heading), math.sin(heading)])
        ring.append(spot)
        heading += turns[k] if k < len(turns) else 0.0
    return Polygon(ring)


def same_shape(first: Polygon, second: Polygon) -> float:
    """How far two congruent polygons are apart at most, when one is laid on the other unmirrored, mm."""
    a, b = (shapely.get_coordinates(orient(p.simplify(1e-6)).exterior)[:-1] for p in (first, second))
    best = math.inf
    for shift in range(len(b)):
        c = np.roll(b, shift, axis=0)
        if len(c) != len(a):
            return float(MultiPoint(a).hausdorff_distance(MultiPoint(b)))
        p, q = a - a.mean(axis=0), c - c.mean(axis=0)
        turn = math.atan2(float((p[:, 1] * q[:, 0] - p[:, 0] * q[:, 1]).sum()), float((p * q).sum()))
        rotated = q @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        best = min(best, float(np.linalg.norm(rotated - p, axis=1).max()))
    return best
