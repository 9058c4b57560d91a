"""The curves of a DXF file, in the coordinates of the block that holds them, and how they become paths.

A curve is kept as it was drawn until it is known how it is turned, stretched and scaled, because only then
can it be flattened within a tolerance in millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry import Path
from nestkit.geometry import affine as af
from nestkit.geometry.arcs import STRAIGHT, split_bulge
from nestkit.geometry.curves import flatten_ellipse

#: A spline that needs more chords than this is refused.
MOST_SPLINE_CHORDS = 100_000

#: A spline of a higher degree than this is refused; the common drawing programs write 3, some 5.
HIGHEST_DEGREE = 15

Rows = NDArray[np.float64]


class Curve(Protocol):
    """A drawn curve in its block's plane."""

    def path(self, matrix: af.Affine, tolerance: float) -> Path | None:
        """The curve mapped by ``matrix`` (block units to mm); None when it has no length.

        Arcs stay arcs when the map is a similarity; everything else is flattened within ``tolerance`` mm.
        """


def path_of_rows(rows: Sequence[Sequence[float]] | Rows, closed: bool) -> Path | None:
    """A path of rows x, y, bulge: repeated points dropped, arcs over a half circle split.

    Returns
    -------
    Path or None
        None when nothing of any length is left. A polyline whose last point is its first is closed.

    Raises
    ------
    ValueError
        When a number is not finite.
    """
    kept: list[tuple[float, float, float]] = []
    for x, y, bulge in rows:
        if kept and kept[-1][0] == x and kept[-1][1] == y:
            kept[-1] = (x, y, bulge)
        else:
            kept.append((x, y, bulge))
    if len(kept) > 2 and kept[0][:2] == kept[-1][:2]:
        # With a closing flag the piece from last to first has no length: the last row goes either way.
        kept.pop()
        closed = True
    if len(kept) < 2:
        return None
    if closed and len(kept) == 2 and max(abs(kept[0][2]), abs(kept[1][2])) < STRAIGHT:
        closed = False
    if not closed:
        kept[-1] = (kept[-1][0], kept[-1][1], 0.0)
    if any(abs(row[2]) > 1.0 for row in kept):
        kept = _halved(kept)
    return Path(np.array(kept, dtype=np.float64), closed)


def _halved(rows: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Rows with every arc over a half circle cut in two, so that no bulge exceeds 1."""
    out: list[tuple[float, float, float]] = []
    for k, (x0, y0, bulge) in enumerate(rows):
        if abs(bulge) <= 1.0:
            out.append((x0, y0, bulge))
            continue
        x1, y1, _ = rows[(k + 1) % len(rows)]
        half = split_bulge(bulge, 2)
        # The arc's middle lies |bulge| half chords from the chord's middle, to the right when positive.
        middle = ((x0 + x1 + bulge * (y1 - y0)) / 2.0, (y0 + y1 - bulge * (x1 - x0)) / 2.0)
        out += [(x0, y0, half), (*middle, half)]
    return out


@dataclass(frozen=True, slots=True)
class Bulges:
    """Lines and arcs as rows of x, y, bulge."""

    rows: Rows
    closed: bool

    def path(self, matrix: af.Affine, tolerance: float) -> Path | None:
        """See `Curve.path`."""
        (a, c, e), (b, d, f) = matrix.tolist()
        rows = self.rows.tolist()
        if any(row[2] for row in rows) and not af.is_similarity(matrix):
            drawn = path_of_rows(rows, self.closed)
            return None if drawn is None else _without_repeats(drawn.transformed(matrix, tolerance))
        sign = 1.0 if a * d - b * c >= 0.0 else -1.0
        return path_of_rows(
            [(a * x + c * y + e, b * x + d * y + f, sign * bulge) for x, y, bulge in rows], self.closed
        )


def _without_repeats(path: Path) -> Path | None:
    return path_of_rows(path.vertices.tolist(), path.closed)


def arc(x: float, y: float, radius: float, start: float, sweep: float) -> Bulges:
    """A circular arc; angles in radians, a full turn gives a closed circle.

    Raises
    ------
    ValueError
        When the radius is not positive.
    """
    if not radius > 0.0:
        raise ValueError("a circle needs a radius")
    if abs(sweep) >= math.tau:
        return Bulges(np.array([[x + radius, y, 1.0], [x - radius, y, 1.0]]), True)
    count = 2 if abs(sweep) > math.pi else 1
    turns = start + sweep * np.arange(count + 1) / count
    rows = np.column_stack(
        (
            x + radius * np.cos(turns),
            y + radius * np.sin(turns),
            np.full(count + 1, math.tan(sweep / count / 4.0)),
        )
    )
    return Bulges(rows, False)


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Points centre + cos(t) first + sin(t) second, with `first` and `second` square to each other."""

    centre: tuple[float, float]
    first: tuple[float, float]
    second: tuple[float, float]
    start: float
    sweep: float

    def path(self, matrix: af.Affine, tolerance: float) -> Path | None:
        """See `Curve.path`."""
        stretch = af.stretch(matrix)
        if not stretch > 0.0:
            return None
        full = abs(self.sweep) >= math.tau
        points = flatten_ellipse(
            self.centre, self.first, self.second, self.start, self.sweep, tolerance / stretch
        )
        points = af.apply(matrix, points[:-1] if full else points)
        return path_of_rows(np.column_stack((points, np.zeros(len(points)))).tolist(), full)


@dataclass(frozen=True, slots=True)
class Spline:
    """A rational B-spline as its Bezier pieces.

    Parameters
    ----------
    pieces : (m, degree + 1, 3) float
        Homogeneous control points w x, w y, w with positive weights.
    """

    pieces: Rows

    def path(self, matrix: af.Affine, tolerance: float) -> Path | None:
        """See `Curve.path`."""
        mapped = np.empty_like(self.pieces)
        mapped[..., :2] = self.pieces[..., :2] @ matrix[:, :2].T + self.pieces[..., 2:] * matrix[:, 2]
        mapped[..., 2] = self.pieces[..., 2]
        points = flatten_rational(mapped, tolerance)
        size = float(np.abs(points).max())
        if len(points) > 3 and float(np.abs(points[0] - points[-1]).max()) <= 1e-9 * max(size, 1.0):
            points[-1] = points[0]
        return path_of_rows(np.column_stack((points, np.zeros(len(points)))).tolist(), False)


def bezier_pieces(control: Rows, weights: Rows, knots: Rows, degree: int) -> Rows:
    """The Bezier pieces of a B-spline, by blossoming each knot span.

    Parameters
    ----------
    control : (n, 2) float
    weights : (n,) float
        All positive; ones for a spline that is not rational.
    knots : (n + degree + 1,) float
        Not decreasing; clamped or not.
    degree : int

    Returns
    -------
    (m, degree + 1, 3) float
        As in `Spline`.

    Raises
    ------
    ValueError
        When counts, weights or knots don't fit together.

    References
    ----------
    L. Ramshaw, "Blossoms are polar forms", Computer Aided Geometric Design 6 (1989): the Bezier points of a
    polynomial piece over [a, b] are its blossom at (a, ..., a, b, ..., b) (from memory).
    """
    count = len(control)
    if not 1 <= degree <= HIGHEST_DEGREE:
        raise ValueError(f"a spline of degree {degree}")
    if count <= degree or len(knots) != count + degree + 1 or len(weights) != count:
        raise ValueError("the spline's points, weights and knots don't fit together")
    if not (np.isfinite(control).all() and np.isfinite(knots).all() and (np.diff(knots) >= 0.0).all()):
        raise ValueError("the spline's knots are not in order")
    if not (weights > 0.0).all() or not np.isfinite(weights).all():
        raise ValueError("the spline's weights are not positive")
    spans = np.arange(degree, count)
    spans = spans[knots[spans + 1] > knots[spans]]
    if not len(spans):
        raise ValueError("the spline has no length")
    homogeneous = np.column_stack((control * weights[:, None], weights))
    low, high = knots[spans], knots[spans + 1]
    pieces = np.empty((len(spans), degree + 1, 3))
    for j in range(degree + 1):
        d = homogeneous[spans[:, None] - degree + np.arange(degree + 1)]
        for r in range(1, degree + 1):
            at = (low if r <= degree - j else high)[:, None]
            i = np.arange(degree - r + 1)
            left = knots[spans[:, None] - degree + r + i]
            right = knots[spans[:, None] + 1 + i]
            share = ((at - left) / (right - left))[..., None]
            d = (1.0 - share) * d[:, :-1] + share * d[:, 1:]
        pieces[:, j] = d[:, 0]
    return pieces


def flatten_rational(pieces: Rows, tolerance: float) -> Rows:
    """Points of a chain of rational Bezier pieces, both ends included: (n, 2).

    A piece is halved until all its control points lie within ``tolerance`` of its chord. As its weights are
    positive the curve lies in their convex hull, so the curve is as near to the chord, and the chord to it.

    Raises
    ------
    ValueError
        When more than `MOST_SPLINE_CHORDS` chords are needed.
    """
    flat: list[Rows] = []
    orders: list[Rows] = []
    order = np.arange(len(pieces), dtype=np.float64)
    step = 1.0
    done = 0
    while len(pieces):
        good = _bend(pieces) <= tolerance
        flat.append(pieces[good])
        orders.append(order[good])
        done += int(good.sum())
        pieces, order = pieces[~good], order[~good]
        if done + 2 * len(pieces) > MOST_SPLINE_CHORDS or (len(pieces) and step < 2.0**-40):
            raise ValueError("the spline is too large to be flattened finely enough")
        step /= 2.0
        pieces = np.concatenate(_halves(pieces))
        order = np.concatenate((order, order + step))
    everything = np.concatenate(flat)[np.argsort(np.concatenate(orders), kind="stable")]
    ends = np.concatenate((everything[:, 0], everything[-1:, -1]))
    return np.asarray(ends[:, :2] / ends[:, 2:], dtype=np.float64)


def _bend(pieces: Rows) -> Rows:
    """How far each piece's control points stray from its chord, (m,)."""
    points = pieces[..., :2] / pieces[..., 2:]
    start = points[:, :1]
    chord = points[:, -1:] - start
    square = (chord**2).sum(axis=-1)
    along = ((points - start) * chord).sum(axis=-1) / np.where(square > 0.0, square, 1.0)
    nearest = start + np.clip(along, 0.0, 1.0)[..., None] * chord
    return np.asarray(np.hypot(*np.moveaxis(points - nearest, -1, 0)).max(axis=1), dtype=np.float64)


def _halves(pieces: Rows) -> tuple[Rows, Rows]:
    """Each piece cut at its middle parameter (de Casteljau)."""
    left, right = [pieces[:, 0]], [pieces[:, -1]]
    d = pieces
    while d.shape[1] > 1:
        d = (d[:, :-1] + d[:, 1:]) / 2.0
        left.append(d[:, 0])
        right.append(d[:, -1])
    return np.stack(left, axis=1), np.stack(right[::-1], axis=1)
