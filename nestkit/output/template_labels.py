"""Where words find room on a page: on the foam, beside a fold, below a small template; never over a line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.geometry.clip import Box
from nestkit.output.captions import LINE_HEIGHT, Caption, text_width
from nestkit.output.line_words import show_degrees
from nestkit.output.template_grid import Cell, cell_name
from nestkit.output.template_ink import CROSS, InkRun, Sheaf, Style, line_of, strip
from nestkit.output.template_layout import BESIDE, Laid, inside_caption
from nestkit.units import Unit

#: Font sizes of fold angles, mm, the better first.
FOLD_SIZES = (2.5, 2.0)
#: Font size of what helps to tape pages together, mm.
STRIP_SIZE = 2.4

# Between words and a line, mm.
_CLEAR = 0.5
_SHARES = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)
_FARTHER = (0.0, 1.0, 2.0, 3.0, 4.5)
_STEP = 4.0


@dataclass(frozen=True, slots=True)
class Words:
    """A caption on a page, in the grid's coordinates; `faint` for what only helps to tape pages."""

    caption: Caption
    faint: bool = False


def page_words(
    sheaf: Sheaf, cell: Cell, shown: Sequence[tuple[Laid, Sequence[InkRun]]], unit: Unit
) -> list[Words]:
    """All words on the tile of a page: captions first, then fold angles, then which page lies where.

    Parameters
    ----------
    sheaf : Sheaf
    cell : (column, row)
    shown : sequence of (Laid, sequence of InkRun)
        As `Sheaf.shown` gives it.
    unit : "mm" or "in"
    """
    page = _Page(sheaf, cell, [each for _, runs in shown for each in runs])
    for laid, _ in shown:
        if laid.beside is not None:
            page.write_beside(laid)
    for laid, _ in shown:
        page.write_name(laid, unit)
    for laid, runs in shown:
        for each in runs:
            if each.ink.style in (Style.FOLD, Style.BEVEL):
                page.write_angle(laid, each)
    page.write_strips()
    return page.words


def caption_box(caption: Caption) -> Polygon:
    """The turned rectangle that a caption fills."""
    width = max(map(text_width, caption.lines)) * caption.size
    height = len(caption.lines) * LINE_HEIGHT * caption.size
    return _turned_box(caption.x, caption.y, width, height, caption.angle)


def _turned_box(x: float, y: float, width: float, height: float, angle: float) -> Polygon:
    along = np.array([math.cos(angle), math.sin(angle)]) * width / 2.0
    across = np.array([-math.sin(angle), math.cos(angle)]) * height / 2.0
    middle = np.array([x, y])
    return Polygon([middle + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


class _Page:
    """What is drawn on a page, and the words that found a place so far."""

    def __init__(self, sheaf: Sheaf, cell: Cell, runs: Sequence[InkRun]) -> None:
        self.words: list[Words] = []
        self._sheaf, self._cell = sheaf, cell
        self._bounds = sheaf.spread.form.box(cell, sheaf.spread.rows)
        self._box = shapely.box(*self._bounds)
        self._lines = shapely.STRtree([line_of(each.run.path) for each in runs])
        self._taken: list[BaseGeometry] = [
            shapely.Point(spot).buffer(CROSS + _CLEAR)
            for pages, spots in sheaf.crosses.items()
            if cell in pages
            for spot in spots
        ]
        self._named: set[int] = set()

    @property
    def _inner(self) -> BaseGeometry:
        """The page without its lines, what it shares with others and what is written on already."""
        shared = [
            shapely.box(*strip(self._sheaf.spread, self._cell, other))
            for other in self._sheaf.neighbours[self._cell].values()
        ]
        lines = list(shapely.buffer(self._lines.geometries, _CLEAR + 0.2))
        return self._box.buffer(-1.0).difference(shapely.union_all(shared + self._taken + lines))

    def _is_free(self, place: Polygon) -> bool:
        """Whether a place lies on the page and nothing is drawn or written there."""
        if not self._box.contains_properly(place):
            return False
        if self._lines.query(place, predicate="dwithin", distance=_CLEAR).size:
            return False
        return not any(place.intersects(each) for each in self._taken)

    def _write(self, caption: Caption, faint: bool = False) -> None:
        self._taken.append(caption_box(caption))
        self.words.append(Words(caption, faint))

    def _first_free(self, captions: Iterable[Caption]) -> Caption | None:
        return next((each for each in captions if self._is_free(caption_box(each))), None)

    def write_beside(self, laid: Laid) -> None:
        """The caption in the place that was kept for it, if that place is on this page."""
        assert laid.beside is not None
        x0, y0, x1, y1 = laid.beside.box
        caption = Caption(laid.beside.lines, (x0 + x1) / 2.0, (y0 + y1) / 2.0, 0.0, BESIDE)
        if self._is_free(caption_box(caption)):
            self._write(caption)
            self._named.add(id(laid))

    def write_name(self, laid: Laid, unit: Unit) -> None:
        """The caption on the foam, or near it; what finds no room is named at the page's foot alone."""
        if id(laid) in self._named:
            return
        text = laid.template.caption(unit)
        caption = inside_caption(laid, text, self._inner) or self._first_free(self._near(laid, text))
        if caption is not None:
            self._write(caption)

    def _near(self, laid: Laid, text: str) -> Iterator[Caption]:
        """Places below, above and beside what the page shows of a template."""
        part = laid.foam.intersection(self._box)
        if part.is_empty:
            return
        lines = tuple(text.split(" "))
        for broken in ((" ".join(lines),), lines):
            width = max(map(text_width, broken)) * BESIDE
            height = len(broken) * LINE_HEIGHT * BESIDE
            x0, y0, x1, y1 = part.bounds
            for y in (y0 - height / 2.0 - 1.0, y1 + height / 2.0 + 1.0):
                for x in np.arange(x0 + width / 2.0, max(x1 - width / 2.0, x0 + width / 2.0) + 0.1, _STEP):
                    yield Caption(broken, float(x), float(y), 0.0, BESIDE)
            for x in (x1 + width / 2.0 + 1.0, x0 - width / 2.0 - 1.0):
                for y in np.arange(y0 + height / 2.0, y1, _STEP):
                    yield Caption(broken, float(x), float(y), 0.0, BESIDE)

    def write_angle(self, laid: Laid, each: InkRun) -> None:
        """A fold's or bevel's angle along its line: on the foam if there is room, else next to it."""
        kind = "fold" if each.ink.style is Style.FOLD else "bevel"
        degrees = show_degrees(each.ink.angle)
        line = line_of(each.run.path)
        outside: Caption | None = None
        for size in FOLD_SIZES:
            for text in (f"{kind} {degrees}", degrees):
                for caption in _along(line, text, size):
                    place = caption_box(caption)
                    if not self._is_free(place):
                        continue
                    if laid.foam.contains(place):
                        self._write(caption)
                        return
                    outside = outside or caption
        if outside is not None:
            self._write(outside)

    def write_strips(self) -> None:
        """On the strips that other pages are laid on: which."""
        for side, other in self._sheaf.neighbours[self._cell].items():
            if side in ("right", "below"):
                x0, y0, x1, y1 = strip(self._sheaf.spread, self._cell, other)
                text = f"page {cell_name(other)} lies on this strip"
                for words in (text, cell_name(other)):
                    caption = self._first_free(_in_strip(words, (x0, y0, x1, y1)))
                    if caption is not None:
                        self._write(caption, faint=True)
                        break


def _along(line: LineString, text: str, size: float) -> Iterator[Caption]:
    """Places on both sides of a line, along it, also beyond the edges of its groove."""
    for extra, share in product(_FARTHER, _SHARES):
        away = size * LINE_HEIGHT / 2.0 + _CLEAR + 0.1 + extra
        middle = line.interpolate(share, normalized=True)
        before = line.interpolate(max(share - 0.02, 0.0), normalized=True)
        after = line.interpolate(min(share + 0.02, 1.0), normalized=True)
        angle = math.atan2(after.y - before.y, after.x - before.x)
        # Text is read from below or from the right.
        angle = (angle + math.pi / 2.0 - 1e-9) % math.pi - math.pi / 2.0 + 1e-9
        for side in (away, -away):
            x, y = middle.x - math.sin(angle) * side, middle.y + math.cos(angle) * side
            yield Caption((text,), x, y, angle, size)


def _in_strip(text: str, shared: Box) -> Iterator[Caption]:
    """Places along the middle of a strip."""
    x0, y0, x1, y1 = shared
    upright = y1 - y0 > x1 - x0
    for share in (0.33, 0.67, 0.25, 0.42, 0.58, 0.75, 0.1, 0.9):
        x = (x0 + x1) / 2.0 if upright else x0 + (x1 - x0) * share
        y = y0 + (y1 - y0) * share if upright else (y0 + y1) / 2.0
        yield Caption((text,), x, y, math.pi / 2.0 if upright else 0.0, STRIP_SIZE)
