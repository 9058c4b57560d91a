"""Plans one group: all parts of one material and thickness, over the sheets there are for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from nestkit.build.model import Sheet
from nestkit.nesting.bounds import EPSILON
from nestkit.nesting.carried import LaidSheet, carried, sound_layout
from nestkit.nesting.choosing import is_best, on_better_sheets
from nestkit.nesting.exact import on_exact_sheets
from nestkit.nesting.figures import figures, prover_of_placed
from nestkit.nesting.forms import Forms
from nestkit.nesting.master import Worth
from nestkit.nesting.model import Group, PlacedPart, PlannedSheet, Unplaced
from nestkit.nesting.problem import Item, Layout, Status
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import Batch, GroupRequest, batches_of, why_no_place
from nestkit.nesting.search import STARTS, NestResult, Score, search
from nestkit.nesting.smaller import on_smaller_pieces
from nestkit.nesting.stops import AfterRounds, AnyOf, Stop, a_share_of
from nestkit.nesting.supply import SheetBin, Supply, cost_of, offers, supply, ways_of
from nestkit.nesting.verify import faults

#: Rounds for each kind of sheet that could be bought, before the best kind gets the remaining time.
FIRST_LOOK = len(STARTS)
#: Share of the second stage's time for making a plan of another size sound.
CARRY_SHARE = 0.8
#: Share of the second stage's time for what may be solved exactly.
EXACT_SHARE = 0.4
#: With more copies than this, sheets are cut into blanks in the usual way alone.
MOST_FOR_WAYS = 1000

Report = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class GroupPlan:
    """The group's figures, its sheets (indices count from 1 within the group), what is left out."""

    group: Group
    sheets: tuple[PlannedSheet, ...]
    unplaced: tuple[Unplaced, ...]
    stopped: bool
    rounds: int


def plan_group(
    request: GroupRequest,
    *,
    seed: int,
    stop: Stop,
    tighten: Stop | None = None,
    before_tightening: Callable[[], None] = lambda: None,
    asked_to_stop: Callable[[], bool] = lambda: False,
    progress: Report | None = None,
    start: Sequence[LaidSheet] = (),
    otherwise: Sequence[LaidSheet] = (),
) -> GroupPlan:
    """Chooses sheets and places every copy that fits.

    Money comes first, then the number of sheets, then the emptiest sheet, so that what remains is
    one large leftover. The constructive engine works until `stop`, then the overlap engine from there
    until `tighten`; without that, not at all. `before_tightening` is called between the two.
    `progress` is given the round and the sheets used so far. `start` is a plan of another size: it is
    taken over where it can be made sound and is better than what the constructive engine finds, and
    `otherwise` is one that takes its place where it can't.
    """
    batches, unplaced = batches_of(request)
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
        provers.append(Prover(asked, rooms, request.spacing))
        found, chosen = _pack(
            request,
            batch,
            provers[-1],
            taken,
            seed,
            stop,
            tighten,
            before_tightening,
            asked_to_stop,
            progress,
            [laid for laid in (start, otherwise) if laid],
        )
        stopped = stopped or asked_to_stop()
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


def _pack(
    request: GroupRequest,
    batch: Batch,
    prover: Prover,
    taken: Counter[str],
    seed: int,
    stop: Stop,
    tighten: Stop | None,
    before_tightening: Callable[[], None],
    asked_to_stop: Callable[[], bool],
    progress: Report | None,
    starts: Sequence[Sequence[LaidSheet]],
) -> tuple[NestResult, Supply]:
    """The best layout over the kinds of sheet that could be bought first."""
    items, spacing = batch.items, request.spacing
    kinds: list[Sheet | None] = [sheet for sheet in request.sheets if sheet.buy]
    forms = Forms(items, spacing)
    known: dict[tuple[float, float], bool] = {}

    def enough(score: Score) -> bool:
        if score[0] > 0:
            return False
        money, count = score[1:3]
        if (money, count) not in known:
            proof = prover.prove(int(count), money)
            known[money, count] = is_best(Worth(money, int(count)), proof)
        return known[money, count]

    def sheets(first: Sheet | None, way: int = 0) -> Supply:
        return supply(
            request.sheets,
            batch.bed,
            len(items),
            first,
            dict(taken),
            most_cuts=request.most_cuts,
            way=way if len(items) <= MOST_FOR_WAYS else None,
        )

    def run(first: Sheet | None, rule: Stop, start: int, way: int = 0) -> tuple[NestResult, Supply]:
        row = sheets(first, way)
        report = None if progress is None else lambda n, s: progress(start + n, int(s[2]))
        found = search(
            items,
            row.bins,
            spacing,
            score=lambda layout: _score(items, layout, row),
            enough=enough,
            seed=seed,
            stop=rule,
            asked_to_stop=asked_to_stop,
            forms=forms,
            progress=report,
        )
        return found, row

    def begun() -> tuple[NestResult, Supply] | None:
        """The first plan of another size that can be made sound on its own sheets."""
        row = sheets(kinds[0] if kinds else None)
        for start in starts:
            layout = carried(batch, row, start, spacing)
            if layout is None:
                continue
            if tighten is not None and (layout.left_out or faults(items, row.bins, layout, spacing)):
                before_tightening()
            rule = None if tighten is None else a_share_of(tighten, CARRY_SHARE)
            sound = sound_layout(
                items, row, layout, spacing, seed=seed, stop=rule, asked_to_stop=asked_to_stop
            )
            if sound is not None:
                return NestResult(Status.TIME, sound, _score(items, sound, row), 0.0, 0, ()), row
        return None

    def exact(best: tuple[NestResult, Supply]) -> tuple[NestResult, Supply]:
        found, row = best
        if tighten is None or enough(found.score) or asked_to_stop():
            return best
        rule = a_share_of(tighten, EXACT_SHARE)
        before = len(prover.ruled_out)
        layout = on_exact_sheets(
            items,
            row,
            found.layout,
            spacing,
            prover,
            seed=seed,
            is_over=lambda: asked_to_stop() or rule(0),
        )
        if len(prover.ruled_out) > before:
            # More may be proven now than was.
            known.clear()
        score = _score(items, layout, row)
        return (replace(found, layout=layout, score=score), row) if score < found.score else best

    def closer(best: tuple[NestResult, Supply]) -> tuple[NestResult, Supply]:
        best = exact(best)
        found, row = best
        if tighten is None or enough(found.score) or found.layout.left_out or asked_to_stop():
            return best
        before_tightening()
        report = None if progress is None else lambda n, worth: progress(found.rounds + n, worth.sheets)
        chosen = on_better_sheets(
            items,
            row,
            found.layout,
            spacing,
            prover,
            seed=seed,
            stop=tighten,
            asked_to_stop=asked_to_stop,
            progress=report,
        )
        score = _score(items, chosen.layout, row)
        better = replace(found, layout=chosen.layout, score=score, rounds=found.rounds + chosen.rounds)
        return (better, row) if score < found.score else best

    # First of all: it may need no search, and is mostly better than what one finds in a short time.
    known_plan = begun()
    if known_plan is not None and enough(known_plan[0].score):
        return replace(known_plan[0], status=Status.PROVEN), known_plan[1]
    if known_plan is not None and stop(0):
        return closer(known_plan)

    def or_begun(found: tuple[NestResult, Supply]) -> tuple[NestResult, Supply]:
        if known_plan is not None and known_plan[0].score < found[0].score:
            return replace(known_plan[0], rounds=found[0].rounds), known_plan[1]
        return found

    ways = [1] * len(kinds)
    if len(items) <= MOST_FOR_WAYS:
        ways = [len(ways_of(kind, batch.bed, request.most_cuts)) for kind in kinds if kind is not None]
    if sum(ways) <= 1:
        return closer(or_begun(run(kinds[0] if kinds else None, stop, 0)))
    look = AnyOf(stop, AfterRounds(FIRST_LOOK))
    looks = [(run(kind, look, 0), kind, 0) for kind in kinds]
    first, kind, way = min(looks, key=lambda seen: seen[0][0].score)
    spent = sum(seen[0][0].rounds for seen in looks)
    # Sheets that are cut up: in which way is looked at for the best kind alone.
    for other in range(1, ways[kinds.index(kind)]):
        if enough(first[0].score) or stop(spent) or asked_to_stop():
            break
        seen = run(kind, look, spent, other)
        spent += seen[0].rounds
        if seen[0].score < first[0].score:
            first, way = seen, other
    if not (enough(first[0].score) or stop(spent) or asked_to_stop()):
        longer = run(kind, _Later(stop, spent), spent, way)
        if longer[0].score <= first[0].score:
            first = longer
    best = closer(or_begun(first))
    return best if len(kinds) <= 1 else _cheaper_sheets(request, batch, best)


class _Later:
    """A stop rule for a search that goes on after some rounds were spent elsewhere."""

    def __init__(self, rule: Stop, spent: int) -> None:
        self._rule, self._spent = rule, spent

    def __call__(self, rounds: int) -> bool:
        return self._rule(rounds + self._spent)


def _score(items: Sequence[Item], layout: Layout, row: Supply) -> Score:
    """Left out, money, sheets, area on the emptiest sheet, then how far the parts reach on it."""
    area: dict[tuple[str, int], float] = {}
    reach: dict[tuple[str, int], float] = {}
    for seat in layout.seats:
        sheet_bin = row.meaning[seat.bin]
        item = items[seat.item]
        area[sheet_bin.which] = area.get(sheet_bin.which, 0.0) + item.outline.area
        right = item.outline.transformed(seat.placement.matrix).bounds[2] + sheet_bin.blank.x
        reach[sheet_bin.which] = max(reach.get(sheet_bin.which, 0.0), right)
    emptiest = min(area, key=lambda which: (area[which], which), default=None)
    return (
        float(len(layout.left_out)),
        round(cost_of(row.meaning[seat.bin] for seat in layout.seats), 6),
        float(len(area)),
        round(area[emptiest], 3) if emptiest else 0.0,
        round(reach[emptiest], 3) if emptiest else 0.0,
    )


def _cheaper_sheets(
    request: GroupRequest, batch: Batch, best: tuple[NestResult, Supply]
) -> tuple[NestResult, Supply]:
    """Moves what lies on a bought sheet to a cheaper kind where that holds it as well."""
    found, row = best
    layout = found.layout
    bins, meaning = list(row.bins), list(row.meaning)
    numbers = Counter({sheet.name: sheet.in_shop for sheet in request.sheets})
    for sheet_bin in {m.which: m for m in meaning}.values():
        numbers[sheet_bin.sheet.name] = max(numbers[sheet_bin.sheet.name], sheet_bin.number)
    whole = {meaning[seat.bin].which: meaning[seat.bin] for seat in layout.seats if meaning[seat.bin].bought}
    for which, sheet_bin in whole.items():
        members = [seat.item for seat in layout.seats if meaning[seat.bin].which == which]
        each = sheet_bin.sheet.price / sheet_bin.sheet.pack
        cheaper = [s for s in request.sheets if s.buy and s.price < each - EPSILON]
        for kind in sorted(cheaper, key=lambda s: (s.price, s.name)):
            bought = replace(kind, in_shop=0)
            one = supply([bought], batch.bed, 1, first=bought, most_cuts=request.most_cuts)
            some = [batch.items[n] for n in members]
            moved = search(
                some,
                one.bins,
                request.spacing,
                score=lambda tried: (float(len(tried.left_out)),),
                enough=lambda score: score[0] == 0,
                seed=0,
                stop=AfterRounds(FIRST_LOOK),
            ).layout
            if moved.left_out:
                continue
            numbers[kind.name] += 1
            shift = len(bins)
            bins += one.bins
            meaning += [replace(m, sheet=kind, number=numbers[kind.name]) for m in one.meaning]
            kept = [seat for seat in layout.seats if meaning[seat.bin].which != which]
            kept += [replace(s, item=members[s.item], bin=s.bin + shift) for s in moved.seats]
            layout = replace(layout, seats=tuple(kept))
            break
    changed = Supply(tuple(bins), tuple(meaning))
    return replace(found, layout=layout, score=_score(batch.items, layout, changed)), changed


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
