"""Sheets as pictures for the report: what to draw, in millimetres with y downward."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from nestkit.cutting.model import Job
from nestkit.geometry import Outline
from nestkit.nesting.model import PlannedSheet
from nestkit.output.captions import LINE_HEIGHT, Caption, caption_for
from nestkit.output.lists import cut_order
from nestkit.output.palette import Swatch, css
from nestkit.output.svg_path import path_data
from nestkit.output.text import plain, show_number

# Shares of a sheet's longer side. The smallest is what can still be read on a screen of usual width.
_SMALLEST_TEXT = 0.0105
_LARGEST_TEXT = 0.024
_SMALLEST_NUMBER = 0.008

_DIGITS = 2


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
class DrawnPart:
    """A part in a picture; ``number`` is its place in the cut order."""

    number: int
    title: str
    data: str
    marks: tuple[str, ...]
    fill: str
    edge: str
    text: DrawnText | None


@dataclass(frozen=True, slots=True)
class Picture:
    """A sheet with its parts; ``view_box`` is that of an SVG element."""

    view_box: str
    width: float
    height: float
    edge: str
    parts: tuple[DrawnPart, ...]


@dataclass(frozen=True, slots=True)
class DrawnBlank:
    """A blank on the sheet that it is cut from."""

    title: str
    data: str
    text: DrawnText | None


@dataclass(frozen=True, slots=True)
class BlankPicture:
    """A whole sheet with the blanks that are cut from it."""

    view_box: str
    width: float
    height: float
    blanks: tuple[DrawnBlank, ...]


def sheet_picture(job: Job, swatch: Callable[[str], Swatch]) -> Picture:
    """The picture of a job's sheet; ``swatch`` gives the colours of an assembly."""
    outline = job.sheet.outline
    width, height = outline.size
    longest = max(width, height)
    drawn = []
    for number, placed in enumerate(cut_order(job), start=1):
        shape = placed.shape
        title = f"{plain(placed.part.name)} {placed.copy}"
        polygon = shape.outline.polygon()
        text = caption_for(polygon, [title], _SMALLEST_TEXT * longest, _LARGEST_TEXT * longest)
        if text is None:
            text = caption_for(polygon, [str(number)], _SMALLEST_NUMBER * longest, _SMALLEST_TEXT * longest)
        colours = swatch(placed.part.assembly)
        drawn.append(
            DrawnPart(
                number,
                title,
                _outline_data(shape.outline, height),
                tuple(path_data(line.path, height, _DIGITS) for line in shape.lines),
                css(colours.fill),
                css(colours.edge),
                None if text is None else _drawn_text(text, height),
            )
        )
    view_box = f"0 0 {show_number(width, _DIGITS)} {show_number(height, _DIGITS)}"
    return Picture(view_box, width, height, _outline_data(outline, height), tuple(drawn))


def blank_picture(size: tuple[float, float], blanks: Sequence[PlannedSheet]) -> BlankPicture:
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
    return BlankPicture(view_box, width, height, tuple(drawn))


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
