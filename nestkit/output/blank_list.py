"""``blanks.csv`` and ``blanks.svg``: the straight cuts that make blanks of sheets larger than the bed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from nestkit.build.model import Build
from nestkit.cutting.model import Job
from nestkit.nesting.model import PlannedSheet
from nestkit.output.lists import Cell, csv_bytes
from nestkit.output.plan_json import job_file
from nestkit.output.text import plain, show_number
from nestkit.stock.blanks import as_laid
from nestkit.stock.cutting_up import StraightCut, straight_cuts
from nestkit.units import Unit, mm_per, show_length, show_size

#: Width of the sketch on paper, mm: a page with a margin, whether A4 or letter.
_PAGE = 180.0


@dataclass(frozen=True, eq=False)
class CutUp:
    """A sheet that is cut into blanks.

    Parameters
    ----------
    title : str
        Which sheet it is.
    size : (float, float), mm
        As it is laid.
    turned : bool
        Whether that is a quarter turn from how the build gives its size.
    blanks : tuple of PlannedSheet
        What is cut from it, in the plan's order.
    cuts : tuple of StraightCut
        In order.
    """

    title: str
    size: tuple[float, float]
    turned: bool
    blanks: tuple[PlannedSheet, ...]
    cuts: tuple[StraightCut, ...]


def sheets_to_cut_up(build: Build, jobs: Sequence[Job]) -> tuple[CutUp, ...]:
    """The sheets that blanks are cut from, each once, in the plan's order; not those that are cut already."""
    kinds = {sheet.name: sheet for sheet in build.sheets}
    together: dict[tuple[str, bool, int], list[PlannedSheet]] = {}
    for job in jobs:
        sheet = job.sheet
        if sheet.blank_origin is not None and not sheet.kept:
            together.setdefault((sheet.stock, sheet.bought, sheet.stock_number), []).append(sheet)
    found = []
    for (stock, _, _), blanks in together.items():
        laid = as_laid(kinds[stock].size, build.cutter.bed)
        found.append(
            CutUp(
                title=which_sheet(build, blanks[0]),
                size=laid,
                turned=laid != kinds[stock].size,
                blanks=tuple(blanks),
                cuts=straight_cuts(laid, build.cutter.bed, map(_box, blanks)),
            )
        )
    return tuple(found)


def which_sheet(build: Build, sheet: PlannedSheet) -> str:
    """One of the shop's list by its name and place, another by its number."""
    if sheet.piece:
        place = next((kind.place for kind in build.sheets if kind.name == sheet.stock), "")
        return f"{plain(sheet.stock)} of the shop" + (f" ({plain(place)})" if place else "")
    number = "bought sheet number" if sheet.bought else "shop sheet number"
    return f"{plain(sheet.stock)}, {number} {sheet.stock_number}"


def cut_words(cut: StraightCut, size: tuple[float, float], unit: Unit) -> str:
    """A cut as one is told to make it."""
    at = show_length(cut.at, unit)
    if cut.upright:
        return f"upright, {at} from the left, from bottom to top"
    if cut.end - cut.start > size[0] - 0.1:
        return f"level, {at} from the bottom, from left to right"
    start, end = show_length(cut.start, unit), show_length(cut.end, unit)
    return f"level, {at} from the bottom, across the piece from {start} to {end}"


def blanks_bytes(build: Build, jobs: Sequence[Job]) -> bytes:
    """``blanks.csv``: for each sheet a row, then its cuts in order, then its blanks with their jobs."""
    unit, per = build.unit, mm_per(build.unit)
    files = {job.sheet.index: job_file(job) for job in jobs}
    lengths = (f"x ({unit})", f"y ({unit})", f"width ({unit})", f"height ({unit})")
    rows: list[Sequence[Cell]] = [
        ("stock sheet", "stock number", "from", "what", "order", *lengths, "sheet of the plan", "job", "note")
    ]

    def shown(*values: float) -> list[str]:
        return [show_number(mm / per, 2 if unit == "mm" else 4) for mm in values]

    for each in sheets_to_cut_up(build, jobs):
        first = each.blanks[0]
        start: tuple[Cell, ...] = (
            first.stock,
            first.stock_number,
            "bought" if first.bought else "the shop",
        )
        note = "laid turned by a quarter" if each.turned else ""
        rows.append((*start, "sheet", "", *shown(0.0, 0.0, *each.size), "", "", note))
        for order, cut in enumerate(each.cuts, start=1):
            length = cut.end - cut.start
            where = (cut.at, cut.start, 0.0, length) if cut.upright else (cut.start, cut.at, length, 0.0)
            rows.append((*start, "cut", order, *shown(*where), "", "", cut_words(cut, each.size, unit)))
        for blank in each.blanks:
            x, y = blank.blank_origin or (0.0, 0.0)
            place = shown(x, y, *blank.outline.size)
            rows.append((*start, "blank", "", *place, blank.index, files[blank.index], ""))
    return csv_bytes(rows)


def blanks_svg_bytes(build: Build, jobs: Sequence[Job]) -> bytes:
    """``blanks.svg``: a small sketch of each sheet with its blanks and its cuts, numbered."""
    sheets = sheets_to_cut_up(build, jobs)
    longest = max(max(each.size) for each in sheets)
    text, rim = 0.022 * longest, 0.11 * longest
    drawn, top = [], 0.0
    for each in sheets:
        drawn.append(_sketch(build, each, (rim, top + rim), text))
        top += each.size[1] + 1.6 * rim
    width = max(each.size[0] for each in sheets) + 2.0 * rim
    scale = _PAGE / width
    return "".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>\n',
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(_PAGE)}mm"',
            f' height="{_n(scale * top)}mm" viewBox="0 0 {_n(width)} {_n(top)}"',
            f' font-family="sans-serif" font-size="{_n(text)}" text-anchor="middle">\n',
            f"<title>{escape(plain(build.name))}: blanks to cut by hand</title>\n",
            "<desc>A sketch, smaller than the sheets. Make the cuts in the order of their numbers.</desc>\n",
            f'<rect width="{_n(width)}" height="{_n(top)}" fill="#ffffff"/>\n',
            *drawn,
            "</svg>\n",
        ]
    ).encode("utf-8")


def _sketch(build: Build, each: CutUp, corner: tuple[float, float], text: float) -> str:
    (left, top), (width, height), unit = corner, each.size, build.unit

    def at(x: float, y: float) -> tuple[str, str]:
        """From the sheet's lower left corner, y upward."""
        return _n(left + x), _n(top + height - y)

    turned = ", laid turned by a quarter" if each.turned else ""
    head = f"{each.title}: {show_size(width, height, unit)}{turned}"
    words = [
        f'<g class="sheet">\n<text x="{_n(left)}" y="{_n(top - 2.6 * text)}" text-anchor="start">'
        f"{escape(head)}</text>\n",
        f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(width)}" height="{_n(height)}" fill="#f2f2f2"'
        f' stroke="#969696" stroke-width="{_n(0.1 * text)}"/>\n',
    ]
    for blank in each.blanks:
        x0, y0, x1, y1 = _box(blank)
        x, y = at(x0, y1)
        words.append(
            f'<rect class="blank" x="{x}" y="{y}" width="{_n(x1 - x0)}" height="{_n(y1 - y0)}"'
            f' fill="#cfe6ee" stroke="#0072b2" stroke-width="{_n(0.1 * text)}"/>\n'
        )
        x, _ = at((x0 + x1) / 2.0, 0.0)
        middle = top + height - (y0 + y1) / 2.0
        for line, told in enumerate((f"sheet {blank.index}", show_size(x1 - x0, y1 - y0, unit))):
            words.append(
                f'<text x="{x}" y="{_n(middle + (1.2 * line - 0.1) * text)}">{escape(told)}</text>\n'
            )
    for order, cut in enumerate(each.cuts, start=1):
        (x0s, y0s), (x1s, y1s) = (at(*end) for end in cut.ends)
        words.append(
            f'<path class="cut" d="M{x0s},{y0s}L{x1s},{y1s}" stroke="#d55e00"'
            f' stroke-width="{_n(0.15 * text)}" stroke-dasharray="{_n(text)} {_n(0.5 * text)}"/>\n'
        )
        # The number stands at the cut's end: above the sheet, or on the cut.
        x, y = at(cut.at, height) if cut.upright else at(cut.start + 1.5 * text, cut.at)
        down = -text if cut.upright else 0.0
        words.append(
            f'<circle cx="{x}" cy="{_n(float(y) + down)}" r="{_n(0.85 * text)}" fill="#ffffff"'
            f' stroke="#d55e00" stroke-width="{_n(0.1 * text)}"/>\n'
            f'<text x="{x}" y="{_n(float(y) + down + 0.36 * text)}">{order}</text>\n'
        )
        told = show_length(cut.at, unit)
        if cut.upright:
            x, y = at(cut.at, 0.0)
            words.append(f'<text x="{x}" y="{_n(float(y) + 1.3 * text)}">{escape(told)}</text>\n')
        else:
            x, y = at(cut.start + 2.8 * text, cut.at)
            words.append(
                f'<text x="{x}" y="{_n(float(y) - 0.3 * text)}" text-anchor="start">{escape(told)}</text>\n'
            )
    words.append("</g>\n")
    return "".join(words)


def _box(blank: PlannedSheet) -> tuple[float, float, float, float]:
    x, y = blank.blank_origin or (0.0, 0.0)
    width, height = blank.outline.size
    return x, y, x + width, y + height


def _n(value: float) -> str:
    return show_number(value, 2)
