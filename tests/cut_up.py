"""Sheets cut up into parts, so that it is known how few sheets hold the parts: generated, with a seed."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import shapely
import shapely.ops
from shapely.geometry import LineString, Polygon

from nestkit.geometry import Outline, Path

#: x, y, width, height, whole mm.
Cell = tuple[int, int, int, int]
#: No cell is narrower, mm.
NARROWEST = 12


@dataclass(frozen=True)
class CutUp:
    """Parts that fill so many sheets of a size, less gap and margin: by area, no fewer hold them."""

    parts: tuple[Outline, ...]
    sheets: int
    size: tuple[float, float]
    gap: float
    margin: float


def cut_up(
    seed: int, sheets: int, pieces: int, gap: float = 0.0, margin: float = 0.0, slanted: bool = False
) -> CutUp:
    """Cuts each sheet into about so many pieces.

    Parameters
    ----------
    seed : int
    sheets, pieces : int
        Pieces of each sheet.
    gap, margin : float, mm
        Each part is as much smaller than its cell as the gap asks for.
    slanted : bool
        Some parts are cut in two once more, aslant; with a gap they are not.
    """
    chance = random.Random(seed)
    width, height = chance.randrange(120, 260), chance.randrange(100, 200)
    parts: list[Outline] = []
    for _ in range(sheets):
        cells = [(0, 0, width, height)]
        while len(cells) < pieces:
            cells.sort(key=lambda cell: cell[2] * cell[3])
            largest = cells.pop()
            cells += _cut(chance, largest)
        for _, _, w, h in cells:
            if slanted and gap == 0.0 and chance.random() < 0.4:
                parts += _halves(chance, w, h)
            else:
                parts.append(_ring((0, 0), (w - gap, 0), (w - gap, h - gap), (0, h - gap)))
    size = (width - gap + 2 * margin, height - gap + 2 * margin)
    chance.shuffle(parts)
    return CutUp(tuple(parts), sheets, size, gap, margin)


def _cut(chance: random.Random, cell: Cell) -> list[Cell]:
    """A cell cut right across, or into a pinwheel, of which no cut goes right across."""
    x, y, w, h = cell
    if min(w, h) >= 4 * NARROWEST and chance.random() < 0.4:
        a, c = sorted((_between(chance, w - NARROWEST), _between(chance, w - NARROWEST) + NARROWEST))
        b, d = sorted((_between(chance, h - NARROWEST), _between(chance, h - NARROWEST) + NARROWEST))
        if c - a >= NARROWEST and d - b >= NARROWEST:
            return [
                (x, y, c, b),
                (x + c, y, w - c, d),
                (x + a, y + d, w - a, h - d),
                (x, y + b, a, h - b),
                (x + a, y + b, c - a, d - b),
            ]
    if w >= h:
        at = _between(chance, w)
        return [(x, y, at, h), (x + at, y, w - at, h)]
    at = _between(chance, h)
    return [(x, y, w, at), (x, y + at, w, h - at)]


def _between(chance: random.Random, length: int) -> int:
    return chance.randint(NARROWEST, length - NARROWEST)


def _halves(chance: random.Random, w: float, h: float) -> list[Outline]:
    """A rectangle cut from its lower to its upper edge."""
    low, high = chance.uniform(0.0, w), chance.uniform(0.1 * w, 0.9 * w)
    left = _ring((0, 0), (low, 0), (high, h), (0, h))
    return [left, _ring((low, 0), (w, 0), (w, h), (high, h))]


def _ring(*points: tuple[float, float]) -> Outline:
    kept = [point for n, point in enumerate(points) if point != points[n - 1]]
    x0, y0 = min(x for x, _ in kept), min(y for _, y in kept)
    return Outline(Path.polyline([(x - x0, y - y0) for x, y in kept], True))


def cut_across(
    seed: int, pieces: int, size: tuple[float, float] = (100.0, 80.0), curved: bool = False
) -> list[Outline]:
    """A sheet cut right across again and again, the largest piece each time: lines of any slope, or waves.

    Parameters
    ----------
    seed : int
    pieces : int
    size : (float, float), mm
        The sheet's width and height; the pieces fill it whole as they lie, each moved to the origin.
    curved : bool
        Cuts are waves of 24 chords instead of straight lines.
    """
    chance = random.Random(seed)
    whole = [shapely.box(0.0, 0.0, *size)]
    while len(whole) < pieces:
        whole.sort(key=lambda piece: piece.area)
        largest = whole.pop()
        parts: list[Polygon] = []
        # A cut that leaves more than two pieces, or a sliver, is thrown again.
        while len(parts) != 2 or min(part.area for part in parts) < 0.3 * largest.area:
            cut = _wave(chance, largest) if curved else _straight(chance, largest)
            parts = list(shapely.ops.split(largest, cut).geoms)
        whole += parts
    chance.shuffle(whole)
    return [_ring(*piece.exterior.coords[:-1]) for piece in whole]


def _straight(chance: random.Random, piece: Polygon) -> LineString:
    """A line through about the middle of a piece, longer than it."""
    x0, y0, x1, y1 = piece.bounds
    x, y = chance.gauss(piece.centroid.x, 0.1 * (x1 - x0)), chance.gauss(piece.centroid.y, 0.1 * (y1 - y0))
    turn, far = chance.uniform(0.0, math.pi), 2.0 * math.hypot(x1 - x0, y1 - y0)
    dx, dy = far * math.cos(turn), far * math.sin(turn)
    return LineString([(x - dx, y - dy), (x + dx, y + dy)])


def _wave(chance: random.Random, piece: Polygon) -> LineString:
    """A wave along such a line."""
    (ax, ay), (bx, by) = _straight(chance, piece).coords
    x0, y0, x1, y1 = piece.bounds
    middle, size = ((ax + bx) / 2.0, (ay + by) / 2.0), math.hypot(x1 - x0, y1 - y0)
    ux, uy = (bx - ax) / math.hypot(bx - ax, by - ay), (by - ay) / math.hypot(bx - ax, by - ay)
    high, shift, waves = (
        chance.uniform(0.04, 0.08) * size,
        chance.uniform(0.0, math.tau),
        chance.uniform(1, 2),
    )
    points = []
    for k in range(25):
        along = (k / 12.0 - 1.0) * size
        aside = high * math.sin(shift + math.pi * waves * (k / 12.0 - 1.0))
        points.append((middle[0] + along * ux - aside * uy, middle[1] + along * uy + aside * ux))
    return LineString(points)
