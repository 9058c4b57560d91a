"""Where a part's name can be written inside its outline, and how large."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from nestkit.geometry.rooms import BoxRoom

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
        self._room = BoxRoom(polygon)

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
                place = self._room.place(width, height)
                if place is not None:
                    return Caption(lines, *place, float(size))
        return None


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
