"""What stands at the foot of every page: which page it is, what is on it, a map, two bars to measure."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.output.template_grid import FOOT, Cell, cell_name
from nestkit.output.template_layout import Laid, Spread
from nestkit.output.template_pen import BAR, GREY, HELP, WHITE, Pen, fitted, width_of, wrapped
from nestkit.output.text import plain
from nestkit.units import MM_PER_INCH

#: Length of the longer bar, mm.
BARS_WIDTH = 4.0 * MM_PER_INCH
BARS_HEIGHT = 13.0

_SIZE = 2.4
_LINE = 2.95
_MAP = (24.0, 14.0)
_SPACE = 4.0
_LINES_OF_NAMES = 3


def draw_bars(pen: Pen, x: float, y: float, inches_first: bool) -> None:
    """Two bars of known length, one over the other, from their lower left corner."""
    millimetres = (100.0, [10.0 * k for k in range(11)], "100 mm")
    inches = (BARS_WIDTH, [MM_PER_INCH * k for k in range(5)], "4 inches")
    rows = (inches, millimetres) if inches_first else (millimetres, inches)
    for up, (length, ticks, words) in zip((9.5, 2.7), rows, strict=True):
        pen.line(x, y + up, x + length, y + up, BAR)
        for place, tick in enumerate(ticks):
            tall = 2.6 if place in (0, len(ticks) - 1) else 1.6
            pen.line(x + tick, y + up, x + tick, y + up + tall, BAR)
        pen.write(words, x, y + up - 2.4, 2.2)


def draw_foot(
    pen: Pen,
    build: Build,
    spread: Spread,
    cell: Cell,
    shown: Sequence[Laid],
    *,
    place: tuple[int, int],
    spread_number: int,
) -> None:
    """The foot of a page.

    Parameters
    ----------
    pen : Pen
    build : Build
    spread : Spread
    cell : (column, row)
    shown : sequence of Laid
        The templates on this page.
    place : (int, int)
        The page's number and how many there are.
    spread_number : int
        Counts from 1 through the spreads of several pages.
    """
    form = spread.form
    x, y = form.margin, form.margin
    right = form.width - form.margin
    pen.line(x, y + FOOT - 1.2, right, y + FOOT - 1.2, HELP)
    draw_bars(pen, right - BARS_WIDTH, y, build.unit == "in")
    if len(spread.cells) > 1:
        x += draw_map(pen, spread, x, y + 0.5, _MAP, cell) + 2.5
        name = cell_name(cell)
        pen.write(name, x, y + 8.0, 6.0, bold=True)
        pen.write(f"spread {spread_number}", x, y + 3.6, 2.2)
        x += max(width_of(name, 6.0, bold=True), width_of(f"spread {spread_number}", 2.2)) + 3.0
    room = right - BARS_WIDTH - _SPACE - x
    up = y + FOOT - 1.2 - 2.9
    pen.write(fitted(plain(build.name), room, _SIZE, bold=True), x, up, _SIZE, bold=True)
    pen.write(fitted(f"page {place[0]} of {place[1]}", room, _SIZE), x, up - _LINE, _SIZE)
    names = [
        f"{each.template.name}: {each.template.count}, {each.template.foam(build.unit)}" for each in shown
    ]
    for line, words in enumerate(_names(names, room), start=2):
        pen.write(words, x, up - line * _LINE, _SIZE)


def _names(names: Sequence[str], room: float) -> list[str]:
    """The names in a few lines; shortened, and in the end counted, where there are too many."""
    if len(names) == 1:
        return wrapped(names[0], room, _SIZE)[:_LINES_OF_NAMES]
    for shorter in (names, [name.split(":")[0] for name in names]):
        lines = wrapped("; ".join(shorter), room, _SIZE, joint="; ")
        if len(lines) <= _LINES_OF_NAMES:
            return lines
    short = [name.split(":")[0] for name in names]
    for count in range(len(short) - 1, 0, -1):
        more = f"and {len(short) - count} more"
        lines = wrapped("; ".join([*short[:count], more]), room, _SIZE, joint="; ")
        if len(lines) <= _LINES_OF_NAMES:
            return lines
    return [f"{len(names)} templates"]


def draw_map(
    pen: Pen, spread: Spread, x: float, y: float, room: tuple[float, float], here: Cell | None
) -> float:
    """The pages of a spread as small boxes, those that are not printed crossed out; the map's width, mm."""
    tile = spread.form.tile
    scale = min(room[0] / (spread.columns * tile[0]), room[1] / (spread.rows * tile[1]))
    width, height = tile[0] * scale, tile[1] * scale
    printed = set(spread.cells)
    for row in range(spread.rows):
        for column in range(spread.columns):
            left, low = x + column * width, y + (spread.rows - 1 - row) * height
            if (column, row) not in printed:
                pen.line(left + 0.3, low + 0.3, left + width - 0.3, low + height - 0.3, HELP)
                pen.line(left + 0.3, low + height - 0.3, left + width - 0.3, low + 0.3, HELP)
                continue
            pen.box(left, low, width, height, GREY if (column, row) == here else WHITE, BAR)
    return spread.columns * width
