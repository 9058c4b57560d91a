"""``templates.pdf``: paper templates, true to size, to be printed, cut out and drawn round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from nestkit.build.model import Build, Templates
from nestkit.geometry.clip import Box
from nestkit.nesting.model import Plan
from nestkit.output.folder import TEMPLATES_FILE
from nestkit.output.template_cover import Cover
from nestkit.output.template_foot import draw_foot
from nestkit.output.template_grid import Cell
from nestkit.output.template_ink import CROSS, Sheaf, strip
from nestkit.output.template_labels import page_words
from nestkit.output.template_layout import Laid, spreads_of
from nestkit.output.template_parts import Template, templates_of
from nestkit.output.template_pen import GREY, HELP, LOOKS, PALE, TRIM, Pen


@dataclass(frozen=True, eq=False)
class TemplateBook:
    """The PDF and what is in it.

    Parameters
    ----------
    data : bytes
    pages : int
        All pages, those with the legend and the list of templates included.
    templates : tuple of Template
        Those that are printed, in the build file's order.
    left_out : tuple of Template
        Those that would take too many pages.
    """

    data: bytes
    pages: int
    templates: tuple[Template, ...]
    left_out: tuple[Template, ...]

    def facts(self, settings: Templates) -> dict[str, Any]:
        """What plan.json says of it."""
        return {
            "file": TEMPLATES_FILE,
            "which": settings.which,
            "paper": settings.paper,
            "pages": self.pages,
            "parts": [each.part.name for each in self.templates],
            "left_out": [each.part.name for each in self.left_out],
        }


def template_book(build: Build, plan: Plan) -> TemplateBook | None:
    """The templates that the build asks for; None when there are none.

    The same build and plan give the same bytes.
    """
    wanted = templates_of(build, plan, build.templates.which)
    spreads, left_out = spreads_of(wanted, build.templates, build.unit)
    if not wanted:
        return None
    sheaves = [Sheaf.of(build, spread) for spread in spreads]
    templates = tuple(each for each in wanted if each not in left_out)
    cover = Cover.of(build, plan, sheaves, templates, left_out)
    count = cover.pages + sum(len(spread.cells) for spread in spreads)
    pen = Pen(f"Paper templates: {build.name}")
    cover.draw(pen, count)
    page = cover.pages
    for number, sheaf in enumerate(sheaves, start=1):
        for cell in sheaf.spread.cells:
            page += 1
            _draw_page(pen, build, sheaf, cell, (page, count), number)
    return TemplateBook(pen.finish(), count, templates, left_out)


def _draw_page(
    pen: Pen, build: Build, sheaf: Sheaf, cell: Cell, place: tuple[int, int], spread_number: int
) -> None:
    spread = sheaf.spread
    box = spread.form.box(cell, spread.rows)
    corner = spread.form.corner
    shift = corner[0] - box[0], corner[1] - box[1]
    shown = sheaf.shown[cell]
    pen.begin_page(spread.form.width, spread.form.height)
    _draw_strips(pen, sheaf, cell, box, shift)
    for pages, spots in sheaf.crosses.items():
        if cell in pages:
            for x, y in spots:
                _draw_cross(pen, x + shift[0], y + shift[1])
    for _, runs in shown:
        for each in runs:
            pen.draw(each.run.path, LOOKS[each.ink.style], shift, each.run.start)
    for words in page_words(sheaf, cell, shown, build.unit):
        if words.faint:
            pen.caption(words.caption, shift, GREY)
        else:
            pen.caption(words.caption, shift)
    laid: Sequence[Laid] = sorted((each for each, _ in shown), key=lambda each: each.template.number)
    draw_foot(pen, build, spread, cell, laid, place=place, spread_number=spread_number)
    pen.end_page()


def _draw_strips(pen: Pen, sheaf: Sheaf, cell: Cell, box: Box, shift: tuple[float, float]) -> None:
    """Grey where the page to the right or below will lie; a line to cut along at the left and above."""
    neighbours = sheaf.neighbours[cell]
    for side in ("right", "below"):
        if side in neighbours:
            x0, y0, x1, y1 = strip(sheaf.spread, cell, neighbours[side])
            pen.box(x0 + shift[0], y0 + shift[1], x1 - x0, y1 - y0, PALE)
    x0, y0, x1, y1 = box[0] + shift[0], box[1] + shift[1], box[2] + shift[0], box[3] + shift[1]
    if "left" in neighbours:
        pen.line(x0, y0, x0, y1, TRIM)
    if "above" in neighbours:
        pen.line(x0, y1, x1, y1, TRIM)


def _draw_cross(pen: Pen, x: float, y: float) -> None:
    pen.ring(x, y, CROSS / 2.0, HELP)
    pen.line(x - CROSS, y, x + CROSS, y, HELP)
    pen.line(x, y - CROSS, x, y + CROSS, HELP)
