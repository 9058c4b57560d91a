"""The first pages of the templates: how to print them, what the lines mean, what is where."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from nestkit.build.model import Build
from nestkit.geometry import Path
from nestkit.nesting.model import Plan
from nestkit.output.template_foot import BARS_HEIGHT, draw_bars
from nestkit.output.template_grid import PageForm, cell_name
from nestkit.output.template_ink import CROSS, Sheaf, Style
from nestkit.output.template_layout import Spread
from nestkit.output.template_parts import Template
from nestkit.output.template_pen import (
    BAR,
    GREY,
    HELP,
    LOOKS,
    PALE,
    TRIM,
    WHITE,
    Look,
    Pen,
    fitted,
    width_of,
    wrapped,
)
from nestkit.output.text import plain, show_number
from nestkit.units import show_size
from nestkit.words import counted

_SIZE = 2.9
_LINE = 4.1
_ROW = 4.3
_HEADING = 8.0
_MAP = 58.0
_THIN = Look(0.15, GREY)
#: Widths of the table's columns.
_SHARES = (0.26, 0.17, 0.11, 0.16, 0.19, 0.11)
_PRINT = (
    "At 100 % (actual size), on one side. Switch off 'fit to page' and 'shrink'. Print this page first and "
    "measure the two bars: if they are off, all templates are."
)
_TAPE = (
    "Pages of one spread belong together; the map at the foot of each shows where it goes. Cut a page along "
    "its dashed lines at the left and above, lay it on the grey strip of its neighbour so that crosses lie "
    "on crosses, and tape it. Begin with A1, row by row."
)
_CUT = (
    "Cut along the thick lines, lay the template on the foam with its printed side up, and draw round it as "
    "often as it says."
)
_TURNED = "'Turned over' means: for that many copies lay it printed side down."
_FOLDS = (
    "Folds and bevels are cut into the side that you see: 0° would be flat, 90° is a square corner. "
    "Widths, depths and blade angles stand in folds.csv."
)


@dataclass(frozen=True, eq=False)
class _Block:
    """Something that stands in one piece on a page.

    Parameters
    ----------
    height : float, mm
    draw : callable
        Given the pen and the block's upper left corner.
    head : block, optional
        What comes again above it when it is the first on a page.
    """

    height: float
    draw: Callable[[Pen, float, float], None]
    head: _Block | None = None


@dataclass(frozen=True, eq=False)
class Cover:
    """The first pages, laid out.

    Parameters
    ----------
    build : Build
    form : PageForm
    sheets : tuple of tuple of block
    """

    build: Build
    form: PageForm
    sheets: tuple[tuple[_Block, ...], ...]

    @property
    def pages(self) -> int:
        """How many pages it takes."""
        return len(self.sheets)

    @classmethod
    def of(
        cls,
        build: Build,
        plan: Plan,
        sheaves: Sequence[Sheaf],
        templates: Sequence[Template],
        left_out: Sequence[Template],
    ) -> Cover:
        """The cover of these templates; laid out twice, since its own length moves the page numbers."""
        form = PageForm.of(build.templates)
        pages = 1
        while True:
            writer = _Writer(build, form, sheaves, pages)
            blocks = list(writer.blocks(plan, templates, left_out))
            sheets = _paginated(blocks, form.height - 2.0 * form.margin - 5.0)
            if len(sheets) <= pages:
                return cls(build, form, sheets)
            pages = len(sheets)

    def draw(self, pen: Pen, count: int) -> None:
        """Draws the pages; ``count`` is how many the whole file has."""
        margin = self.form.margin
        for number, blocks in enumerate(self.sheets, start=1):
            pen.begin_page(self.form.width, self.form.height)
            top = self.form.height - margin
            for block in blocks:
                block.draw(pen, margin, top)
                top -= block.height
            pen.write(f"page {number} of {count}", self.form.width - margin, margin + 1.0, 2.4, anchor="end")
            pen.end_page()


def _paginated(blocks: Sequence[_Block], room: float) -> tuple[tuple[_Block, ...], ...]:
    sheets: list[list[_Block]] = [[]]
    left = room
    for block in blocks:
        if block.height > left and sheets[-1]:
            sheets.append([] if block.head is None else [block.head])
            left = room - sum(each.height for each in sheets[-1])
        sheets[-1].append(block)
        left -= block.height
    return tuple(map(tuple, sheets))


class _Writer:
    def __init__(self, build: Build, form: PageForm, sheaves: Sequence[Sheaf], before: int) -> None:
        self._build, self._form, self._sheaves = build, form, sheaves
        self._width = form.width - 2.0 * form.margin
        self._first: list[int] = []
        page = before + 1
        for sheaf in sheaves:
            self._first.append(page)
            page += len(sheaf.spread.cells)
        self._count = page - 1

    def blocks(
        self, plan: Plan, templates: Sequence[Template], left_out: Sequence[Template]
    ) -> Iterator[_Block]:
        """Everything from the title to the maps."""
        build = self._build
        title = fitted(f"Paper templates: {plain(build.name)}", self._width, 6.5, bold=True)
        yield _Block(11.0, lambda pen, x, y: pen.write(title, x, y - 6.0, 6.5, bold=True))
        yield from self._text(
            f"{counted(len(templates), 'template')} on {counted(self._count, 'page')} of "
            f"{build.templates.paper}, this one included. Scale {show_number(plan.scale, 4)}. Outlines are "
            "the finished size: no kerf."
        )
        yield from _headed("Print", self._text(_PRINT))
        inches_first = build.unit == "in"
        yield _Block(BARS_HEIGHT + 2.0, lambda pen, x, y: draw_bars(pen, x, y - BARS_HEIGHT, inches_first))
        styles = {ink.style for sheaf in self._sheaves for own in sheaf.lines for ink in own}
        texts = [_TAPE] if self._taped else []
        texts.append(_CUT)
        if any(template.mirrored for template in templates):
            texts.append(_TURNED)
        if Style.FOLD in styles or Style.BEVEL in styles:
            texts.append(_FOLDS)
        heading = "Tape and cut" if self._taped else "Cut"
        yield from _headed(heading, (block for text in texts for block in self._text(text)))
        yield from self._legend(styles)
        yield from _headed("Templates", self._table(templates))
        for template in left_out:
            yield from self._text(
                f"No template for {template.name}: it would take too many pages. Its outline is in the job's "
                "DXF file."
            )
        yield from _headed("Spreads", self._maps())

    @property
    def _taped(self) -> bool:
        """Whether any pages belong together."""
        return any(len(sheaf.spread.cells) > 1 for sheaf in self._sheaves)

    def _text(self, text: str) -> Iterator[_Block]:
        """A paragraph in one piece."""
        lines = wrapped(text, self._width, _SIZE)

        def draw(pen: Pen, x: float, y: float) -> None:
            for place, line in enumerate(lines):
                pen.write(line, x, y - 3.0 - place * _LINE, _SIZE)

        yield _Block(_LINE * len(lines) + 1.0, draw)

    def _legend(self, styles: set[Style]) -> Iterator[_Block]:
        """The lines that occur, in two columns."""
        entries: list[tuple[Callable[[Pen, float, float], None], str]] = [
            (_sample(style), words)
            for style, words in (
                (Style.CUT, "thick black line: cut"),
                (Style.MARK, "green dashes: a mark; draw it, don't cut it"),
                (Style.FOLD, "fold, with its angle"),
                (Style.BEVEL, "bevel along an edge, with its angle"),
                (Style.LIP, "edge of a fold's or bevel's groove"),
                (Style.NOTCH, "notch outside: centre line of the part"),
            )
            if style in styles
        ]
        if any(len(sheaf.spread.cells) > 1 for sheaf in self._sheaves):
            entries += [
                (lambda pen, x, y: pen.line(x, y, x + 16.0, y, TRIM), "cut the page off here"),
                (_cross, "lay crosses on crosses"),
                (lambda pen, x, y: pen.box(x, y - 1.5, 16.0, 3.0, PALE), "the next page lies here"),
            ]
        half = (len(entries) + 1) // 2
        for row in range(half):
            pair = entries[row::half]

            def draw(
                pen: Pen, x: float, y: float, pair: Sequence[tuple[Callable[..., None], str]] = pair
            ) -> None:
                for place, (sample, words) in enumerate(pair):
                    left = x + place * self._width / 2.0
                    sample(pen, left, y - 2.6)
                    pen.write(words, left + 20.0, y - 3.5, _SIZE)

            yield _Block(5.2, draw)
        yield _Block(1.0, _nothing)

    def _table(self, templates: Sequence[Template]) -> Iterator[_Block]:
        """A row for each template; the head comes again on each page."""
        folded = any(template.folds() for template in templates)
        head = self._line(
            ("template", "copies", "foam", "size", "folds" if folded else "", "on page"), bold=True
        )
        yield head
        for template in templates:
            yield replace(self._line(self._row(template)), head=head)
        yield _Block(2.0, _nothing)

    def _line(self, cells: Sequence[str], bold: bool = False) -> _Block:
        lines = [
            wrapped(cell, share * self._width - 2.0, _SIZE, joint=", " if ", " in cell else " ")
            for cell, share in zip(cells, _SHARES, strict=True)
        ]
        tall = max(map(len, lines)) * 3.4 + _ROW - 3.4

        def draw(pen: Pen, x: float, y: float) -> None:
            pen.line(x, y - tall, x + self._width, y - tall, HELP)
            for share, cell in zip(_SHARES, lines, strict=True):
                for down, words in enumerate(cell):
                    pen.write(words, x, y - 3.1 - 3.4 * down, _SIZE, bold=bold)
                x += share * self._width

        return _Block(tall, draw)

    def _row(self, template: Template) -> tuple[str, ...]:
        pages = [
            first + place
            for sheaf, first in zip(self._sheaves, self._first, strict=True)
            for place, cell in enumerate(sheaf.spread.cells)
            if any(laid.template is template for laid, _ in sheaf.shown[cell])
        ]
        return (
            template.name,
            template.count.removeprefix("cut ").replace(" of them", ""),
            template.foam(self._build.unit),
            show_size(*template.part.shape.outline.size, self._build.unit),
            template.folds(),
            _ranges(pages),
        )

    def _maps(self) -> Iterator[_Block]:
        """The spreads of several pages, drawn small, three beside each other."""
        spreads = [
            (number, first, sheaf.spread)
            for number, (sheaf, first) in enumerate(zip(self._sheaves, self._first, strict=True), start=1)
            if len(sheaf.spread.cells) > 1
        ]
        if not spreads:
            return
        across = max(1, int(self._width // (_MAP + 2.0)))
        for place in range(0, len(spreads), across):
            row = spreads[place : place + across]
            tall = max(
                _map_scale(spread) * spread.form.extent(spread.columns, spread.rows)[1]
                for _, _, spread in row
            )

            def draw(pen: Pen, x: float, y: float, row: Sequence[tuple[int, int, Spread]] = row) -> None:
                for number, first, spread in row:
                    pen.write(f"spread {number}", x, y - 3.2, _SIZE, bold=True)
                    _draw_spread(pen, spread, first, x, y - 5.0)
                    x += self._width / across

            yield _Block(tall + 9.0, draw)


def _headed(text: str, blocks: Iterable[_Block]) -> Iterator[_Block]:
    """The blocks under a heading, which stays with the first of them; nothing when there are none."""
    for place, block in enumerate(blocks):
        if place:
            yield block
            continue

        def draw(pen: Pen, x: float, y: float, block: _Block = block) -> None:
            pen.write(text, x, y - 5.8, 4.0, bold=True)
            block.draw(pen, x, y - _HEADING)

        yield _Block(block.height + _HEADING, draw)


def _nothing(pen: Pen, x: float, y: float) -> None:
    """Draws a gap."""


def _sample(style: Style) -> Callable[[Pen, float, float], None]:
    def draw(pen: Pen, x: float, y: float) -> None:
        if style is Style.NOTCH:
            pen.line(x, y - 1.0, x + 16.0, y - 1.0, LOOKS[Style.CUT])
            pen.line(x + 8.0, y - 1.0, x + 8.0, y + 1.5, LOOKS[Style.NOTCH])
            return
        if style is Style.BEVEL:
            pen.line(x, y, x + 16.0, y, LOOKS[Style.CUT])
        pen.draw(Path.polyline([(x, y), (x + 16.0, y)], False), LOOKS[style])

    return draw


def _cross(pen: Pen, x: float, y: float) -> None:
    pen.ring(x + 8.0, y, CROSS / 2.0, HELP)
    pen.line(x + 8.0 - CROSS, y, x + 8.0 + CROSS, y, HELP)
    pen.line(x + 8.0, y - CROSS, x + 8.0, y + CROSS, HELP)


def _map_scale(spread: Spread) -> float:
    width, height = spread.form.extent(spread.columns, spread.rows)
    return min(_MAP / width, _MAP / height)


def _draw_spread(pen: Pen, spread: Spread, first: int, x: float, top: float) -> None:
    """A spread drawn small: the outlines on it, its pages with their names and numbers."""
    scale = _map_scale(spread)
    height = spread.form.extent(spread.columns, spread.rows)[1]
    half = spread.form.overlap / 2.0
    printed = {cell: first + place for place, cell in enumerate(spread.cells)}
    for laid in spread.laid:
        for ring in laid.shape.outline.rings():
            points = [(x + px * scale, top - (height - py) * scale) for px, py in ring.flatten(0.5)]
            pen.draw(Path.polyline(points, True), _THIN)
    for row in range(spread.rows):
        for column in range(spread.columns):
            x0, y0, x1, y1 = spread.form.box((column, row), spread.rows)
            left = x + (x0 + (half if column else 0.0)) * scale
            right = x + (x1 - (half if column < spread.columns - 1 else 0.0)) * scale
            low = top - (height - y0 - (half if row < spread.rows - 1 else 0.0)) * scale
            high = top - (height - y1 + (half if row else 0.0)) * scale
            if (column, row) not in printed:
                pen.line(left, low, right, high, HELP)
                pen.line(left, high, right, low, HELP)
                continue
            edge = Path.polyline([(left, low), (right, low), (right, high), (left, high)], True)
            pen.draw(edge, Look(BAR.width, GREY))
            words = f"{cell_name((column, row))}, p. {printed[column, row]}"
            size = min(2.3, 0.9 * (right - left) / max(width_of(words, 1.0), 1e-9))
            pen.box(left + 0.4, high - 1.3 * size, width_of(words, size) + 0.6, 1.1 * size, WHITE)
            pen.write(words, left + 0.7, high - size, size)


def _ranges(numbers: Sequence[int]) -> str:
    """``3-6, 9``."""
    runs = []
    for _, run in groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0]):
        members = [number for _, number in run]
        runs.append(str(members[0]) if len(members) == 1 else f"{members[0]}-{members[-1]}")
    return ", ".join(runs)
