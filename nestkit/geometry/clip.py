"""The stretches of a path that lie in an upright rectangle; arcs stay arcs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from nestkit.geometry.arcs import arc_angle, arc_centre
from nestkit.geometry.path import Path

Box = tuple[float, float, float, float]

#: Stretches shorter than this share of a line or arc are points: the path touches the box there.
_POINT = 1e-12
#: An arc that leaves its chord by less than this is a line, mm.
_STRAIGHT = 1e-7


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of a path, and how far along the path it begins, mm."""

    path: Path
    start: float


def clip_path(path: Path, box: Box) -> list[Run]:
    """The stretches of ``path`` inside ``box``, its edge included, in the order in which they are walked.

    Parameters
    ----------
    path : Path
        A closed path that lies wholly inside stays closed. One that only begins inside gives one stretch
        across its first point.
    box : (float, float, float, float), mm
        Smallest x, smallest y, largest x, largest y.

    Returns
    -------
    list of Run
    """
    x0, y0, x1, y1 = path.bounds
    if x0 >= box[0] and y0 >= box[1] and x1 <= box[2] and y1 <= box[3]:
        return [Run(path, 0.0)]
    if x0 > box[2] or y0 > box[3] or x1 < box[0] or y1 < box[1]:
        return []
    runs: list[tuple[float, list[_Bit]]] = []
    along, open_end = 0.0, False
    pieces = [tuple(float(value) for value in row) for row in path.pieces()]
    for piece in pieces:
        length = _length(piece)
        for begin, end in _inside(piece, box):
            bit = _Bit(piece, begin, end)
            if begin == 0.0 and open_end:
                runs[-1][1].append(bit)
            else:
                runs.append((along + begin * length, [bit]))
            open_end = end == 1.0
        along += length
        open_end = open_end and bool(runs) and runs[-1][1][-1].piece is piece
    if path.closed and len(runs) > 1 and open_end and runs[0][0] == 0.0:
        start, last = runs.pop()
        runs[0] = (start, last + runs[0][1])
    return [Run(_joined(bits), start) for start, bits in runs]


@dataclass(frozen=True, slots=True)
class _Bit:
    """A line or arc (x0, y0, x1, y1, bulge) from one share of it to another."""

    piece: tuple[float, ...]
    begin: float
    end: float


def _length(piece: tuple[float, ...]) -> float:
    x0, y0, x1, y1, bulge = piece
    chord = math.hypot(x1 - x0, y1 - y0)
    if not bulge:
        return chord
    return chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge)) * abs(arc_angle(bulge))


def _is_line(piece: tuple[float, ...]) -> bool:
    x0, y0, x1, y1, bulge = piece
    return math.hypot(x1 - x0, y1 - y0) * abs(bulge) / 2.0 < _STRAIGHT


def _inside(piece: tuple[float, ...], box: Box) -> Iterator[tuple[float, float]]:
    """Shares of the piece that lie in the box, in order."""
    if _is_line(piece):
        yield from _line_inside(piece, box)
        return
    cuts = [0.0, *sorted(_arc_cuts(piece, box)), 1.0]
    begin: float | None = None
    for low, high in pairwise(cuts):
        if high - low <= _POINT:
            continue
        x, y = _at(piece, (low + high) / 2.0)
        within = box[0] <= x <= box[2] and box[1] <= y <= box[3]
        if within and begin is None:
            begin = low
        if not within and begin is not None:
            yield begin, low
            begin = None
    if begin is not None:
        yield begin, 1.0


def _line_inside(piece: tuple[float, ...], box: Box) -> Iterator[tuple[float, float]]:
    """Liang and Barsky's way: the box is where four half planes meet."""
    x0, y0, x1, y1, _ = piece
    begin, end = 0.0, 1.0
    dx, dy = x1 - x0, y1 - y0
    for step, room in ((-dx, x0 - box[0]), (dx, box[2] - x0), (-dy, y0 - box[1]), (dy, box[3] - y0)):
        if step == 0.0:
            if room < 0.0:
                return
        elif step < 0.0:
            begin = max(begin, room / step)
        else:
            end = min(end, room / step)
    if end - begin > _POINT:
        yield begin, end


def _arc_cuts(piece: tuple[float, ...], box: Box) -> Iterator[float]:
    """Shares at which the arc meets one of the four lines along the box's edges."""
    x0, y0, x1, y1, bulge = piece
    cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
    angle = arc_angle(bulge)
    start = math.atan2(y0 - cy, x0 - cx)
    for level, centre, turned in ((box[0], cx, 0.0), (box[2], cx, 0.0), (box[1], cy, 1.0), (box[3], cy, 1.0)):
        share = (level - centre) / radius
        if abs(share) > 1.0:
            continue
        half = math.acos(share)
        for direction in (turned * math.pi / 2.0 + half, turned * math.pi / 2.0 - half):
            ahead = (direction - start) % math.tau
            if angle < 0.0:
                ahead = (math.tau - ahead) % math.tau
            if ahead < abs(angle):
                yield ahead / abs(angle)


def _at(piece: tuple[float, ...], share: float) -> tuple[float, float]:
    x0, y0, x1, y1, bulge = piece
    if share in (0.0, 1.0):
        return (x1, y1) if share else (x0, y0)
    if _is_line(piece):
        return x0 + (x1 - x0) * share, y0 + (y1 - y0) * share
    cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
    turn = math.atan2(y0 - cy, x0 - cx) + arc_angle(bulge) * share
    return cx + radius * math.cos(turn), cy + radius * math.sin(turn)


def _joined(bits: list[_Bit]) -> Path:
    rows = []
    for bit in bits:
        bulge = math.tan(math.atan(bit.piece[4]) * (bit.end - bit.begin)) if bit.piece[4] else 0.0
        rows.append((*_at(bit.piece, bit.begin), bulge))
    rows.append((*_at(bits[-1].piece, bits[-1].end), 0.0))
    return Path(np.array(rows), False)
