"""Lays templates out on pages: large ones on pages to be taped together, small ones where room is left."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import shapely
from shapely.geometry import LinearRing, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import Templates, Turns
from nestkit.geometry import Outline, Path, Placement, Shape
from nestkit.geometry.affine import Affine, compose, translation
from nestkit.geometry.clip import Box
from nestkit.nesting.bottom_left import Rule, construct
from nestkit.nesting.forms import Forms, turn_choices
from nestkit.nesting.problem import Bin, Item, Layout, Spacing
from nestkit.output.captions import LINE_HEIGHT, Caption, caption_for, text_width
from nestkit.output.template_grid import Cell, PageForm, needed_cells
from nestkit.output.template_parts import Template
from nestkit.units import Unit

#: Paper between two templates: for the notches outside of them and the scissors, mm.
GAP = 5.0
#: How far the outlines that are packed may stand off from the true ones, mm.
COARSE = 1.0
#: Between a template and the edge of what its pages show, mm.
RIM = 3.0
#: Font sizes of captions, mm.
SMALLEST, LARGEST, BESIDE = 2.3, 4.2, 2.6
#: Length of the notches on the centre lines, outside of the outline, mm.
NOTCH = 3.0
#: What captions keep clear of the lines around them, mm.
CLEAR = 1.2
#: A template that would take more pages is not printed.
MOST_PAGES = 300

# A place that is left over is offered to small templates from this size on, mm^2.
_SCRAP = 300.0
# A hole is worth keeping open for others from this size on, mm^2.
_LARGE_HOLE = 2500.0
# Beyond this many templates only one way of packing is tried.
_MANY = 60
_QUARTERS = Turns(tuple(quarter * math.pi / 2.0 for quarter in range(4)))
_AS_IT_IS = Turns((0.0,))


@dataclass(frozen=True, slots=True)
class Beside:
    """A caption that stands below its template: its lines, and the box around them, mm."""

    lines: tuple[str, ...]
    box: Box


@dataclass(frozen=True, eq=False)
class Laid:
    """A template on its pages.

    Parameters
    ----------
    template : Template
    matrix : (2, 3) float
        From the part's coordinates to the grid's, mm.
    beside : Beside or None
        Its caption, when that finds no room inside.
    """

    template: Template
    matrix: Affine
    beside: Beside | None = None

    @cached_property
    def shape(self) -> Shape:
        """Outline and lines in the grid's coordinates."""
        return self.template.part.shape.transformed(self.matrix)

    def moved(self, placement: Placement) -> Laid:
        """The same template elsewhere; one with its caption beside it is not turned."""
        beside = self.beside
        if beside is not None:
            x, y = placement.x, placement.y
            x0, y0, x1, y1 = beside.box
            beside = replace(beside, box=(x0 + x, y0 + y, x1 + x, y1 + y))
        return replace(self, matrix=compose(placement.matrix, self.matrix), beside=beside)

    @cached_property
    def foam(self) -> Polygon:
        """Its area in the grid's coordinates."""
        return self.shape.outline.polygon()


@dataclass(frozen=True, eq=False)
class Spread:
    """Pages that are taped together, or one page that stands alone.

    Parameters
    ----------
    form : PageForm
    columns, rows : int
    laid : tuple of Laid
    cells : tuple of (column, row)
        The pages that are printed, in order.
    """

    form: PageForm
    columns: int
    rows: int
    laid: tuple[Laid, ...]
    cells: tuple[Cell, ...]


@dataclass(frozen=True, eq=False)
class _Stamp:
    """A template at one turn, with the room that it takes; both in the coordinates of that turn."""

    laid: Laid
    room: Outline

    @property
    def number(self) -> int:
        return self.laid.template.number

    def placed(self, placement: Placement) -> Laid:
        return self.laid.moved(placement)

    def item(self, kind: int) -> Item:
        return Item(self.room, _QUARTERS if self.laid.beside is None else _AS_IT_IS, kind=kind)


def spreads_of(
    templates: Sequence[Template], settings: Templates, unit: Unit
) -> tuple[tuple[Spread, ...], tuple[Template, ...]]:
    """Few pages for all templates, and the templates that are too large for paper.

    Those that need several pages come first, in the build file's order.
    """
    upright, lying = PageForm.of(settings), PageForm.of(settings, lying=True)
    large: list[tuple[_Stamp, PageForm]] = []
    small: list[tuple[_Stamp, PageForm]] = []
    left_out = []
    for template in templates:
        choice = _best_turn(template, (upright, lying), unit)
        if choice is None:
            left_out.append(template)
        elif _grid(choice[0], choice[1]) == (1, 1):
            small.append(choice)
        else:
            large.append(choice)
    spreads = _large_spreads(large)
    spreads = _with_small(spreads, small)
    spreads.sort(
        key=lambda spread: (len(spread.cells) == 1, min(each.template.number for each in spread.laid))
    )
    return tuple(spreads), tuple(left_out)


def _best_turn(template: Template, forms: Sequence[PageForm], unit: Unit) -> tuple[_Stamp, PageForm] | None:
    """The turn and the way the paper lies that take the fewest pages; None when they are too many."""
    turns = turn_choices(Item(template.part.shape.outline))[:2]
    best: tuple[tuple[int, int, int], _Stamp, PageForm] | None = None
    for place, form in enumerate(forms):
        for turn in sorted(turns, key=lambda each: abs(math.sin(each))):
            stamp = _stamp(template, turn, unit)
            columns, rows = _grid(stamp, form)
            if best is not None and columns * rows > 2 * best[0][1]:
                continue
            if columns * rows > 4 * MOST_PAGES:
                continue
            pages = 1 if columns * rows == 1 else len(_alone(stamp, form).cells)
            key = (pages, columns * rows, place)
            if pages <= MOST_PAGES and (best is None or key < best[0]):
                best = key, stamp, form
    return None if best is None else best[1:]


def _stamp(template: Template, turn: float, unit: Unit) -> _Stamp:
    laid = Laid(template, Placement(turn=turn).matrix)
    if inside_caption(laid, template.caption(unit)) is not None:
        return _Stamp(laid, _coarse(laid.foam))
    x0, y0, x1, y1 = laid.shape.outline.bounds
    lines = _beside_lines(template, unit, x1 - x0)
    words = max(map(text_width, lines)) * BESIDE
    top = y0 - NOTCH - CLEAR
    foot = top - LINE_HEIGHT * BESIDE * len(lines)
    right = max(x1, x0 + words)
    room = Path.polyline([(x0, foot), (right, foot), (right, y1), (x0, y1)], True)
    return _Stamp(replace(laid, beside=Beside(lines, (x0, foot, x0 + words, top))), Outline(room))


def _coarse(foam: Polygon) -> Outline:
    """An outline of few corners round a template; paper is cheap, and time is not."""
    around = foam.buffer(COARSE, join_style="mitre", mitre_limit=1.5).simplify(COARSE)
    rings = [around.exterior, *(hole for hole in around.interiors if Polygon(hole).area > _LARGE_HOLE)]
    return _outline(rings)


def _outline(rings: Iterable[LinearRing]) -> Outline:
    exterior, *holes = [Path.polyline(ring.coords[:-1], True) for ring in rings]
    return Outline(exterior, tuple(holes))


def _beside_lines(template: Template, unit: Unit, width: float) -> tuple[str, ...]:
    """The caption in as few lines as are no longer than the template is wide, or in three."""
    name, count, foam = template.caption(unit).split(" ")
    for lines in ((f"{name} {count} {foam}",), (name, f"{count} {foam}")):
        if max(map(text_width, lines)) * BESIDE <= width:
            return lines
    return name, count, foam


def inside_caption(laid: Laid, text: str, within: BaseGeometry | None = None) -> Caption | None:
    """The caption inside a template, clear of its edge and lines; None when it finds no room.

    Parameters
    ----------
    laid : Laid
    text : str
    within : shapely geometry, optional
        What may be written on.
    """
    room = laid.foam.buffer(-CLEAR)
    if within is not None:
        room = room.intersection(within)
    drawn = [shapely.LineString(line.path.flatten()) for line in laid.shape.lines]
    if drawn:
        room = room.difference(shapely.union_all(shapely.buffer(drawn, CLEAR)))
    parts = [
        part for part in shapely.get_parts(room) if isinstance(part, Polygon) and part.area > SMALLEST**2
    ]
    for part in sorted(parts, key=lambda each: -each.area)[:6]:
        found = caption_for(part, [text], SMALLEST, LARGEST)
        if found is not None:
            return found
    return None


def _grid(stamp: _Stamp, form: PageForm) -> tuple[int, int]:
    width, height = stamp.room.size
    return form.grid_for(width + 2.0 * RIM, height + 2.0 * RIM)


def _alone(stamp: _Stamp, form: PageForm) -> Spread:
    """The template on a grid of its own, where it takes the fewest pages."""
    columns, rows = _grid(stamp, form)
    extent = form.extent(columns, rows)
    width, height = stamp.room.size
    x0, y0, _, _ = stamp.room.bounds
    spare = extent[0] - width - 2.0 * RIM, extent[1] - height - 2.0 * RIM
    shares = (0.5, 0.0, 1.0) if columns * rows <= _MANY else (0.5,)
    best: Spread | None = None
    for across in shares:
        for up in shares:
            placement = Placement(RIM + spare[0] * across - x0, RIM + spare[1] * up - y0)
            spread = _spread(form, columns, rows, [stamp.placed(placement)])
            if best is None or len(spread.cells) < len(best.cells):
                best = spread
    assert best is not None
    return best


def _spread(form: PageForm, columns: int, rows: int, laid: Sequence[Laid]) -> Spread:
    """The spread with its pages, without rows and columns at its edge on which nothing lies."""
    cells = needed_cells(form, columns, rows, [each.foam for each in laid])
    across, down = [column for column, _ in cells], [row for _, row in cells]
    left, above, below = min(across), min(down), rows - 1 - max(down)
    if (left, above, below, max(across)) != (0, 0, 0, columns - 1):
        tile = form.tile
        shift = Placement(-left * (tile[0] - form.overlap), -below * (tile[1] - form.overlap))
        laid = [each.moved(shift) for each in laid]
        cells = tuple((column - left, row - above) for column, row in cells)
        columns, rows = max(across) - left + 1, rows - above - below
    return Spread(form, columns, rows, tuple(laid), cells)


def _pages(spreads: Iterable[Spread]) -> int:
    return sum(len(spread.cells) for spread in spreads)


def _large_spreads(large: Sequence[tuple[_Stamp, PageForm]]) -> list[Spread]:
    """Each template alone, or several side by side on the grid of the largest: what takes fewer pages."""
    best = [_alone(stamp, form) for stamp, form in large]
    if len(large) < 2:
        return best
    order = sorted(range(len(large)), key=lambda n: (-math.prod(best[n].form.extent(*_grid(*large[n]))), n))
    stamps = [large[n][0] for n in order]
    grids = [(large[n][1], *_grid(*large[n])) for n in order]
    # Bin n holds item n when nothing else does, so every item finds a place in its own bin or an earlier one.
    bins = [
        Bin(_rectangle(*form.extent(columns, rows)), kind=n) for n, (form, columns, rows) in enumerate(grids)
    ]
    for layout in _layouts([stamp.item(n) for n, stamp in enumerate(stamps)], bins, Spacing(GAP, RIM)):
        if layout.left_out:
            continue
        together = []
        for number, (form, columns, rows) in enumerate(grids):
            laid = [stamps[seat.item].placed(seat.placement) for seat in layout.seats if seat.bin == number]
            if len(laid) > 1:
                together.append(_spread(form, columns, rows, laid))
            elif laid:
                stamp = next(stamps[seat.item] for seat in layout.seats if seat.bin == number)
                together.append(_alone(stamp, form))
        if _pages(together) < _pages(best):
            best = together
    return best


def _layouts(items: Sequence[Item], bins: Sequence[Bin], spacing: Spacing) -> Iterable[Layout]:
    """Ways to pack the items: largest first, by each of the engine's rules."""
    forms = Forms(items, spacing)
    order = list(range(len(items)))
    for rule in Rule if len(items) <= _MANY else (Rule.CORNER,):
        yield construct(items, bins, spacing, order, rule, forms)


def _with_small(spreads: list[Spread], small: Sequence[tuple[_Stamp, PageForm]]) -> list[Spread]:
    """The spreads with small templates in what room their pages leave, and pages for the rest."""
    if not small:
        return spreads
    ordered = sorted(small, key=lambda choice: (-choice[0].room.area, choice[0].number))
    items = [stamp.item(n) for n, (stamp, _) in enumerate(ordered)]
    bins: list[Bin] = []
    meaning: list[int | PageForm] = []
    for number, spread in enumerate(spreads):
        for room in _rooms_left(spread):
            bins.append(Bin(room, kind=len(bins)))
            meaning.append(number)
    blanks = len(bins)
    for form in sorted({form for _, form in ordered}, key=lambda each: not each.lying):
        count = sum(choice[1] == form for choice in ordered) if form.lying else len(ordered)
        width, height = form.tile
        edge = _rectangle(width - 2.0 * RIM, height - 2.0 * RIM).transformed(translation(RIM, RIM))
        bins += [Bin(edge, kind=blanks + form.lying)] * count
        meaning += [form] * count
    best: Layout | None = None
    for layout in _layouts(items, bins, Spacing(GAP, 0.0)):
        if best is None or _opened(layout, blanks) < _opened(best, blanks):
            best = layout
    assert best is not None
    found = list(spreads)
    for number in sorted({seat.bin for seat in best.seats}):
        laid = [ordered[seat.item][0].placed(seat.placement) for seat in best.seats if seat.bin == number]
        where = meaning[number]
        if isinstance(where, int):
            found[where] = replace(found[where], laid=(*found[where].laid, *laid))
        else:
            found.append(Spread(where, 1, 1, tuple(laid), ((0, 0),)))
    return found + [_alone(*ordered[number]) for number in best.left_out]


def _opened(layout: Layout, blanks: int) -> int:
    return len(layout.left_out) + len({seat.bin for seat in layout.seats if seat.bin >= blanks})


def _rooms_left(spread: Spread) -> Iterable[Outline]:
    """What the pages of a spread leave free of its templates and of the strips that pages share."""
    taken = shapely.union_all(
        [each.foam.simplify(0.5).buffer(GAP + 0.5, join_style="mitre") for each in spread.laid]
        + [shapely.box(*each.beside.box).buffer(GAP) for each in spread.laid if each.beside is not None]
    )
    inset = spread.form.overlap + RIM
    for cell in spread.cells:
        x0, y0, x1, y1 = spread.form.box(cell, spread.rows)
        left, right = (inset if 0 <= cell[0] + step < spread.columns else RIM for step in (-1, 1))
        above, below = (inset if 0 <= cell[1] + step < spread.rows else RIM for step in (-1, 1))
        free = shapely.box(x0 + left, y0 + below, x1 - right, y1 - above).difference(taken)
        for part in shapely.get_parts(free.buffer(-5.0).buffer(5.0, join_style="mitre").intersection(free)):
            tidy = part.buffer(-COARSE).simplify(COARSE)
            if isinstance(tidy, Polygon) and tidy.area > _SCRAP:
                yield _outline([tidy.exterior, *tidy.interiors])


def _rectangle(width: float, height: float) -> Outline:
    return Outline(Path.polyline([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)], True))
