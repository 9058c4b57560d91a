"""Where a part's name can be written inside its outline, and how large."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon

Points = NDArray[np.float64]

#: Height of a line of text over its font size.
LINE_HEIGHT = 1.15

# Widest usual system fonts: a little more than they need, so that the words stay inside the outline.
_WIDTH_PER_SIZE = 0.58
_STEPS = 9
_BALANCED_LINES = 3
_CHORDS = 24
_BEST_CHORDS = 10


@dataclass(frozen=True, slots=True)
class Caption:
    """Lines of text about a centre.

    Parameters
    ----------
    lines : tuple of str
    x, y : float, mm
        Centre of the text, y upward.
    angle : float, radians
        Counter-clockwise, -pi/2 < angle <= pi/2.
    size : float, mm
        Font size.
    """

    lines: tuple[str, ...]
    x: float
    y: float
    angle: float
    size: float


def text_width(text: str) -> float:
    """Estimated width of a line of text over its font size."""
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return (len(text) - wide) * _WIDTH_PER_SIZE + wide


def caption_for(polygon: Polygon, texts: Sequence[str], smallest: float, largest: float) -> Caption | None:
    """The first of ``texts`` that fits inside ``polygon``; see `Room.caption`."""
    room = Room(polygon)
    return next(filter(None, (room.caption(text, smallest, largest) for text in texts)), None)


class Room:
    """Where text may stand in a polygon; several texts can be tried.

    Parameters
    ----------
    polygon : shapely.Polygon, mm
    """

    def __init__(self, polygon: Polygon) -> None:
        self._polygon = polygon.simplify(0.05)
        shapely.prepare(self._polygon)
        middles = [(angle, _centres(self._polygon, angle)) for angle in _angles(self._polygon)]
        self._turns = np.concatenate([np.full(len(points), angle) for angle, points in middles])
        self._centres = np.concatenate([points for _, points in middles])

    def caption(self, text: str, smallest: float, largest: float) -> Caption | None:
        """The text inside the polygon, as large as it goes; None when it finds no room.

        Parameters
        ----------
        text : str
            May be broken into lines at its spaces.
        smallest, largest : float, mm
            Font sizes.
        """
        layouts = list(_broken(text))
        for size in np.geomspace(largest, smallest, _STEPS):
            for lines in layouts:
                width = (max(map(text_width, lines)) + 0.3) * size
                height = len(lines) * LINE_HEIGHT * size
                boxes = _boxes(self._centres, self._turns, width, height)
                fits = np.flatnonzero(shapely.contains(self._polygon, boxes))
                if fits.size:
                    x, y = self._centres[fits[0]]
                    return Caption(lines, float(x), float(y), float(self._turns[fits[0]]), float(size))
        return None


def _centres(polygon: Polygon, angle: float) -> Points:
    """Where a text at this angle may stand: the best places first, (n, 2).

    They are the polygon's centroid and the middles of its longest chords along the text.
    """
    level = shapely.affinity.rotate(polygon, -angle, origin=(0.0, 0.0), use_radians=True)
    x0, y0, x1, y1 = level.bounds
    heights = y0 + (y1 - y0) * (np.arange(_CHORDS) + 0.5) / _CHORDS
    rows = shapely.linestrings([[(x0 - 1.0, y), (x1 + 1.0, y)] for y in heights])
    chords = shapely.get_parts(shapely.intersection(level, rows))
    chords = chords[shapely.get_type_id(chords) == 1]
    # Rounded, so that equal parts get their text at equal places; of equal chords the middlemost first.
    far = np.abs(shapely.get_y(shapely.centroid(chords)) - (y0 + y1) / 2.0)
    best = np.lexsort((np.round(far, 1), -np.round(shapely.length(chords), 1)))[:_BEST_CHORDS]
    points = [(level.centroid.x, level.centroid.y)]
    points += [(each.x, each.y) for each in shapely.centroid(chords[best])]
    x, y = np.array(points).T
    cosine, sine = math.cos(angle), math.sin(angle)
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y))


def _angles(polygon: Polygon) -> tuple[float, ...]:
    """Level first, then along the polygon's longer side, then upright."""
    frame = polygon.minimum_rotated_rectangle
    if not isinstance(frame, Polygon):
        return (0.0,)
    corners = list(frame.exterior.coords)
    sides = [(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairwise(corners)]
    dx, dy = max(sides, key=lambda side: math.hypot(*side))
    along = math.atan2(dy, dx)
    if along <= -math.pi / 2.0 + 1e-9:
        along += math.pi
    elif along > math.pi / 2.0 + 1e-9:
        along -= math.pi
    return tuple(dict.fromkeys((0.0, along, math.pi / 2.0)))


def _broken(text: str) -> Iterator[tuple[str, ...]]:
    """The text in one line, and in up to three lines of similar length."""
    yield (text,)
    words = text.split()
    for count in range(2, min(len(words), _BALANCED_LINES) + 1):
        room = max(len(text) / count, *map(len, words))
        lines: list[str] = []
        for word in words:
            if lines and len(lines[-1]) + 1 + len(word) <= room + 1:
                lines[-1] += f" {word}"
            else:
                lines.append(word)
        if len(lines) <= _BALANCED_LINES:
            yield tuple(lines)


def _boxes(centres: Points, turns: NDArray[np.float64], width: float, height: float) -> NDArray[np.object_]:
    """Turned rectangles about the centres."""
    along = np.column_stack((np.cos(turns), np.sin(turns))) * (width / 2.0)
    across = np.column_stack((-np.sin(turns), np.cos(turns))) * (height / 2.0)
    corners = [centres + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    boxes: NDArray[np.object_] = shapely.polygons(np.stack(corners, axis=1))
    return boxes
