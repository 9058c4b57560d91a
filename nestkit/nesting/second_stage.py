"""The second stage of a batch's search: what the overlap engine makes of a layout, here or elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from nestkit.nesting.choosing import is_best, on_better_sheets
from nestkit.nesting.exact import on_exact_sheets
from nestkit.nesting.master import Worth
from nestkit.nesting.problem import Item, Layout, Spacing
from nestkit.nesting.proofs import Prover
from nestkit.nesting.search import Score
from nestkit.nesting.stops import Stop, a_share_of
from nestkit.nesting.supply import Supply, cost_of

#: Share of the second stage's time for what may be solved exactly.
EXACT_SHARE = 0.4


@dataclass(eq=False)
class Enough:
    """Judges whether nothing better than a plan of some worth is to be looked for.

    Parameters
    ----------
    prover : Prover
    content : Worth, optional
        A plan as good as this is good enough, proven or not.
    """

    prover: Prover
    content: Worth | None = None
    _known: dict[Worth, bool] = field(default_factory=dict)

    def is_met(self, worth: Worth) -> bool:
        """Whether a plan worth so much is good enough."""
        if self.content is not None and worth <= self.content:
            return True
        if worth not in self._known:
            self._known[worth] = is_best(worth, self.prover.prove(worth.sheets, worth.money))
        return self._known[worth]

    def is_met_by(self, score: Score) -> bool:
        """Whether a layout is good enough; see `score_of`."""
        return score[0] == 0 and self.is_met(Worth(score[1], int(score[2])))

    def ask_anew(self) -> None:
        """Told that more may be proven now than was."""
        self._known.clear()


@dataclass(frozen=True, eq=False)
class Bettered:
    """A layout, its score, the rounds that were spent, and what was proven not to hold the items.

    ``is_enough``: nothing better is to be looked for.
    """

    layout: Layout
    score: Score
    rounds: int
    ruled_out: tuple[tuple[int, ...], ...] = ()
    is_enough: bool = False


@dataclass(frozen=True, eq=False)
class SecondStage:
    """What it takes to go on from a layout. It can be sent to another process.

    Parameters
    ----------
    items, spacing
        See `nesting.problem`.
    row : Supply
        What the layout's bins are.
    layout : Layout
        Sound.
    enough : Enough
    seed : int
    """

    items: tuple[Item, ...]
    spacing: Spacing
    row: Supply
    layout: Layout
    enough: Enough
    seed: int

    def run(
        self,
        tighten: Stop,
        asked_to_stop: Callable[[], bool],
        before_tightening: Callable[[], None],
        progress: Callable[[int, int], None] | None,
    ) -> Bettered:
        """The best layout that is found, the one at hand if there is none better.

        Parameters
        ----------
        tighten : Stop
        asked_to_stop : callable
        before_tightening : callable
            Called before the overlap engine is first used.
        progress : callable, optional
            Given the rounds of this stage and the sheets used so far.
        """
        best = Bettered(self.layout, score_of(self.items, self.layout, self.row), 0)
        if not (self.enough.is_met_by(best.score) or asked_to_stop()):
            best = self._on_exact_sheets(best, tighten, asked_to_stop)
        if not (self.enough.is_met_by(best.score) or best.layout.left_out or asked_to_stop()):
            before_tightening()
            chosen = on_better_sheets(
                self.items,
                self.row,
                best.layout,
                self.spacing,
                self.enough.prover,
                is_enough=self.enough.is_met,
                seed=self.seed,
                stop=tighten,
                asked_to_stop=asked_to_stop,
                anew_first=self.enough.content is not None,
                progress=None if progress is None else lambda rounds, worth: progress(rounds, worth.sheets),
            )
            score = score_of(self.items, chosen.layout, self.row)
            if score < best.score:
                best = replace(best, layout=chosen.layout, score=score, rounds=chosen.rounds)
        return replace(best, is_enough=self.enough.is_met_by(best.score))

    def _on_exact_sheets(self, best: Bettered, tighten: Stop, asked_to_stop: Callable[[], bool]) -> Bettered:
        """On fewer sheets, where every choice of them can be tried exactly."""
        prover, rule = self.enough.prover, a_share_of(tighten, EXACT_SHARE)
        before = len(prover.ruled_out)
        layout = on_exact_sheets(
            self.items,
            self.row,
            best.layout,
            self.spacing,
            prover,
            seed=self.seed,
            is_over=lambda: asked_to_stop() or rule(0),
        )
        ruled_out = tuple(prover.ruled_out[before:])
        if ruled_out:
            self.enough.ask_anew()
        score = score_of(self.items, layout, self.row)
        if score < best.score:
            return Bettered(layout, score, 0, ruled_out)
        return replace(best, ruled_out=ruled_out)


def score_of(items: Sequence[Item], layout: Layout, row: Supply) -> Score:
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
