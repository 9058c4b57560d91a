"""Flat pieces folded in space along their fold lines.

A piece lies in the plane z = 0 with its inside up, the side that the grooves are etched into. Folding
closes the grooves: what lies beyond a fold line comes up towards +z.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from nestkit.geometry.shape import LineKind, Shape

Matrix = NDArray[np.float64]
Spot = tuple[float, float]

#: A point this close to a facet belongs to it, mm.
NEAR = 1e-6


@dataclass(frozen=True, eq=False)
class Facet:
    """A flat region between fold lines, and where it comes to lie.

    Parameters
    ----------
    flat : shapely.Polygon
        In the flat piece.
    matrix : (3, 4) float
        Maps x, y, z, 1 of the flat piece into space, mm.
    """

    flat: Polygon
    matrix: Matrix

    def points(self) -> NDArray[np.float64]:
        """The facet's outer corners in space, (n, 3)."""
        return mapped(self.matrix, shapely.get_coordinates(self.flat.exterior)[:-1])

    def holes(self) -> list[NDArray[np.float64]]:
        """Its holes in space, each (n, 3)."""
        return [mapped(self.matrix, shapely.get_coordinates(hole)[:-1]) for hole in self.flat.interiors]


@dataclass(frozen=True, eq=False)
class Folded:
    """A folded piece: its facets, the first of which stays where it is."""

    facets: tuple[Facet, ...]

    def facet_at(self, spot: Spot) -> Facet:
        """The facet that holds a point of the flat piece, or the nearest one."""
        point = shapely.Point(spot)
        return min(self.facets, key=lambda facet: facet.flat.distance(point))

    def spot(self, x: float, y: float) -> NDArray[np.float64]:
        """Where a point of the flat piece comes to lie, (3,)."""
        there: NDArray[np.float64] = mapped(self.facet_at((x, y)).matrix, np.array([[x, y]]))[0]
        return there

    def moved(self, matrix: Matrix) -> Folded:
        """The folded piece moved as a whole."""
        return Folded(tuple(Facet(facet.flat, composed(matrix, facet.matrix)) for facet in self.facets))


def mapped(matrix: Matrix, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points of the plane (n, 2) or of space (n, 3) mapped into space, (n, 3)."""
    moved: NDArray[np.float64] = points @ matrix[:, : points.shape[1]].T + matrix[:, 3]
    return moved


def composed(outer: Matrix, inner: Matrix) -> Matrix:
    """The map that applies ``inner`` first."""
    return np.column_stack((outer[:, :3] @ inner[:, :3], outer[:, :3] @ inner[:, 3] + outer[:, 3]))


def turn_about(start: NDArray[np.float64], along: NDArray[np.float64], angle: float) -> Matrix:
    """Turn about a line in space, right-handed, radians (Rodrigues' formula)."""
    x, y, z = along / np.linalg.norm(along)
    cross: NDArray[np.float64] = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turn: NDArray[np.float64] = np.eye(3) + math.sin(angle) * cross
    turn += (1.0 - math.cos(angle)) * (cross @ cross)
    shift: NDArray[np.float64] = start - turn @ start
    return np.column_stack((turn, shift))


def fold_up(shape: Shape, tolerance: float = 0.01) -> Folded:
    """Folds a flat piece along its fold lines.

    Parameters
    ----------
    shape : Shape
        Its fold lines are straight and run from edge to edge.
    tolerance : float, mm
        Arcs of the outline are flattened within this.

    Raises
    ------
    ValueError
        When a fold line is not straight or doesn't part the piece.
    """
    folds = [line for line in shape.lines if line.kind is LineKind.FOLD]
    flat = shape.outline.polygon(tolerance)
    cuts = [LineString(line.path.points[[0, -1]]) for line in folds]
    if any(line.path.has_arcs or len(line.path.points) > 2 for line in folds):
        raise ValueError("only straight folds can be folded up")
    regions = _parted(flat, cuts)
    if len(regions) != len(folds) + 1:
        raise ValueError("a fold line has to run from edge to edge and to cross no other")
    return Folded(tuple(_placed(regions, cuts, [line.angle for line in folds])))


def _parted(flat: Polygon, cuts: Sequence[LineString]) -> list[Polygon]:
    regions = [flat]
    for cut in cuts:
        # A hair longer, so that rounding in its ends leaves nothing together.
        (x0, y0), (x1, y1) = cut.coords
        ex, ey = (x1 - x0) / cut.length * NEAR, (y1 - y0) / cut.length * NEAR
        longer = LineString([(x0 - ex, y0 - ey), (x1 + ex, y1 + ey)])
        parted: list[Polygon] = []
        for region in regions:
            parted += [part for part in shapely.ops.split(region, longer).geoms if part.area > NEAR]
        regions = parted
    return regions


def _placed(regions: Sequence[Polygon], cuts: Sequence[LineString], angles: Sequence[float]) -> list[Facet]:
    """Walks from the first region over the folds to all others."""
    sides = [[k for k, region in enumerate(regions) if region.distance(cut.centroid) < NEAR] for cut in cuts]
    matrices: dict[int, Matrix] = {0: np.column_stack((np.eye(3), np.zeros(3)))}
    todo = [0]
    while todo:
        here = todo.pop()
        for cut, angle, pair in zip(cuts, angles, sides, strict=True):
            if here not in pair or len(pair) != 2:
                continue
            there = pair[1] if pair[0] == here else pair[0]
            if there in matrices:
                continue
            (x0, y0), (x1, y1) = cut.coords
            inner = regions[there].representative_point()
            side = (x1 - x0) * (inner.y - y0) - (y1 - y0) * (inner.x - x0)
            lift = turn_about(
                np.array([x0, y0, 0.0]), np.array([x1 - x0, y1 - y0, 0.0]), math.copysign(angle, side)
            )
            matrices[there] = composed(matrices[here], lift)
            todo.append(there)
    return [Facet(regions[k], matrix) for k, matrix in sorted(matrices.items())]
