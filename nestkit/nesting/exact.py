"""Groups of rectangles alone: every better choice of sheets is tried exactly, until none is left.

The choice model names the cheapest sheets that nothing rules out yet; the solver of `rectangles` lays
everything on them, or proves that it can't be done. A proof goes to the prover, and so into the bound; where
neither is found the choice is left to the other engines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from nestkit.geometry import Placement
from nestkit.nesting.bounds_widths import inner_room
from nestkit.nesting.choosing import SheetBins, is_best, sheets_of, worth_of
from nestkit.nesting.forms import turn_choices
from nestkit.nesting.master import Worth
from nestkit.nesting.problem import Item, Layout, Seat, Spacing
from nestkit.nesting.proofs import MOST_SLOTS, Prover
from nestkit.nesting.rectangle_model import Verdict
from nestkit.nesting.rectangles import Box, Found, Size, Spot, never_fit, place_all
from nestkit.nesting.supply import Supply, cost_of
from nestkit.nesting.verify import faults

#: What the solver may do for one choice of sheets, and in all, in its own measure; some ten seconds for 1.
WORK, WORK_IN_ALL = 0.5, 1.0
#: An outline is a rectangle when it lacks no more than this share of the box round it.
LACKING = 1e-9


@dataclass(frozen=True, slots=True)
class Way:
    """How a rectangle lies at a turn: the box round it, its origin where the item's is, mm."""

    turn: float
    x: float
    y: float
    width: float
    height: float


def ways_of(item: Item) -> tuple[Way, ...]:
    """The different ways in which an item lies as an upright rectangle; none when it is no rectangle."""
    found: dict[tuple[float, float], Way] = {}
    for turn in turn_choices(item):
        way = _way(item, turn)
        if way is not None:
            found.setdefault((round(way.width, 6), round(way.height, 6)), way)
    return tuple(found.values())


def is_always_upright(item: Item) -> bool:
    """Whether an item lies as an upright rectangle at every turn that it may take."""
    angles = item.turns.angles
    return angles is not None and all(_way(item, turn) is not None for turn in angles)


def _way(item: Item, turn: float) -> Way | None:
    if item.outline.holes:
        return None
    outline = item.outline.transformed(Placement(turn=turn, mirrored=item.mirrored).matrix)
    x0, y0, x1, y1 = outline.bounds
    box = (x1 - x0) * (y1 - y0)
    return Way(turn, x0, y0, x1 - x0, y1 - y0) if outline.area >= box * (1.0 - LACKING) else None


def on_exact_sheets(
    items: Sequence[Item],
    row: Supply,
    layout: Layout,
    spacing: Spacing,
    prover: Prover,
    *,
    seed: int,
    is_over: Callable[[], bool],
) -> Layout:
    """The best layout of rectangles that is found exactly, or the one that was given.

    Parameters
    ----------
    items : sequence of Item
    row : Supply
        All that may be used. The layout's bins count in it.
    layout : Layout
        Sound; nothing is left out of the one that is returned in its place.
    spacing : Spacing
    prover : Prover
        Of the same items, over the same sheets. It is told what is proven.
    seed : int
        The same seed gives the same layout, if `is_over` does not end the search.
    is_over : callable
        Asked often.
    """
    ways = [ways_of(item) for item in items]
    best = _everything(row) if layout.left_out else worth_of(row, layout)
    if not all(ways):
        return layout
    if not layout.left_out and is_best(best, prover.prove(best.sheets, best.money)):
        return layout
    exact = _Exact(items, ways, row, spacing, prover, seed, is_over)
    while (better := exact.better_than(best)) is not None:
        layout, best = better, worth_of(row, better)
    return layout


@dataclass
class _Exact:
    items: Sequence[Item]
    ways: Sequence[tuple[Way, ...]]
    row: Supply
    spacing: Spacing
    prover: Prover
    seed: int
    is_over: Callable[[], bool]
    left: float = WORK_IN_ALL

    def __post_init__(self) -> None:
        self.boxes = [Box(tuple((way.width, way.height) for way in ways)) for ways in self.ways]
        self.stacks = [sheets_of(self.row, offer) for offer in self.prover.offers]
        # At a slanted turn rectangles may fit where they don't upright: then there is nothing to prove.
        self.may_prove = all(map(is_always_upright, self.prover.items))
        self.not_found: list[tuple[int, ...]] = []

    def better_than(self, best: Worth) -> Layout | None:
        """A layout that is worth more; None when there is none, or none was found."""
        while self.left > 0.0 and not self.is_over():
            most = self.prover.most_of_each(best.sheets, best.money)
            if sum(most) > MOST_SLOTS:
                return None
            model = self.prover.model(most)
            for sheets in self.not_found:
                model.forbid_within(sheets)
            model.better_than(best.money, best.sheets)
            choice = model.best(self.seed).choice
            if choice is None:
                return None
            layout = self._layout_on(choice.sheets)
            if layout is not None:
                return layout
        return None

    def _layout_on(self, sheets: tuple[int, ...]) -> Layout | None:
        """A layout on so many sheets of each offer; without one they are ruled out, or left to others."""
        stacks = [stack[:n] for stack, n in zip(self.stacks, sheets, strict=True)]
        bins = [bin for stack in stacks for one in stack for bin in one]
        meant = [self.row.meaning[bin] for bin in bins]
        found = Found(Verdict.UNKNOWN)
        # An offcut of another outline than a rectangle is for the other engines.
        asked = all(each.sheet.outline is None for each in meant) and all(map(_is_there, stacks, sheets))
        if asked:
            rooms = [inner_room(self.row.bins[bin].outline.size, self.spacing) for bin in bins]
            found = self._asked(place_all, rooms, self.spacing.gap)
        if found.verdict is Verdict.FITS:
            layout = self._seated(bins, found.spots)
            if not faults(self.items, self.row.bins, layout, self.spacing):
                return layout
        elif self.may_prove and not (asked and all(each.is_whole for each in meant)):
            # Sheets could be cut up in another way, or by hand along the parts: the proof is for whole ones.
            found = self._asked(never_fit, *self._whole_rooms(sheets))
        if self.may_prove and found.verdict is Verdict.NEVER:
            self.prover.rule_out(sheets)
        else:
            self.not_found.append(sheets)
        return None

    def _asked(self, ask: Callable[..., Found], rooms: Sequence[Size], gap: float) -> Found:
        found = ask(self.boxes, rooms, gap, seed=self.seed, work=min(WORK, self.left), is_over=self.is_over)
        self.left = max(self.left - found.work, 0.0)
        return found

    def _whole_rooms(self, sheets: Sequence[int]) -> tuple[list[Size], float]:
        """Between the margins of the sheets, and the gap that is kept on all of them."""
        taken = [(offer, n) for offer, n in zip(self.prover.offers, sheets, strict=True) if n]
        rooms = [inner_room(offer.size, self.spacing) for offer, n in taken for _ in range(n)]
        return rooms, min(offer.across(self.spacing).gap for offer, _ in taken)

    def _seated(self, bins: Sequence[int], spots: Sequence[Spot]) -> Layout:
        seats = []
        margin = self.spacing.margin
        for number, (item, ways, spot) in enumerate(zip(self.items, self.ways, spots, strict=True)):
            way = ways[spot.way]
            at = Placement(margin + spot.x - way.x, margin + spot.y - way.y, way.turn, item.mirrored)
            seats.append(Seat(number, bins[spot.room], at))
        return Layout(tuple(seats))


def _is_there(stack: Sequence[SheetBins], number: int) -> bool:
    return len(stack) == number


def _everything(row: Supply) -> Worth:
    """What is worth less than any plan."""
    return Worth(cost_of(row.meaning), len({meaning.which for meaning in row.meaning}) + 1)
