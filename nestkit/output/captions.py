"""Where a part's name can be written inside its outline, and how large."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from shapely import prepare
from shapely.affinity import affine_transform
from shapely.geometry import Polygon, box
from shapely.ops import polylabel

#: Height of a line of text over its font size.
LINE_HEIGHT = 1.15

# Widest usual system fonts: a little more than they need, so that the words stay inside the outline.
_WIDTH_PER_SIZE = 0.58
_STEPS = 9
_BALANCED_LINES = 3


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
    """The first of ``texts`` that fits inside ``polygon``, as large as it goes; None when none does.

    Parameters
    ----------
    polygon : shapely.Polygon, mm
    texts : sequence of str
        In the order of preference; each may be broken into lines at its spaces.
    smallest, largest : float, mm
        Font sizes.
    """
    polygon = polygon.simplify(0.2)
    prepare(polygon)
    centres = list(_centres(polygon))
    angles = _angles(polygon)
    sizes = [largest * (smallest / largest) ** (k / (_STEPS - 1)) for k in range(_STEPS)]
    for text in texts:
        layouts = list(_broken(text))
        for size in sizes:
            for lines in layouts:
                width = (max(map(text_width, lines)) + 0.3) * size
                height = len(lines) * LINE_HEIGHT * size
                for angle in angles:
                    for x, y in centres:
                        if polygon.contains(_text_box(x, y, angle, width, height)):
                            return Caption(lines, x, y, angle, size)
    return None


def _centres(polygon: Polygon) -> Iterator[tuple[float, float]]:
    x0, y0, x1, y1 = polygon.bounds
    inmost = polylabel(polygon, tolerance=max(x1 - x0, y1 - y0) / 100.0)
    middle = polygon.centroid
    if polygon.contains(middle):
        yield middle.x, middle.y
    yield inmost.x, inmost.y


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


def _text_box(x: float, y: float, angle: float, width: float, height: float) -> Polygon:
    cosine, sine = math.cos(angle), math.sin(angle)
    frame = box(-width / 2.0, -height / 2.0, width / 2.0, height / 2.0)
    return affine_transform(frame, [cosine, -sine, sine, cosine, x, y])
