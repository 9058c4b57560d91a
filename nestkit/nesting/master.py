"""The master: which sheets to try next, learning from what was packed and from what was not.

It proposes sheets that would be better than the best plan so far: money first, then their number. The search
answers with a layout, or that it found none within some patience. That is no proof: sheets that were not
enough are left out only for a while, and tried again with twice the patience when nothing else is left. What
is proven (`proofs`) is in the model from the start, and only that ends the search.

References
----------
Hooker and Ottosson 2003, "Logic-based Benders decomposition", Mathematical Programming 96.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nestkit.nesting.choice_model import Choice, ChoiceModel, Demand, Kind

#: Sheets are thought to get this full at first, and at each step more when nothing else is left to try.
LIKELY_FILL, FILL_STEP = 0.78, 0.05
#: After a try in vain, the next sheets are to be less full by so much.
EASIER = 0.02
#: Rounds of the overlap engine without any progress, until a try is given up; the first time.
PATIENCE = 120
#: The solver's work for one proposal.
WORK = 0.4


@dataclass(frozen=True, slots=True, order=True)
class Worth:
    """What a plan costs, and how many sheets it takes: less is better."""

    money: float
    sheets: int


@dataclass(frozen=True, slots=True)
class Proposal:
    """Sheets to try: how many of each kind, and for how many rounds without progress."""

    sheets: tuple[int, ...]
    worth: Worth
    patience: int


class Master:
    """Proposes sheets.

    Parameters
    ----------
    demands : sequence of Demand
    kinds : sequence of Kind
        Proposals count in their order.
    seed : int
    ruled_out : sequence of tuple of int
        Numbers of each kind that are proven not to be enough.
    """

    def __init__(
        self,
        demands: Sequence[Demand],
        kinds: Sequence[Kind],
        seed: int,
        ruled_out: Sequence[Sequence[int]] = (),
    ) -> None:
        self.demands, self.kinds, self.seed = demands, kinds, seed
        self.ruled_out = ruled_out
        self.fill = LIKELY_FILL
        self.patience = PATIENCE
        self.not_found: list[tuple[int, ...]] = []

    def propose(self, best: Worth) -> Proposal | None:
        """The next sheets to try, all of them better than ``best``; None when no others can be."""
        while True:
            choice = self._choice(best)
            if choice is not None:
                worth = Worth(choice.money, sum(choice.sheets))
                return Proposal(choice.sheets, worth, self.patience)
            if self.not_found:
                # What was not found may still be there: it is tried again, longer.
                self.not_found = []
                self.fill = LIKELY_FILL
                self.patience *= 2
            elif self.fill < 1.0:
                self.fill = min(self.fill + FILL_STEP, 1.0)
            else:
                return None

    def note_not_found(self, proposal: Proposal) -> None:
        """The search found no layout on these sheets, nor, then, on fewer of them, nor on any as full."""
        self.not_found.append(proposal.sheets)
        self.fill = min(self.fill, self._fullness(proposal) - EASIER)

    def note_found(self, proposal: Proposal) -> None:
        """The search found a layout on these sheets: others may be as full, and fuller."""
        self.not_found = []
        self.fill = max(self.fill, self._fullness(proposal) + FILL_STEP)

    def _fullness(self, proposal: Proposal) -> float:
        room = sum(n * kind.room for n, kind in zip(proposal.sheets, self.kinds, strict=True))
        return sum(demand.count * demand.area for demand in self.demands) / room

    def _choice(self, best: Worth) -> Choice | None:
        model = ChoiceModel(self.demands, self.kinds, self.fill, [*self.ruled_out, *self.not_found])
        model.better_than(best.money, best.sheets)
        return model.best(self.seed, WORK).choice
