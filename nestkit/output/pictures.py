"""Sheets and parts as pictures for the report: what to draw, in millimetres with y downward.

A part's shape is drawn once; every copy of it on a sheet refers to it with a matrix.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from nestkit.build.model import Part
from nestkit.cutting.model import Job
from nestkit.geometry import LineKind, Outline, Path
from nestkit.geometry.affine import Affine
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.output.captions import LINE_HEIGHT, Caption, Room
from nestkit.output.lists import cut_order
from nestkit.output.svg_path import path_data
from nestkit.output.text import plain, show_number
from nestkit.stock.cutting_up import StraightCut

# Shares of a sheet's longer side. The smallest is what can still be read on a screen of usual width.
_SMALLEST_TEXT = 0.0105
_LARGEST_TEXT = 0.024
_SMALLEST_NUMBER = 0.008

_DIGITS = 2
# A thousandth of a radian moves the far end of a two metre part by hundredths of a millimetre.
_MATRIX_DIGITS = 5


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of text: where its baseline's middle is."""

    text: str
    x: str
    y: str


@dataclass(frozen=True, slots=True)
class DrawnText:
    """Text on a part: lines about a point, turned; ``turn`` is an SVG transform."""

    lines: tuple[TextLine, ...]
    size: str
    turn: str


@dataclass(frozen=True, slots=True)
class DrawnShape:
    """A part as it is drawn once: path data in its own box; ``key`` is its id in the page."""

    key: str
    view_box: str
    width: str
    height: str
    outline: str
    marks: str
    folds: str


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """A copy in a picture; ``number`` is its place in the cut order, ``matrix`` an SVG matrix."""

    number: int
    title: str
    key: str
    matrix: str
    text: DrawnText | None


@dataclass(frozen=True, slots=True)
class Picture:
    """A sheet with its parts; ``view_box`` is that of an SVG element, ``kept`` what is worth keeping.

    ``tabs`` are short lines where outlines stay uncut.
    """

    view_box: str
    width: float
    height: float
    edge: str
    parts: tuple[DrawnPart, ...]
    kept: str = ""
    tabs: str = ""


@dataclass(frozen=True, slots=True)
class DrawnBlank:
    """A blank on the sheet that it is cut from, or a straight cut."""

    title: str
    data: str
    text: DrawnText | None


@dataclass(frozen=True, slots=True)
class BlankPicture:
    """A whole sheet with the blanks that are cut from it, and the cuts in order."""

    view_box: str
    width: float
    height: float
    blanks: tuple[DrawnBlank, ...]
    cuts: tuple[DrawnBlank, ...]


def part_shapes(parts: Sequence[Part]) -> dict[str, DrawnShape]:
    """The shape of each part by the part's name, each with a key of its own."""
    return {part.name: part_shape(part, f"s{number}") for number, part in enumerate(parts, start=1)}


def part_shape(part: Part, key: str) -> DrawnShape:
    """The part's shape under a key: outline, marks and folds (bevels among them)."""
    shape = part.shape
    width, height = shape.outline.size
    marks = [line.path for line in shape.lines if line.kind is LineKind.MARK]
    folds = [line.path for line in shape.lines if line.kind is not LineKind.MARK]
    # A little room, so that lines on the edge are drawn in their full width.
    rim = 0.012 * max(width, height)
    w, h, r = (show_number(each, _DIGITS) for each in (width + 2 * rim, height + 2 * rim, -rim))
    return DrawnShape(
        key,
        f"{r} {r} {w} {h}",
        w,
        h,
        _outline_data(shape.outline, height),
        "".join(path_data(path, height, _DIGITS) for path in marks),
        "".join(path_data(path, height, _DIGITS) for path in folds),
    )


class SheetPictures:
    """Draws sheets; equal copies of a part get their text from the same reckoning.

    Parameters
    ----------
    shapes : mapping of str to DrawnShape
        By part name, as `part_shapes` gives them.
    """

    def __init__(self, shapes: Mapping[str, DrawnShape]) -> None:
        self._shapes = shapes
        self._captions: dict[tuple[object, ...], Caption | None] = {}
        self._rooms: dict[tuple[object, ...], Room] = {}

    def picture(self, job: Job, kept: Sequence[Outline] = ()) -> Picture:
        """The picture of a job's sheet, its parts in cut order, with the leftovers that are kept."""
        outline = job.sheet.outline
        width, height = outline.size
        drawn = []
        for number, placed in enumerate(cut_order(job), start=1):
            title = f"{plain(placed.part.name)} {placed.copy}"
            named = f"{number} {plain(placed.part.name)}"
            text = self._caption(placed, named, number, max(width, height))
            drawn.append(
                DrawnPart(
                    number,
                    title,
                    self._shapes[placed.part.name].key,
                    _svg_matrix(placed.placement.matrix, placed.part.shape.outline.size[1], height),
                    None if text is None else _drawn_text(text, height),
                )
            )
        view_box = f"0 0 {show_number(width, _DIGITS)} {show_number(height, _DIGITS)}"
        leftovers = "".join(_outline_data(each, height) for each in kept)
        edge, tabs = _outline_data(outline, height), _tabs_data(job, height)
        return Picture(view_box, width, height, edge, tuple(drawn), leftovers, tabs)

    def _caption(self, placed: PlacedPart, named: str, number: int, longest: float) -> Caption | None:
        """Its number in the cut order and its name, or the number alone where these find no room."""
        name = self._fitted(placed, named, _SMALLEST_TEXT * longest, _LARGEST_TEXT * longest)
        return name or self._fitted(placed, str(number), _SMALLEST_NUMBER * longest, _SMALLEST_TEXT * longest)

    def _fitted(self, placed: PlacedPart, text: str, smallest: float, largest: float) -> Caption | None:
        place = placed.placement
        # Digits are equally wide, so that copies of one part can share what was found.
        kind = "".join("0" if sign in "0123456789" else sign for sign in text)
        lying = (placed.part.name, round(place.turn, 6), place.mirrored)
        key = (*lying, kind, smallest, largest)
        if key not in self._captions:
            if lying not in self._rooms:
                outline = placed.part.shape.outline.transformed(_without_move(placed))
                self._rooms[lying] = Room(outline.polygon())
            self._captions[key] = self._rooms[lying].caption(kind, smallest, largest)
        found = self._captions[key]
        if found is None:
            return None
        words = iter(text.split())
        lines = tuple(" ".join(next(words) for _ in line.split()) for line in found.lines)
        return Caption(lines, found.x + place.x, found.y + place.y, found.angle, found.size)


def blank_picture(
    size: tuple[float, float], blanks: Sequence[PlannedSheet], cuts: Sequence[StraightCut] = ()
) -> BlankPicture:
    """The picture of a whole sheet of ``size`` (mm) with the blanks to cut from it by hand."""
    width, height = size
    longest = max(size)
    drawn = []
    for blank in blanks:
        x, y = blank.blank_origin or (0.0, 0.0)
        w, h = blank.outline.size
        corners = (x, y), (x + w, y), (x + w, y + h), (x, y + h)
        words = [f"{show_number(px, _DIGITS)},{show_number(height - py, _DIGITS)}" for px, py in corners]
        size_of_text = min(0.09 * longest, 0.4 * min(w, h))
        text = Caption((str(blank.index),), x + w / 2.0, y + h / 2.0, 0.0, size_of_text)
        drawn.append(DrawnBlank(f"sheet {blank.index}", f"M{' L'.join(words)} Z", _drawn_text(text, height)))
    view_box = f"0 0 {show_number(width, _DIGITS)} {show_number(height, _DIGITS)}"
    lines = []
    for order, cut in enumerate(cuts, start=1):
        words = [f"{show_number(x, _DIGITS)},{show_number(height - y, _DIGITS)}" for x, y in cut.ends]
        # Near the end that is cut into first, where cuts hardly cross.
        x, y = (cut.at, cut.end - 0.05 * longest) if cut.upright else (cut.start + 0.05 * longest, cut.at)
        text = Caption((str(order),), x, y, 0.0, 0.05 * longest)
        lines.append(DrawnBlank(f"cut {order}", f"M{' L'.join(words)}", _drawn_text(text, height)))
    return BlankPicture(view_box, width, height, tuple(drawn), tuple(lines))


def _without_move(placed: PlacedPart) -> Affine:
    matrix = placed.placement.matrix.copy()
    matrix[:2, 2] = 0.0
    return matrix


def _svg_matrix(matrix: Affine, own_height: float, height: float) -> str:
    """From a drawn shape's box to the drawn sheet; y is downward in both."""
    (a, b, x), (c, d, y) = matrix[:2].tolist()
    turned = [show_number(each, _MATRIX_DIGITS) for each in (a, -c, -b, d)]
    moved = [show_number(each, _DIGITS) for each in (b * own_height + x, height - d * own_height - y)]
    return f"matrix({' '.join(turned + moved)})"


def _tabs_data(job: Job, height: float) -> str:
    """What lies between the runs of each outline, straight across."""
    words = []
    for _, several in groupby((s for s in job.strokes if s.is_run), key=lambda s: (s.part, s.copy)):
        runs = [stroke.path for stroke in several]
        for before, after in zip(runs, [*runs[1:], runs[0]], strict=True):
            words.append(path_data(Path.polyline([before.end, after.start], False), height, _DIGITS))
    return "".join(words)


def _outline_data(outline: Outline, height: float) -> str:
    return "".join(path_data(ring, height, _DIGITS) for ring in outline.rings())


def _drawn_text(text: Caption, height: float) -> DrawnText:
    x, y = show_number(text.x, _DIGITS), show_number(height - text.y, _DIGITS)
    lines = []
    for place, words in enumerate(text.lines):
        # The baseline lies about a third of the size below the middle of a line of Latin letters.
        shift = (place - (len(text.lines) - 1) / 2.0) * LINE_HEIGHT * text.size + 0.35 * text.size
        lines.append(TextLine(words, x, show_number(height - text.y + shift, _DIGITS)))
    turn = f"rotate({show_number(-math.degrees(text.angle), _DIGITS)} {x} {y})" if text.angle else ""
    return DrawnText(tuple(lines), show_number(text.size, _DIGITS), turn)
