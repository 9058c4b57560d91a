"""Plans one group: all parts of one material and thickness, over the sheets there are for it."""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace

from nestkit.nesting.batch import BatchSearch, Pause
from nestkit.nesting.course import Course
from nestkit.nesting.figures import figures, prover_of_placed
from nestkit.nesting.master import Worth
from nestkit.nesting.model import Group, PlacedPart, PlannedSheet, Unplaced
from nestkit.nesting.problem import Item, Layout
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import Batch, GroupRequest, batches_of, why_no_place
from nestkit.nesting.second_stage import Bettered
from nestkit.nesting.smaller import on_smaller_pieces
from nestkit.nesting.stops import Stop
from nestkit.nesting.supply import SheetBin, Supply, offers

#: A search that pauses between its two stages. It is then sent the stop for the second one (None to keep the
#: one it has), or what came of it elsewhere.
Staged = Generator[Pause, Stop | Bettered | None, "GroupPlan"]


@dataclass(frozen=True, eq=False)
class GroupPlan:
    """The group's figures, its sheets (indices count from 1 within the group), what is left out."""

    group: Group
    sheets: tuple[PlannedSheet, ...]
    unplaced: tuple[Unplaced, ...]
    stopped: bool
    rounds: int


def plan_group(request: GroupRequest, course: Course) -> GroupPlan:
    """Plans a group by itself, without a pause between the two stages."""
    return ended(stages(request, course))


def ended(staged: Staged, answer: Stop | Bettered | None = None) -> GroupPlan:
    """What a search comes to, whether it was begun or not; it is sent the answer at its next pause."""
    try:
        while True:
            staged.send(answer)
            if isinstance(answer, Bettered):
                answer = None
    except StopIteration as done:
        plan: GroupPlan = done.value
        return plan


def stages(request: GroupRequest, course: Course) -> Staged:
    """Chooses sheets and places every copy that fits.

    Money comes first, then the number of sheets, then the emptiest sheet, so that what remains is
    one large leftover.
    """
    batches, unplaced = batches_of(request)
    if unplaced and course.content is not None:
        # It leaves nothing out, which no plan can match any more.
        course = replace(course, content=Worth(math.inf, sys.maxsize))
    taken: Counter[str] = Counter()
    sheets: list[PlannedSheet] = []
    used: list[SheetBin] = []
    stopped, rounds = False, 0
    provers: list[Prover] = []
    ruled_out: list[tuple[int, ...]] = []
    for batch in batches:
        # What is proven is proven for every turn that the maker allows, not only for those that are tried.
        asked = [
            replace(item, turns=part.turns) for item, (part, _) in zip(batch.items, batch.copies, strict=True)
        ]
        rooms = offers(request.sheets, batch.bed, request.most_cuts)
        provers.append(Prover(asked, rooms, request.spacing, by_area_alone=not course.proofs))
        found, chosen = yield from BatchSearch(request, batch, provers[-1], taken, course).stages()
        stopped = stopped or course.asked_to_stop()
        rounds += found.rounds
        layout = on_smaller_pieces(batch.items, chosen, found.layout, request.spacing)
        layout = _in_copy_order(batch.items, layout)
        planned, bins = _planned(request, batch, layout, chosen, len(sheets))
        sheets += planned
        used += bins
        for sheet_bin in bins:
            name, number = sheet_bin.which
            taken[name] = max(taken[name], number)
        if batch.how != "hand" and not layout.left_out:
            ruled_out += provers[-1].ruled_out
        why = why_no_place(request)
        unplaced += [Unplaced(*batch.copies[n], why) for n in layout.left_out]
    sheets = _renumbered(request, sheets)
    prover = provers[0] if len(batches) == 1 and not unplaced else None
    group = figures(request, sheets, used, unplaced, prover or prover_of_placed(request, sheets, ruled_out))
    return GroupPlan(group, tuple(sheets), tuple(unplaced), stopped, rounds)


def _in_copy_order(items: Sequence[Item], layout: Layout) -> Layout:
    """The same layout with interchangeable copies numbered in the order of their sheets."""
    alike: dict[tuple[int, bool], list[int]] = {}
    for number, item in enumerate(items):
        alike.setdefault((item.kind, item.mirrored), []).append(number)
    seats = []
    ordered = sorted(layout.seats, key=lambda s: (s.bin, s.placement.x, s.placement.y))
    for seat in ordered:
        item = items[seat.item]
        seats.append(replace(seat, item=alike[item.kind, item.mirrored].pop(0)))
    return Layout(tuple(seats), tuple(sorted(n for numbers in alike.values() for n in numbers)))


def _planned(
    request: GroupRequest, batch: Batch, layout: Layout, row: Supply, before: int
) -> tuple[list[PlannedSheet], list[SheetBin]]:
    """Planned sheets in the order in which their bins stand."""
    sheets: list[PlannedSheet] = []
    bins: list[SheetBin] = []
    for number in sorted({seat.bin for seat in layout.seats}):
        sheet_bin = row.meaning[number]
        blank = sheet_bin.blank
        placed = tuple(
            PlacedPart(*batch.copies[seat.item], seat.placement)
            for seat in sorted(layout.seats, key=lambda s: s.item)
            if seat.bin == number
        )
        bins.append(sheet_bin)
        sheets.append(
            PlannedSheet(
                index=before + len(sheets) + 1,
                stock=sheet_bin.sheet.name,
                stock_number=sheet_bin.number,
                bought=sheet_bin.bought,
                piece=sheet_bin.sheet.piece,
                blank_origin=None if sheet_bin.is_whole else (blank.x, blank.y),
                material=request.material,
                thickness=request.thickness,
                outline=row.bins[number].outline,
                how=batch.how,
                placed=placed,
            )
        )
    return sheets, bins


def _renumbered(request: GroupRequest, sheets: Sequence[PlannedSheet]) -> list[PlannedSheet]:
    """Bought sheets of each kind numbered without gaps, after those in the shop."""
    in_shop = {sheet.name: sheet.in_shop for sheet in request.sheets}
    numbers: dict[tuple[str, int], int] = {}
    for stock, number in sorted({(s.stock, s.stock_number) for s in sheets if s.bought}):
        numbers[stock, number] = in_shop[stock] + 1 + sum(1 for name, _ in numbers if name == stock)
    return [replace(s, stock_number=numbers[s.stock, s.stock_number]) if s.bought else s for s in sheets]
