"""Cliffs: where one size more costs a sheet more. Found by halving, not by sampling.

What a search finds is noisy: it may miss a sheet at one size that it saves at the next larger one. A plan
of the larger size is carried over to the smaller one then, so that what was found never rises as the size
falls. The plan below a cliff is carried up over it and separated: to the next size that is compared before
anything is halved, to the next size that was tried in vain when the plan below has come nearer to it (small
steps succeed where one leap does not), and harder and harder with the time that is kept back for it, so that
a cliff is only told where that fails too. These tries ask for sheets alone; what is proven, and
how long cutting takes, is worked out once, at the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

from nestkit.nesting.master import Worth
from nestkit.planning import Effort
from nestkit.scales.model import CLOSE, Answer, Cliff, GroupKey, GroupResult, SizeResult
from nestkit.scales.runner import Runner, Steps
from nestkit.scales.task import SizeTask

#: What is known of one group: scales and what it comes to there, smallest first.
Known = dict[float, GroupResult]
#: Copies left out, money, sheets; see `model.GroupResult.rank`.
Rank = tuple[int, float, int]
#: A try: at which scale, and for which cliff.
Spot = tuple[float, Cliff]

#: Share of a try's effort that carrying a plan down may take.
CARRY_SHARE = 0.25
#: Share of the seconds that is kept back for trying harder just above the cliffs that were found. Each time
#: the cliffs of a group share half of what it has left, until that is less than so many usual tries each.
HARDER_SHARE = 0.4
LEAST_TIMES = 2.0
#: Rounds are counted instead: so many times as many.
HARDER_TIMES = 3
#: What a try takes besides its search: reading, covers of the outlines; seconds, measured on the halberd.
BESIDES = 1.5
#: The shortest search worth starting, seconds.
LEAST = 0.5
#: A try is repeated when the step up to it has become this much smaller.
NEARER = 0.7
#: Tries for each cliff between two sizes that are compared: how often a plan is carried up to such a size.
CARRIES = 2


class CliffSearch:
    """Finds the cliffs of each group between sizes that are planned.

    Parameters
    ----------
    sizes : sequence of SizeResult
        Whole, at any scales.
    ask : callable
        Makes the task for a scale, a group, an effort and a plan to begin with.
    effort : Effort
        Of one whole size.
    seconds : float
        Of all cores together, for all tries; they are shared out among those that will be needed, so that
        a second run of the same question asks for the same effort.
    """

    def __init__(
        self,
        sizes: Sequence[SizeResult],
        ask: Callable[[float, GroupKey, Effort, GroupResult], SizeTask],
        effort: Effort,
        seconds: float = math.inf,
    ) -> None:
        self._ask = ask
        self._effort = effort
        self._seconds = seconds
        keys = sorted({group.key for size in sizes for group in size.groups}, key=lambda k: (k[1], k[0]))
        self._asked_for = frozenset(size.scale for size in sizes)
        self.known: dict[GroupKey, Known] = {
            key: {size.scale: size.group(key) for size in sizes if any(g.key == key for g in size.groups)}
            for key in keys
        }
        self._carried: set[tuple[GroupKey, float, float]] = set()
        #: The smallest step with which a plan of some rank was carried up to a scale.
        self._steps_up: dict[tuple[GroupKey, float, Rank], float] = {}
        self._tried_harder: set[tuple[GroupKey, float]] = set()
        #: Where only sheets and money are known.
        self._rough: set[tuple[GroupKey, float]] = set()
        self._failed: set[tuple[GroupKey, float]] = set()
        #: Seconds that each group has left for trying harder.
        self._harder = self._shared_out(seconds * HARDER_SHARE)
        self._turn = dict.fromkeys(keys, 0)
        #: Search time of a usual try. Reckoned before anything is found: which group is the first to find
        #: something must not count.
        self._usual = self._seconds_for_each()

    def look(self, runner: Runner, in_time: Callable[[], bool]) -> None:
        """Finds the cliffs of all groups side by side.

        Parameters
        ----------
        runner : Runner
        in_time : callable
            Asked before each further try; plans are carried down, and what is shown is settled, even so.

        Raises
        ------
        StoppedEarly
            What was found until then is known.
        """
        runner.side_by_side([self._steps(key, in_time) for key in self.known])

    def _steps(self, key: GroupKey, in_time: Callable[[], bool]) -> Steps:
        yield from self._level(key)
        while in_time():
            effort = self._times(1.0)
            spots = self._to_climb(key) or self._to_halve(key) or self._to_step_up(key)
            if not spots:
                spots, effort = self._to_try_harder(key)
            if not spots:
                break
            for at, cliff in spots:
                self._steps_up[key, at, cliff.below[1].rank] = at / cliff.below[0] - 1.0
            # The plan below is carried up, and where that fails the one above is good enough.
            tasks = [self._task(at, key, effort, cliff.below[1], cliff.above[1]) for at, cliff in spots]
            answers = yield tasks
            self._learn(key, [at for at, _ in spots], answers)
            yield from self._level(key)
        yield from self._settle(key)

    def _level(self, key: GroupKey) -> Steps:
        """Carries plans down until no size costs more than a larger one, as far as they can be carried."""
        while pairs := list(self._rises(key)):
            self._carried |= {(key, low, high) for low, high in pairs}
            effort = self._times(CARRY_SHARE)
            answers = yield [self._task(low, key, effort, self.known[key][high]) for low, high in pairs]
            self._learn(key, [low for low, _ in pairs], answers)

    def _settle(self, key: GroupKey) -> Steps:
        """Works out what is left of the plans that are shown: what is proven of them, and their times."""
        known = self.known[key]
        shown = {scale for scale in self._asked_for if scale in known}
        shown |= {cliff.above[0] for cliff in self.cliffs(key) if self._may_be_proven(key, cliff)}
        scales = sorted(scale for scale in shown if (key, scale) in self._rough)
        effort = self._times(CARRY_SHARE)
        answers = yield [
            replace(
                self._task(scale, key, effort, known[scale]),
                proofs=True,
                jobs="rough" if scale in self._asked_for else "none",
            )
            for scale in scales
        ]
        for scale, answer in zip(scales, answers, strict=True):
            if isinstance(answer, SizeResult) and answer.group(key).rank <= known[scale].rank:
                known[scale] = answer.group(key)
                self._rough.discard((key, scale))

    def _may_be_proven(self, key: GroupKey, cliff: Cliff) -> bool:
        """Whether the next size that is compared is proven not to do with the plan below the cliff."""
        later = min((scale for scale in self._asked_for if scale >= cliff.above[0]), default=None)
        return later is None or Cliff(cliff.below, (later, self.known[key][later])).certain

    def cliffs(self, key: GroupKey) -> list[Cliff]:
        """Neighbours of one group that differ in what is left out, money or sheets.

        Where something is left out on both sides, sheets and money say nothing.
        """
        rows = sorted(self.known[key].items())
        return [
            Cliff(below, above)
            for below, above in pairwise(rows)
            if below[1].rank != above[1].rank and not (below[1].left_out and above[1].left_out)
        ]

    def all_cliffs(self) -> tuple[Cliff, ...]:
        """Of every group, thinnest first."""
        return tuple(cliff for key in self.known for cliff in self.cliffs(key))

    def bettered(self, sizes: Iterable[SizeResult]) -> tuple[SizeResult, ...]:
        """The sizes with the better plans that were found for them since."""
        found = []
        for size in sizes:
            for group in size.groups:
                if (group.key, size.scale) not in self._rough:
                    size = size.with_group(self.known[group.key][size.scale])
            found.append(size)
        return tuple(found)

    def _rises(self, key: GroupKey) -> Iterable[tuple[float, float]]:
        """Sizes that cost more than the best larger one, each with that one, unless it was tried."""
        best: tuple[float, GroupResult] | None = None
        for scale, group in sorted(self.known[key].items(), reverse=True):
            if best is not None and best[1].rank < group.rank and (key, scale, best[0]) not in self._carried:
                yield scale, best[0]
            if best is None or group.rank <= best[1].rank:
                best = scale, group

    def _to_climb(self, key: GroupKey) -> list[Spot]:
        """Sizes that are compared just above a cliff, to which its plan below was not carried yet."""
        return [
            (cliff.above[0], cliff)
            for cliff in self.cliffs(key)
            if not cliff.certain
            and cliff.above[0] in self._asked_for
            and (key, cliff.above[0], cliff.below[1].rank) not in self._steps_up
        ]

    def _to_step_up(self, key: GroupKey) -> list[Spot]:
        """Just above each cliff that has come nearer since that was tried."""
        found = []
        for cliff in self._open(key):
            at, step = cliff.above[0], cliff.above[0] / cliff.below[0] - 1.0
            if step <= NEARER * self._steps_up.get((key, at, cliff.below[1].rank), math.inf):
                found.append((at, cliff))
        return found

    def _open(self, key: GroupKey) -> list[Cliff]:
        """Cliffs that may still lie higher: what fits no sheet at all stays out however long it is tried."""
        return [
            cliff
            for cliff in self.cliffs(key)
            if not cliff.certain and cliff.below[1].rank[0] == cliff.above[1].rank[0]
        ]

    def _to_halve(self, key: GroupKey) -> list[Spot]:
        """Halfway between the sides of each cliff that is not close yet."""
        return [
            (math.sqrt(cliff.below[0] * cliff.above[0]), cliff)
            for cliff in self.cliffs(key)
            if self._is_wide(key, cliff)
        ]

    def _to_try_harder(self, key: GroupKey) -> tuple[list[Spot], Effort]:
        """Just above each cliff that may still lie higher, and the effort that each of them gets."""
        spots = [(cliff.above[0], cliff) for cliff in self._open(key)]
        if self._effort.rounds is not None:
            spots = [(at, cliff) for at, cliff in spots if (key, at) not in self._tried_harder]
            self._tried_harder |= {(key, at) for at, _ in spots}
            return spots, self._times(HARDER_TIMES)
        seconds = self._harder[key] / 2.0 / max(len(spots), 1)
        if seconds < LEAST_TIMES * self._usual:
            return [], self._effort
        self._harder[key] /= 2.0
        # Another seed each time: what was tried in vain is not tried again.
        self._turn[key] += 1
        effort = replace(self._effort, seconds=seconds, seed=self._effort.seed + self._turn[key])
        return spots, effort

    def _is_wide(self, key: GroupKey, cliff: Cliff) -> bool:
        return not cliff.is_close and (key, math.sqrt(cliff.below[0] * cliff.above[0])) not in self._failed

    def _seconds_for_each(self) -> float:
        """Search time of a usual try, from what there is for all of them."""
        tries = sum(_halvings(cliff) + CARRIES for cliff in self.all_cliffs())
        if not tries:
            return self._effort.seconds
        return max(self._seconds * (1.0 - HARDER_SHARE) / tries - BESIDES, LEAST)

    def _shared_out(self, seconds: float) -> dict[GroupKey, float]:
        """Each group's share of the seconds, by its cliffs."""
        cliffs = {key: len(self.cliffs(key)) for key in self.known}
        in_all = max(sum(cliffs.values()), 1)
        return {key: seconds * count / in_all for key, count in cliffs.items()}

    def _times(self, times: float) -> Effort:
        """So many times the effort of a usual try."""
        rounds = self._effort.rounds
        return replace(
            self._effort,
            seconds=self._usual * times,
            rounds=None if rounds is None else max(1, round(rounds * times)),
        )

    def _task(
        self,
        scale: float,
        key: GroupKey,
        effort: Effort,
        start: GroupResult,
        otherwise: GroupResult | None = None,
    ) -> SizeTask:
        task = self._ask(scale, key, effort, start)
        return replace(
            task,
            otherwise=otherwise.laid if task.start and otherwise is not None else (),
            content=Worth(*start.rank[1:]) if not start.left_out else None,
            proofs=False,
            jobs="none",
        )

    def _learn(self, key: GroupKey, scales: Sequence[float], answers: Sequence[Answer]) -> None:
        for scale, answer in zip(scales, answers, strict=True):
            if not isinstance(answer, SizeResult):
                self._failed.add((key, scale))
                continue
            group = answer.group(key)
            before = self.known[key].get(scale)
            if before is None or group.rank < before.rank:
                self.known[key][scale] = group
                self._rough.add((key, scale))


def _halvings(cliff: Cliff) -> int:
    """How often a cliff is halved until it is close."""
    times = math.log(cliff.above[0] / cliff.below[0]) / math.log1p(CLOSE)
    return max(0, math.ceil(math.log2(times) - 1e-9))
