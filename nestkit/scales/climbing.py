"""Where between the sides of a cliff it is looked next: from nothing, or by carrying the plan below up.

Carrying a plan up a little and separating it takes a second or two where a search from nothing takes many,
and mostly succeeds where that one fails. So a plan climbs in strides that grow until one fails. From nothing
it is looked first where two plans lie far apart: others may lie between them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from nestkit.scales.model import CLOSE, Cliff, GroupResult, Rank

#: Between sizes that lie farther apart than this, as a share, it is looked from nothing first.
FAR = 0.03
#: So often it may be looked there in vain for any two plans.
LEAPS_IN_VAIN = 1
#: So far a plan is carried up at first, and at most.
STRIDE, LONGEST = 0.03, 0.06
#: It is carried to a size again when the step up to it has become this much smaller.
NEARER = 0.7
#: Sheets of a group get about as full as this, or as its fullest ones.
LIKELY_FILL = 0.65
#: Where it is looked from nothing lies no nearer to one of two sizes than this share of the way.
EDGE = 0.2


class Climbs:
    """What was tried between the sizes of one group."""

    def __init__(self) -> None:
        #: Between which plans it was looked from nothing in vain, how often; and where it is being looked.
        self._in_vain: Counter[tuple[Rank, Rank]] = Counter()
        self._leaping: dict[float, tuple[Rank, Rank]] = {}
        #: The smallest step with which a plan of some rank was carried up to a scale; and its next one.
        self._steps: dict[tuple[float, Rank], float] = {}
        self._strides: dict[Rank, float] = {}
        #: To which scales plans are being carried up: their rank, and the step.
        self._under_way: dict[float, tuple[Rank, float]] = {}

    def is_leap(self, cliff: Cliff) -> bool:
        """Whether it is to be looked from nothing between its sizes: they lie apart, and it paid so far."""
        return cliff.step > FAR and self._in_vain[cliff.below[1].rank, cliff.above[1].rank] < LEAPS_IN_VAIN

    def place(self, cliff: Cliff, known: Iterable[GroupResult]) -> float:
        """A scale between its sides, or the one above.

        Parameters
        ----------
        cliff : Cliff
        known : iterable of GroupResult
            All plans of the group, which tell how full its sheets get.
        """
        if self.is_leap(cliff):
            return _likely(cliff, known)
        (below, plan), (above, other) = cliff.below, cliff.above
        if other.rank < plan.rank:
            # The one above could not be carried down: there is nothing to carry up.
            return math.sqrt(below * above)
        at = below * (1.0 + self._strides.get(plan.rank, STRIDE))
        nearer = self.has_come_nearer(cliff)
        if at < above / (1.0 + CLOSE / 2.0):
            # What was in vain from farther below may do from here: luck has its part in it.
            return above if nearer and (above, plan.rank) in self._steps else at
        return above if nearer else math.sqrt(below * above)

    def has_come_nearer(self, cliff: Cliff) -> bool:
        """Whether the plan below is so much nearer to the size above than before that it is worth a try."""
        return cliff.step <= NEARER * self._steps.get((cliff.above[0], cliff.below[1].rank), math.inf)

    def note_leap(self, at: float, cliff: Cliff) -> None:
        """Told that it is looked from nothing at a scale between its sides."""
        self._leaping[at] = cliff.below[1].rank, cliff.above[1].rank

    def note_carried(self, at: float, cliff: Cliff) -> None:
        """Told that the plan below is carried up to a scale."""
        rank, step = cliff.below[1].rank, at / cliff.below[0] - 1.0
        self._steps[at, rank] = step
        self._under_way[at] = rank, step

    def learn(self, at: float, best: Rank | None) -> None:
        """Told the rank of the best plan at a scale, after each try there; None when the try was lost."""
        between = self._leaping.pop(at, None)
        if between is not None:
            self._in_vain[between] += best is None or best >= between[1]
        climbed = self._under_way.pop(at, None)
        if climbed is not None:
            rank, step = climbed
            grows = best is not None and best <= rank
            self._strides[rank] = min(max(step * (2.0 if grows else 0.5), CLOSE / 2.0), LONGEST)


def _likely(cliff: Cliff, known: Iterable[GroupResult]) -> float:
    """Where the plan below would fill its sheets as much as the group's are filled at best.

    At each cliff they get about as full.
    """
    (below, plan), (above, _) = cliff.below, cliff.above
    if not plan.foam_area:
        return math.sqrt(below * above)
    fullest = max(LIKELY_FILL, *(1.0 - group.waste for group in known))
    way = math.log(above / below)
    share = math.log(fullest / (1.0 - plan.waste)) / 2.0 / way
    return below * math.exp(min(max(share, EDGE), 1.0 - EDGE) * way)
