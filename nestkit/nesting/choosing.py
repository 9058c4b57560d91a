"""The second stage of a group's search: better sheets are proposed, and the overlap engine tries them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from nestkit.geometry import Outline
from nestkit.nesting.attempt import Attempt
from nestkit.nesting.bounds import EPSILON, Offer
from nestkit.nesting.master import Master, Worth
from nestkit.nesting.problem import Item, Layout, Seat, Spacing
from nestkit.nesting.proofs import Proof, Prover
from nestkit.nesting.stops import AfterRounds, Stop, within
from nestkit.nesting.supply import Supply, cost_of
from nestkit.stock.leftovers import leftovers

if TYPE_CHECKING:
    from nestkit.nesting.overlap import Score

#: Rounds for pushing together what lies on the emptiest sheet, at the end.
TIDYING = 40
TIDYING_SECONDS = 2.0
#: So many bins are looked at for the largest piece that is left.
LOOKED_AT = 3

_NOTHING = Layout((), ())

#: Numbers of a sheet's bins in a supply: one, or its blanks.
SheetBins = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Chosen:
    """A layout over a supply, what it is worth, and the rounds that were spent on it."""

    layout: Layout
    worth: Worth
    rounds: int = 0


def worth_of(row: Supply, layout: Layout) -> Worth:
    """Money and number of the sheets that a layout takes."""
    used = {row.meaning[seat.bin].which: row.meaning[seat.bin] for seat in layout.seats}
    return Worth(round(cost_of(used.values()), 6), len(used))


def best_leftover(items: Sequence[Item], row: Supply, layout: Layout) -> float:
    """Area of the largest single piece worth keeping that a layout leaves on its emptiest bins, mm^2."""
    taken: dict[int, list[Outline]] = {}
    for seat in layout.seats:
        lying = items[seat.item].outline.transformed(seat.placement.matrix)
        taken.setdefault(seat.bin, []).append(lying)
    free = {bin: row.bins[bin].outline.area - sum(one.area for one in some) for bin, some in taken.items()}
    emptiest = sorted(free, key=lambda bin: (-free[bin], bin))[:LOOKED_AT]
    pieces = [piece for bin in emptiest for piece in leftovers(row.bins[bin].outline, taken[bin])]
    return max((piece.area for piece in pieces), default=0.0)


def is_best(worth: Worth, proof: Proof) -> bool:
    """Whether it is proven that nothing is worth more."""
    return worth.money <= proof.money + EPSILON and worth.sheets <= proof.sheets


def on_better_sheets(
    items: Sequence[Item],
    row: Supply,
    layout: Layout,
    spacing: Spacing,
    prover: Prover,
    *,
    is_enough: Callable[[Worth], bool],
    seed: int,
    stop: Stop,
    asked_to_stop: Callable[[], bool],
    anew_first: bool = False,
    progress: Callable[[int, Worth], None] | None = None,
) -> Chosen:
    """A layout of the same items on sheets that are worth more, or the one that was given.

    Parameters
    ----------
    items : sequence of Item
    row : Supply
        All that may be used. The layout's bins count in it.
    layout : Layout
        Sound and whole: nothing is left out.
    spacing : Spacing
    prover : Prover
        Of the same items, over the same sheets.
    is_enough : callable
        Whether nothing better than a plan of some worth is to be looked for.
    seed, stop, asked_to_stop
        As for `nesting.search.search`; rounds are those of the overlap engine, over all tries.
    anew_first : bool
        Whether each choice of sheets is first tried from nothing, and then with what can stay of the best
        layout: that finds the last bit of room sooner, but a sheet less later.
    progress : callable, optional
        Given the number of rounds and what the best layout is worth.
    """
    best = Chosen(layout, worth_of(row, layout))
    if is_enough(best.worth):
        return best
    tries = _Tries(items, row, spacing, seed, stop, asked_to_stop, progress)
    stacks = [_by_way(row, sheets_of(row, offer)) for offer in prover.offers]
    most = prover.most_of_each(best.worth.sheets, best.worth.money)
    most = [min(len(ways[0]) if ways else 0, n) for ways, n in zip(stacks, most, strict=True)]
    master = Master(prover.demands, prover.kinds(most), seed, prover.ruled_out)
    partly: dict[tuple[SheetBins, ...], Layout] = {}
    tried: Counter[tuple[int, ...]] = Counter()
    while not (asked_to_stop() or stop(tries.rounds)):
        proposal = master.propose(best.worth)
        if proposal is None:
            break
        sheets, anew = _those(stacks, proposal.sheets, tried[proposal.sheets], anew_first)
        if anew:
            # Where one start leads to nothing another may: how long a try takes differs widely.
            start = _NOTHING
        else:
            start = partly.get(sheets) or _kept(items, row, best.layout, sheets)
        tried[proposal.sheets] += 1
        found = tries.fit(sheets, start, proposal.patience, best.worth)
        if found.left_out:
            known = partly.get(sheets)
            if known is None or _left(items, found) < _left(items, known):
                partly[sheets] = found
            master.note_not_found(proposal)
            continue
        master.note_found(proposal)
        best = Chosen(found, worth_of(row, found))
        if is_enough(best.worth):
            break
    if best.layout is not layout and not asked_to_stop():
        # What lies on the emptiest sheet reaches less far then, which may still leave a smaller piece.
        choice = (tries.tidied(best.layout), best.layout)
        best = replace(best, layout=max(choice, key=lambda one: best_leftover(items, row, one)))
    return replace(best, rounds=tries.rounds)


def _by_way(row: Supply, stack: Sequence[SheetBins]) -> list[list[SheetBins]]:
    """Sheets that are alike but for the way in which they are cut up, those of each way by themselves."""
    ways: dict[int, list[SheetBins]] = {}
    for sheet in stack:
        ways.setdefault(row.meaning[sheet[0]].way, []).append(sheet)
    return list(ways.values())


def _those(
    stacks: Sequence[Sequence[Sequence[SheetBins]]], numbers: Sequence[int], tries: int, anew_first: bool
) -> tuple[tuple[SheetBins, ...], bool]:
    """So many sheets of each stack, after so many tries with as many; and whether to begin from nothing.

    First all are cut up in the first way, then in the second, and so on, then each in another; then all
    that once more from nothing, or the other way round.
    """
    choices = max(
        (len(ways) + (n > 1 and len(ways) > 1) for ways, n in zip(stacks, numbers, strict=True) if n),
        default=1,
    )
    turn = tries % choices
    found: list[SheetBins] = []
    for ways, n in zip(stacks, numbers, strict=True):
        if turn < len(ways):
            found += ways[turn][:n]
        elif turn == len(ways) and len(ways) > 1:
            found += [ways[k % len(ways)][k // len(ways)] for k in range(n)]
        elif ways:
            found += ways[0][:n]
    return tuple(found), (tries // choices % 2 == 1) is not anew_first


def _left(items: Sequence[Item], layout: Layout) -> tuple[int, float]:
    """How much a layout leaves out: copies, and their area, mm^2."""
    return len(layout.left_out), sum(items[n].outline.area for n in layout.left_out)


def sheets_of(row: Supply, offer: Offer) -> list[SheetBins]:
    """The sheets of an offer, in their order: of each the numbers of its bins in the row."""
    found: dict[tuple[str, int], list[int]] = {}
    for number, meaning in enumerate(row.meaning):
        if meaning.sheet.name == offer.name and meaning.bought == (offer.count is None):
            found.setdefault(meaning.which, []).append(number)
    return [tuple(bins) for bins in found.values()]


def _kept(items: Sequence[Item], row: Supply, layout: Layout, sheets: Sequence[SheetBins]) -> Layout:
    """What of a layout can stay when only some sheets may be used: the fullest of those that are alike."""
    area: dict[tuple[str, int], float] = {}
    seats: dict[tuple[str, int], list[Seat]] = {}
    for seat in layout.seats:
        which = row.meaning[seat.bin].which
        area[which] = area.get(which, 0.0) + items[seat.item].outline.area
        seats.setdefault(which, []).append(seat)
    bins: dict[tuple[str, int], SheetBins] = {}
    for number, meaning in enumerate(row.meaning):
        bins[meaning.which] = (*bins.get(meaning.which, ()), number)
    free = list(sheets)
    kept: list[Seat] = []
    for which in sorted(area, key=lambda which: (-area[which], which)):
        # The sheet itself, if it is there, or else one with the same bins.
        shapes = [row.bins[bin].kind for bin in bins[which]]
        alike = [one for one in free if [row.bins[bin].kind for bin in one] == shapes]
        if not alike:
            continue
        place = bins[which] if bins[which] in alike else alike[0]
        free.remove(place)
        moved = dict(zip(bins[which], place, strict=True))
        kept += [replace(seat, bin=moved[seat.bin]) for seat in seats[which]]
    held = {seat.item for seat in kept}
    return Layout(tuple(kept), tuple(n for n in range(len(items)) if n not in held))


@dataclass
class _Tries:
    """Tries of the overlap engine, and the rounds they took in all."""

    items: Sequence[Item]
    row: Supply
    spacing: Spacing
    seed: int
    stop: Stop
    asked_to_stop: Callable[[], bool]
    progress: Callable[[int, Worth], None] | None
    rounds: int = 0
    count: int = 0

    def fit(self, sheets: Sequence[SheetBins], start: Layout, patience: int, best: Worth) -> Layout:
        """A layout on these sheets alone; some items are left out where none was found for all.

        Parameters
        ----------
        sheets : sequence of tuple of int
            Numbers of their bins in the row.
        start : Layout
            Sound, perhaps not whole; its bins count in the row.
        patience : int
            Rounds without progress until the try is given up.
        best : Worth
            Of the best plan so far, for those who watch.
        """
        watched = self.progress
        report = None if watched is None else lambda rounds: watched(rounds, best)
        attempt = Attempt(self.stop, self.rounds, report, patience)
        bins = [bin for one in sheets for bin in one]
        return self._search(bins, start, attempt.is_over, attempt.note)

    def tidied(self, layout: Layout) -> Layout:
        """The layout with what lies on its emptiest bin pushed together, so that one large piece is left."""
        area: dict[int, float] = {}
        for seat in layout.seats:
            area[seat.bin] = area.get(seat.bin, 0.0) + self.items[seat.item].outline.area
        bins = sorted(area, key=lambda bin: (-area[bin], bin))
        return self._search(bins, layout, within(AfterRounds(TIDYING), self.stop, TIDYING_SECONDS), None)

    def _search(
        self,
        bins: Sequence[int],
        start: Layout,
        stop: Stop,
        progress: Callable[[int, Score], None] | None,
    ) -> Layout:
        # Imported when it is needed: its kernels are compiled, or loaded, then.
        from nestkit.nesting import overlap

        places = {bin: place for place, bin in enumerate(bins)}
        given = replace(start, seats=tuple(replace(seat, bin=places[seat.bin]) for seat in start.seats))
        found = overlap.search(
            self.items,
            [self.row.bins[bin] for bin in bins],
            self.spacing,
            seed=self.seed + self.count,
            stop=stop,
            start=given if given.seats else None,
            asked_to_stop=self.asked_to_stop,
            progress=progress,
        )
        self.count += 1
        self.rounds += found.rounds
        seats = tuple(replace(seat, bin=bins[seat.bin]) for seat in found.layout.seats)
        return replace(found.layout, seats=seats)
