"""Patterns folded and rolled back in space from their flat pieces, and the gap that remains.

What is measured is the flat outline with its folds, as it would be cut; only where it is to close (radii,
seam edges, the outline to go round) comes from the pattern.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LinearRing

from nestkit.geometry import LineKind, Path
from nestkit.geometry.affine import MIRROR_X, apply
from nestkit.geometry.arcs import arc_centre
from nestkit.geometry.folding import Folded, Matrix, fold_up, mapped
from nestkit.patterns.model import Cap, Chain, Laid, Link, Pattern, Peaked, Rolled, Spot
from nestkit.patterns.ridge import Axis

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Refolded:
    """A closed pattern.

    Parameters
    ----------
    gap : float, mm
        The widest gap at a seam, and the farthest that an edge is off where it is to lie.
    surfaces : tuple of (n, 3) float
        Its facets in space.
    holes : tuple of (n, 3) float
        Openings in them.
    """

    gap: float
    surfaces: tuple[Points, ...]
    holes: tuple[Points, ...] = ()


def refold(pattern: Pattern) -> Refolded | None:
    """Closes a pattern; None when it stays flat."""
    found = []
    for closing in pattern.closings:
        if isinstance(closing, Rolled):
            found.append(_rolled(pattern, closing))
        elif isinstance(closing, Chain):
            found.append(_chained(pattern, closing))
        elif isinstance(closing, Laid):
            found.append(_laid(pattern, closing))
        else:
            found.append(_peaked(pattern, closing))
    if not found:
        return None
    return Refolded(
        max(one.gap for one in found),
        tuple(surface for one in found for surface in one.surfaces),
        tuple(hole for one in found for hole in one.holes),
    )


# --- rolled ---------------------------------------------------------------------------------------


def _rolled(pattern: Pattern, closing: Rolled) -> Refolded:
    rows = pattern.pieces[closing.piece].shape.outline.exterior.pieces()
    left, right = (_on_cone(edge, rows, closing) for edge in rolled_edges(rows))
    # The pieces are laid side by side: each begins where the one before it ended.
    width = float(right[0, 0] - left[0, 0])
    gap = 0.0
    for k in range(closing.count):
        after = width * (k + 1) if k < closing.count - 1 else 0.0
        apart = _in_space(right, width * k) - _in_space(left, after)
        gap = max(gap, float(np.linalg.norm(apart, axis=1).max()))
    gap = max(gap, abs(left[0, 1] - closing.wide), abs(left[1, 1] - closing.narrow))
    surfaces = []
    steps = max(3, 72 // closing.count)
    for k in range(closing.count):
        lines = [
            _in_space(left + (right - left) * [part, 1.0, 1.0], width * k)
            for part in np.linspace(0.0, 1.0, steps + 1)
        ]
        surfaces += [np.vstack((a, b[::-1])) for a, b in pairwise(lines)]
    return Refolded(float(gap), tuple(surfaces))


def rolled_edges(rows: Points) -> tuple[Points, Points]:
    """A rolled piece's left and right edge, each from its wide end, (2, 2)."""
    if not rows[:, 4].any():
        x0, y0, x1, y1 = rows[:, 0].min(), rows[:, 1].min(), rows[:, 0].max(), rows[:, 1].max()
        return np.array([[x0, y0], [x0, y1]]), np.array([[x1, y0], [x1, y1]])
    straights = [row for row in rows if not row[4]]
    right, left = sorted(straights, key=lambda row: -(row[0] + row[2]))
    return np.array([left[2:4], left[:2]]), np.array([right[:2], right[2:4]])


def _on_cone(edge: Points, rows: Points, closing: Rolled) -> Points:
    """Turn about the axis, radius and height of flat points once they are rolled, (n, 3)."""
    arcs = [row for row in rows if row[4]]
    if not arcs:
        low = rows[:, 1].min()
        return np.column_stack(
            (edge[:, 0] / closing.wide, np.full(len(edge), closing.wide), edge[:, 1] - low)
        )
    x, y, _ = arc_centre(*max(arcs, key=lambda row: float(np.hypot(row[2] - row[0], row[3] - row[1]))))
    slant = math.hypot(closing.height, closing.wide - closing.narrow)
    sine = (closing.wide - closing.narrow) / slant
    away = np.hypot(edge[:, 0] - x, edge[:, 1] - y)
    turn = np.arctan2(edge[:, 0] - x, y - edge[:, 1])
    turn[away < 1e-9] = turn[0]  # the apex lies in no direction
    return np.column_stack((turn / sine, away * sine, (closing.wide / sine - away) * closing.height / slant))


def _in_space(spots: Points, turn: float) -> Points:
    angle = spots[:, 0] + turn
    return np.column_stack((spots[:, 1] * np.cos(angle), spots[:, 1] * np.sin(angle), spots[:, 2]))


# --- folded ---------------------------------------------------------------------------------------


def _chained(pattern: Pattern, closing: Chain) -> Refolded:
    folded = [fold_up(pattern.pieces[link.piece].shape) for link in closing.links]
    placed = [folded[0]]
    gap = 0.0
    for k, link in enumerate(closing.links):
        following = closing.links[(k + 1) % len(closing.links)]
        if k + 1 < len(folded):
            move = _glued(placed[k], link, folded[k + 1], following)
            placed.append(folded[k + 1].moved(move))
        other = placed[(k + 1) % len(placed)]
        gap = max(
            gap,
            *(
                float(np.linalg.norm(placed[k].spot(*right) - other.spot(*left)))
                for right, left in zip(link.right, following.left, strict=True)
            ),
        )
    surfaces = [facet.points() for piece in placed for facet in piece.facets]
    for cap in closing.caps:
        corners = _capped(placed[0], cap)
        rims = np.array([piece.spot(*spot) for piece in placed for spot in cap.rim])
        gap = max(gap, *(float(np.linalg.norm(rims - corner, axis=1).min()) for corner in corners))
        surfaces.append(corners)
    holes = [hole for piece in placed for facet in piece.facets for hole in facet.holes()]
    return Refolded(gap, tuple(surfaces), tuple(holes))


def _frame(folded: Folded, start: Spot, end: Spot, aside: float) -> tuple[Points, Points, Points]:
    """An edge in space: its start, its direction, and the inside normal of the facet beside it.

    ``aside`` is +1 when the foam lies on the edge's left, -1 on its right.
    """
    way = np.subtract(end, start)
    way = way / np.hypot(*way)
    beside = (np.add(start, end) / 2.0) + aside * 1e-3 * np.array([-way[1], way[0]])
    matrix = folded.facet_at((float(beside[0]), float(beside[1]))).matrix
    along = mapped(matrix, np.array([end]))[0] - mapped(matrix, np.array([start]))[0]
    return mapped(matrix, np.array([start]))[0], along / np.linalg.norm(along), matrix[:, 2]


def _joined(
    fixed: tuple[Points, Points, Points], moving: tuple[Points, Points, Points], angle: float
) -> Matrix:
    """The move that lays one edge on another, its foam beyond it and folded up by ``angle``."""
    at, along, normal = fixed
    away = np.cross(along, normal)
    goal = np.column_stack(
        (
            along,
            away * math.cos(angle) + normal * math.sin(angle),
            normal * math.cos(angle) - away * math.sin(angle),
        )
    )
    start, way, up = moving
    base = np.column_stack((way, np.cross(way, up), up))
    turn = goal @ base.T
    return np.column_stack((turn, at - turn @ start))


def _glued(before: Folded, link: Link, after: Folded, following: Link) -> Matrix:
    fixed = _frame(before, link.right[0], link.right[1], 1.0)
    moving = _frame(after, following.left[0], following.left[1], -1.0)
    return _joined(fixed, moving, link.angle)


def _capped(first: Folded, cap: Cap) -> Points:
    """The cap's corners in space, glued by its first edge to the rim."""
    corners = np.array(cap.corners)
    flat = np.column_stack((corners, np.zeros(len(corners))))
    way = flat[1] - flat[0]
    # Walked backwards, the cap's foam lies on its edge's right, as a next piece's does.
    moving = (flat[1], -way / np.linalg.norm(way), np.array([0.0, 0.0, 1.0]))
    return mapped(_joined(_frame(first, *cap.rim, 1.0), moving, cap.angle), flat)


# --- laid round an outline ------------------------------------------------------------------------


def _laid(pattern: Pattern, closing: Laid) -> Refolded:
    """Walks the face that lies on the outline: runs between the grooves as they are in the flat pieces."""
    shapes = [pattern.pieces[k].shape for k in closing.pieces]
    begins = np.cumsum([0.0, *(shape.outline.size[0] for shape in shapes)])
    width = shapes[0].outline.size[1]
    grooves = [
        float(begin + line.path.vertices[0, 0])
        for begin, shape in zip(begins, shapes, strict=False)
        for line in shape.lines
        if line.kind is LineKind.FOLD
    ]
    found = iter(sorted(grooves))
    spot = np.array(closing.outline.start)
    heading = _heading(closing.outline)
    total = float(begins[-1])
    last, reach = 0.0, closing.seam.reach
    ring = LinearRing(closing.outline.flatten(0.002))
    trail = [spot]
    gap = 0.0
    for joint, bend, fibre in zip((*closing.joints, None), closing.bends, closing.fibres, strict=True):
        end = next(found) if joint is not None and joint.kind == "fold" else joint.at if joint else total
        ahead = joint.reach if joint is not None else closing.seam.reach
        length = end - last - reach - ahead - fibre * bend
        steps = 1 if not bend else max(2, math.ceil(abs(bend) / 0.1))
        start = spot
        for k in range(1, steps + 1):
            spot = start + _bent(length, bend, k / steps, heading)
            trail.append(spot)
        heading += bend + (joint.angle if joint is not None else 0.0)
        gap = max(gap, float(ring.distance(shapely.Point(spot))))
        last, reach = end, ahead
    turned = heading + closing.seam.angle - _heading(closing.outline) - math.tau
    gap = max(gap, float(np.hypot(*(trail[-1] - trail[0]))), abs(turned) * width)
    surfaces = [np.array([[*a, 0.0], [*b, 0.0], [*b, width], [*a, width]]) for a, b in pairwise(trail)]
    return Refolded(gap, tuple(surfaces))


def _heading(path: Path) -> float:
    x0, y0, x1, y1, bulge = path.pieces()[0]
    return math.atan2(y1 - y0, x1 - x0) - 2.0 * math.atan(bulge)


def _bent(length: float, bend: float, part: float, heading: float) -> Points:
    """The way along a part of a run that is bent evenly."""
    if not bend:
        return length * part * np.array([math.cos(heading), math.sin(heading)])
    half = bend * part / 2.0
    chord = length * part * math.sin(half) / half
    return chord * np.array([math.cos(heading + half), math.sin(heading + half)])


# --- folded to a peak -----------------------------------------------------------------------------


def _peaked(pattern: Pattern, closing: Peaked) -> Refolded:
    """Folds both sides up towards the groove, turns the piece over, and compares shadow and drawing."""
    axis = Axis(apply(MIRROR_X, closing.axis.points))
    flat = pattern.pieces[closing.piece].shape.outline.exterior.flatten(0.01)
    ring = LinearRing(flat)
    # Every millimetre; of a piece of many metres as many points, for the comparison takes their square.
    step = max(1.0, ring.length / 4000.0)
    flat = shapely.get_coordinates(shapely.segmentize(ring, step))[:-1]
    feet, normals, off = axis.split(flat)
    shadow = feet + normals * (off * math.cos(closing.angle / 2.0))[:, None]
    folded = np.column_stack((shadow, np.abs(off) * math.sin(closing.angle / 2.0)))
    over = folded * [-1.0, 1.0, -1.0]
    drawn = LinearRing(closing.drawn.flatten(0.01))
    gap = float(LinearRing(over[:, :2]).hausdorff_distance(shapely.segmentize(drawn, step)))
    sides = [over[off >= 0.0], over[off <= 0.0]]
    return Refolded(gap, tuple(side for side in sides if len(side) > 2))
