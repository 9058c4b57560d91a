"""Closed paths moved outward or inward by a distance, with their arcs kept as arcs.

pyclipper moves the flattened path; runs of its points that lie on a circle that must be there (an arc
of the path moved, or the round corner about a vertex) become arcs again.
"""

from __future__ import annotations

import math

import numpy as np
import pyclipper
from numpy.typing import NDArray

from nestkit.geometry.arcs import arc_centre, bulge_of
from nestkit.geometry.path import Path
from nestkit.jit import kernel

#: Whole-number units in a millimetre.
UNITS = 100_000
#: Arcs are flattened this finely before they are moved, mm.
FINE = 0.0005
#: Round corners are made this finely, and they and arcs found again within twice this, mm.
ROUND = 0.002
#: An arc is made of at least this many points.
FEWEST = 3
#: What is thinner has as good as vanished, mm.
THINNEST = 0.008

Circles = NDArray[np.float64]


def offset(path: Path, distance: float) -> list[Path]:
    """A closed path grown by ``distance`` mm with round corners, or shrunk when it is negative.

    Parameters
    ----------
    path : Path
        Closed; its direction does not matter.
    distance : float, mm

    Returns
    -------
    list of Path
        Counter-clockwise boundaries, largest first, then clockwise ones (a slot that closed leaves
        such a hole). Empty when nothing is left.

    Raises
    ------
    ValueError
        When the path is open.

    Examples
    --------
    A circle stays one: two half circles, which have a bulge of 1.

    >>> (larger,) = offset(Path.circle(0.0, 0.0, 10.0), 0.1)
    >>> round(larger.signed_area / np.pi, 2)
    102.01
    >>> offset(Path.rectangle(4.0, 4.0), -2.5)
    []
    """
    if not path.closed:
        raise ValueError("only a closed path can be grown or shrunk")
    if path.signed_area < 0.0:
        path = path.reversed()
    if distance == 0.0:
        return [path]
    flat = path.flatten(FINE)
    mover = pyclipper.PyclipperOffset(2.0, ROUND * UNITS)
    mover.AddPath(
        np.rint(flat * UNITS).astype(np.int64).tolist(), pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON
    )
    rings = [_without_crumbs(np.array(ring)) / UNITS for ring in mover.Execute(distance * UNITS)]
    circles = _circles(path, flat, distance)
    paths = [_with_arcs(ring, circles) for ring in rings if _is_wide(ring)]
    return sorted(paths, key=lambda moved: -moved.signed_area)


def _without_crumbs(ring: NDArray[np.int64]) -> NDArray[np.float64]:
    """Without pieces that are all rounding: their directions mean nothing. Whole units in and out."""
    sizes = np.abs(np.roll(ring, -1, axis=0) - ring).max(axis=1)
    return np.asarray(ring[sizes > 2], dtype=np.float64)


def _is_wide(ring: NDArray[np.float64]) -> bool:
    """False for what is thinner than the tolerance of its own arcs: it is as good as vanished."""
    around = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T).sum()
    return len(ring) >= 3 and abs(_doubled_area(ring)) > THINNEST * around


def _circles(path: Path, flat: NDArray[np.float64], distance: float) -> Circles:
    """Circles on which the moved path's arcs lie: x, y, radius, (n, 3)."""
    found: list[tuple[float, float, float]] = []
    for x0, y0, x1, y1, bulge in path.pieces():
        if bulge and (x0 != x1 or y0 != y1):
            cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
            moved = radius + math.copysign(distance, bulge * distance)
            if moved > 2.0 * ROUND:
                found.append((cx, cy, moved))
    corners = path.points
    rounded = np.column_stack((corners, np.full(len(corners), abs(distance))))
    # Large circles first: where both would do, the drawn arc is meant, not the corner.
    return np.concatenate((np.array(found).reshape(-1, 3), rounded))


def _with_arcs(ring: NDArray[np.float64], circles: Circles) -> Path:
    """The ring with each run of points on one circle made an arc."""
    on = circle_of_pieces(ring, circles, 2.0 * ROUND)
    if (on >= 0).all() and (on == on[0]).all():
        cx, cy, radius = circles[on[0] // 2]
        circle = Path.circle(cx, cy, radius)
        return circle if _doubled_area(ring) > 0.0 else circle.reversed()
    count = len(ring)
    # Begin where one run ends and another begins, so that no run is cut in two.
    begin = next((k for k in range(count) if on[k] != on[k - 1]), 0)
    rows: list[tuple[float, float, float]] = []
    k = 0
    while k < count:
        first = (begin + k) % count
        length = 1
        while k + length < count and on[first] >= 0 and on[(begin + k + length) % count] == on[first]:
            length += 1
        if on[first] >= 0 and length + 1 >= FEWEST:
            rows += _arc(ring, circles[on[first] // 2], first, length)
            k += length
        else:
            rows.append((float(ring[first, 0]), float(ring[first, 1]), 0.0))
            k += 1
    if len(rows) < 3 and not any(row[2] for row in rows):
        return Path.polyline(ring, True)
    return Path(np.array(rows), True)


@kernel
def circle_of_pieces(ring: NDArray[np.float64], circles: Circles, near: float) -> NDArray[np.int64]:
    """For each piece from a point to the next, the first circle that holds its ends and middle.

    Parameters
    ----------
    ring : (n, 2) float, mm
    circles : (m, 3) float, mm
        Middle and radius.
    near : float, mm
        How far the ends may be off a circle; the middle may be twice as far off.

    Returns
    -------
    (n,) int
        Twice the circle's number, and one more where the piece runs clockwise about its centre, so that a
        path there and back along one circle is two runs; -1 where there is no circle.
    """
    count = len(ring)
    found = np.full(count, -1, np.int64)
    for k in range(count):
        x, y = ring[k]
        after_x, after_y = ring[(k + 1) % count]
        middle_x, middle_y = (x + after_x) / 2.0, (y + after_y) / 2.0
        for number in range(len(circles)):
            cx, cy, radius = circles[number]
            if (
                abs(math.hypot(x - cx, y - cy) - radius) <= near
                and abs(math.hypot(after_x - cx, after_y - cy) - radius) <= near
                and abs(math.hypot(middle_x - cx, middle_y - cy) - radius) <= 2.0 * near
            ):
                turn = (x - cx) * (after_y - cy) - (y - cy) * (after_x - cx)
                found[k] = 2 * number + (1 if turn < 0.0 else 0)
                break
    return found


def _arc(
    ring: NDArray[np.float64], circle: NDArray[np.float64], first: int, length: int
) -> list[tuple[float, float, float]]:
    """Rows for an arc over ``length`` pieces from point ``first``, in halves of at most half a circle."""
    count = len(ring)
    spots = ring[[(first + k) % count for k in range(length + 1)]] - circle[:2]
    angles = np.unwrap(np.arctan2(spots[:, 1], spots[:, 0]))
    sweep = float(angles[-1] - angles[0])
    parts = max(1, math.ceil(abs(sweep) / math.pi - 1e-9))
    rows = []
    for part in range(parts):
        x, y = ring[first]
        if part:
            angle = angles[0] + sweep * part / parts
            x, y = circle[0] + circle[2] * math.cos(angle), circle[1] + circle[2] * math.sin(angle)
        rows.append((float(x), float(y), bulge_of(sweep / parts)))
    return rows


def _doubled_area(ring: NDArray[np.float64]) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
