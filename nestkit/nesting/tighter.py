"""The second stage of a group's search: the overlap engine tries to do without one of the sheets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from nestkit.nesting.bounds import needed_area, usable_area
from nestkit.nesting.problem import Item, Layout, Spacing
from nestkit.nesting.stops import Stop
from nestkit.nesting.supply import Supply

if TYPE_CHECKING:
    from nestkit.nesting.overlap import Score

#: Sheets that would have to be fuller than this are not tried.
HOPELESS = 0.92


def on_fewer_sheets(
    items: Sequence[Item],
    row: Supply,
    layout: Layout,
    spacing: Spacing,
    *,
    seed: int,
    stop: Stop,
    asked_to_stop: Callable[[], bool],
    progress: Callable[[int], None] | None = None,
) -> Layout:
    """A layout of the same items on fewer of the sheets that are used, or the one that was given.

    The sheet that is given up is a bought one where there is one, the emptiest of them. As long as
    that succeeds, the next is tried.

    Parameters
    ----------
    items, spacing
        See `nesting.problem`.
    row : Supply
        What the layout's bins are.
    layout : Layout
        Sound and whole: nothing is left out.
    seed, stop, asked_to_stop
        As for `nesting.search.search`; rounds are those of the overlap engine, over all tries.
    progress : callable, optional
        Given the number of rounds.
    """
    rounds = 0
    while True:
        bins = _without_one_sheet(items, row, layout)
        room = sum(usable_area(row.bins[bin].outline.size, spacing) for bin in bins)
        need = sum(needed_area(item, spacing.gap) for item in items)
        if need > HOPELESS * room or asked_to_stop() or stop(rounds):
            return layout
        # Imported when it is needed: its kernels are compiled, or loaded, then.
        from nestkit.nesting import overlap

        attempt = Attempt(stop, rounds, progress)
        found = overlap.search(
            items,
            [row.bins[bin] for bin in bins],
            spacing,
            seed=seed,
            stop=attempt.is_over,
            asked_to_stop=asked_to_stop,
            progress=attempt.note,
        )
        rounds += found.rounds
        if found.layout.left_out:
            return layout
        layout = Layout(tuple(replace(seat, bin=bins[seat.bin]) for seat in found.layout.seats))


class Attempt:
    """One try: over when the time is, or as soon as everything has a place."""

    def __init__(self, stop: Stop, before: int, progress: Callable[[int], None] | None) -> None:
        self._stop, self._before, self._progress = stop, before, progress
        self._placed = False

    def is_over(self, rounds: int) -> bool:
        return self._placed or self._stop(self._before + rounds)

    def note(self, rounds: int, score: Score) -> None:
        self._placed = score.left_out == 0
        if self._progress is not None:
            self._progress(self._before + rounds)


def _without_one_sheet(items: Sequence[Item], row: Supply, layout: Layout) -> list[int]:
    """Numbers of the used bins, less those of the sheet that is given up."""
    area: dict[tuple[str, int], float] = {}
    for seat in layout.seats:
        which = row.meaning[seat.bin].which
        area[which] = area.get(which, 0.0) + items[seat.item].outline.area
    bought = {meaning.which for meaning in row.meaning if meaning.bought}
    given_up = min(area, key=lambda which: (which not in bought, area[which], which))
    kept = set(area) - {given_up}
    return [bin for bin, meaning in enumerate(row.meaning) if meaning.which in kept]
