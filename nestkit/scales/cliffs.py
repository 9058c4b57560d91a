"""Cliffs: where one size more costs a sheet more. Found by narrowing them down, not by sampling.

What a search finds is noisy: it may miss a sheet at one size that it saves at the next larger one. A plan
of the larger size is carried over to the smaller one then, so that what was found never rises as the size
falls. Between sizes that lie far apart it is looked from nothing; else the plan below a cliff climbs, see
`climbing`. Close below the next size that was tried in vain it is carried there, and harder while there is
time: a place is only told as known closely where that fails too. These tries ask for sheets alone; what is
proven, and how long cutting takes, is worked out once, at the end.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

from nestkit.nesting.carried import LaidSheet
from nestkit.nesting.master import Worth
from nestkit.planning import Effort, JobDetail
from nestkit.scales.climbing import Climbs
from nestkit.scales.model import CLOSE, Answer, Cliff, GroupKey, GroupResult, Rank, SizeResult
from nestkit.scales.runner import Runner, Steps
from nestkit.scales.task import SizeTask

#: What is known of one group: scales and what it comes to there, smallest first.
Known = dict[float, GroupResult]

#: Shares of a usual try's effort: for carrying a plan down, for carrying one up (mostly it is done in a
#: second or two, or not at all), and for looking from nothing.
DOWN_SHARE, UP_SHARE, LEAP_SHARE = 0.6, 0.45, 0.7
#: Share of the seconds that is reckoned for trying harder just above the cliffs that were found; and so many
#: times the effort of a usual try: of its seconds, or of its rounds.
HARDER_SHARE = 0.3
HARDER_SECONDS, HARDER_ROUNDS = 2.2, 3
#: What a try takes besides its search: reading, covers of the outlines; seconds, measured on the halberd.
BESIDES = 1.5
#: The shortest search worth starting, seconds.
LEAST = 0.5
#: Cliffs of a group at once: what was learned at one helps to find the next.
AT_ONCE = 2
#: Cliffs between two sizes that lie farther apart than this, about; and tries in vain for each cliff.
APART, HIDDEN = 0.08, 2
VAIN_TRIES = 2.5


class CliffSearch:
    """Finds the cliffs of each group between sizes that are planned.

    Parameters
    ----------
    sizes : sequence of SizeResult
        Whole, at any scales.
    wanted : sequence of float
        The scales that are to be compared, of which ``sizes`` has some.
    ask : callable
        Makes the task for a scale, a group, an effort and a plan to begin with.
    effort : Effort
        Of one whole size.
    seconds : float
        Of all cores together, for all tries: from them it is reckoned how long one may take, so that a
        second run of the same question asks for the same effort.
    at_once : int
        So many cliffs of a group are looked at at once, or half of the wide ones if that is more; first those
        that are known least closely.
    """

    def __init__(
        self,
        sizes: Sequence[SizeResult],
        wanted: Sequence[float],
        ask: Callable[[float, GroupKey, Effort, GroupResult], SizeTask],
        effort: Effort,
        seconds: float = math.inf,
        at_once: int = AT_ONCE,
    ) -> None:
        self._ask = ask
        self._effort = effort
        self._seconds = seconds
        self._at_once = at_once
        self._wanted = frozenset(wanted)
        keys = sorted({group.key for size in sizes for group in size.groups}, key=lambda k: (k[1], k[0]))
        self.known: dict[GroupKey, Known] = {key: {} for key in keys}
        #: Where it is known what is proven, and where all is: cutting times too.
        self._proven: set[tuple[GroupKey, float]] = set()
        self._whole: set[tuple[GroupKey, float]] = set()
        self.take_in(sizes)
        self._carried: set[tuple[GroupKey, float, float]] = set()
        self._climbs = {key: Climbs() for key in keys}
        #: How often a plan was carried up to a scale, and how often with more effort.
        self._tried: Counter[tuple[GroupKey, float]] = Counter()
        self._tried_harder: Counter[tuple[GroupKey, float]] = Counter()
        self._failed: set[tuple[GroupKey, float]] = set()
        #: Where it was asked what is proven, answered or not.
        self._asked: set[tuple[GroupKey, float, Rank]] = set()
        #: Search time of a usual try. Reckoned before anything is found: which group is the first to find
        #: something must not count.
        self._usual = self._seconds_for_each()

    def look(
        self,
        runner: Runner,
        in_time: Callable[[float], bool],
        is_late: Callable[[float], bool] = lambda moment: False,
    ) -> None:
        """Finds the cliffs of all groups side by side.

        Parameters
        ----------
        runner : Runner
        in_time : callable
            Asked before each further try, given the moment of the answers before it (see `runner.Answers`);
            plans are carried down even so.
        is_late : callable
            Asked likewise: whether places that are known closely come first now.

        Raises
        ------
        StoppedEarly
            What was found until then is known.
        """
        runner.side_by_side([self._steps(key, in_time, is_late, runner.moment) for key in self.known])

    def settle(self, runner: Runner) -> None:
        """Works out the rest of what is shown: what is proven of it, and how long it is cut.

        Raises
        ------
        StoppedEarly
            What was found until then is known.
        """
        runner.side_by_side([self._settle(key) for key in self.known])

    def start_for(self, scale: float) -> tuple[LaidSheet, ...]:
        """The best plan of each group that a size can begin with: its own, or that of a larger one."""
        found: list[LaidSheet] = []
        for known in self.known.values():
            above = [(group.rank, at) for at, group in known.items() if at >= scale]
            if above:
                found += known[min(above)[1]].laid
        return tuple(found)

    def take_in(self, sizes: Iterable[SizeResult]) -> None:
        """Told of whole sizes."""
        for size in sizes:
            for group in size.groups:
                if group.key in self.known:
                    self._note(group.key, size.scale, group, proven=True, whole=True)

    def _steps(
        self, key: GroupKey, in_time: Callable[[float], bool], is_late: Callable[[float], bool], moment: float
    ) -> Steps:
        yield from self._level(key)
        while in_time(moment):
            tasks = (
                (is_late(moment) and (self._to_prove(key) or self._harder(key, in_time, moment, once=True)))
                or self._to_narrow(key)
                or self._to_step_up(key)
                or self._to_prove(key)
                or self._harder(key, in_time, moment, once=self._effort.rounds is not None)
            )
            if not tasks:
                break
            answers = yield tasks
            moment = answers.moment
            self._learn(key, tasks, answers.found)
            yield from self._level(key)

    def _level(self, key: GroupKey) -> Steps:
        """Carries plans down until no size costs more than a larger one, as far as they can be carried."""
        while pairs := list(self._rises(key)):
            self._carried |= {(key, low, high) for low, high in pairs}
            effort = self._times(DOWN_SHARE)
            # Mostly done at once; else a larger size would look cheaper than a smaller one.
            tasks = [
                replace(self._task(low, key, effort, self.known[key][high]), take_start=True)
                for low, high in pairs
            ]
            self._learn(key, tasks, (yield tasks).found)

    def _settle(self, key: GroupKey) -> Steps:
        yield from self._level(key)
        known = self.known[key]
        shown = {scale for scale in self._wanted if scale in known and (key, scale) not in self._whole}
        above = {cliff.above[0] for cliff in self.cliffs(key) if self._may_be_proven(key, cliff)}
        tasks = [
            self._worked_out(scale, key, jobs="rough" if scale in self._wanted else "none")
            for scale in sorted(shown | {scale for scale in above if (key, scale) not in self._proven})
        ]
        self._learn(key, tasks, (yield tasks).found)

    def _worked_out(self, scale: float, key: GroupKey, jobs: JobDetail) -> SizeTask:
        """Asks what is proven of the best plan that is known at a scale."""
        task = self._task(scale, key, self._times(DOWN_SHARE), self.known[key][scale])
        return replace(task, proofs=True, jobs=jobs)

    def _may_be_proven(self, key: GroupKey, cliff: Cliff) -> bool:
        """Whether the next size that is compared is proven not to do with the plan below the cliff."""
        known = self.known[key]
        later = [at for at in self._wanted if at >= cliff.above[0] and (key, at) in self._proven]
        return not later or Cliff(cliff.below, (min(later), known[min(later)])).certain

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
                if (group.key, size.scale) in self._whole:
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

    def _to_narrow(self, key: GroupKey) -> list[SizeTask]:
        """Between the sides of each cliff that is not close yet, or that a size to be compared lies on."""
        found = [
            (cliff, at)
            for cliff in sorted(self.cliffs(key), key=lambda cliff: -cliff.step)
            if (at := self._between(key, cliff)) is not None and (key, at) not in self._failed
        ]
        tasks: list[SizeTask] = []
        # Half of them: a group of many cliffs gets more of the time, and some wait for what is learned.
        for cliff, at in found[: max(self._at_once, math.ceil(len(found) / 2))]:
            if self._climbs[key].is_leap(cliff):
                # Sheets that neither side takes may do, too.
                self._climbs[key].note_leap(at, cliff)
                task = self._task(at, key, self._times(LEAP_SHARE), cliff.above[1])
                tasks.append(replace(task, content=_content(cliff.below[1])))
            else:
                tasks.append(self._up(at, key, self._times(UP_SHARE), cliff))
        return tasks

    def _between(self, key: GroupKey, cliff: Cliff) -> float | None:
        """A size between the sides of a cliff; None when they are close and none that is asked for is.

        A size that is asked for is taken in place of one that is close to it.
        """
        at = self._climbs[key].place(cliff, self.known[key].values())
        asked = [scale for scale in self._wanted if cliff.below[0] < scale < cliff.above[0]]
        nearest = min(asked, key=lambda scale: (abs(scale - at), scale), default=None)
        if nearest is not None and (cliff.is_close or abs(math.log(nearest / at)) <= math.log1p(CLOSE)):
            return nearest
        return None if cliff.is_close else at

    def _to_step_up(self, key: GroupKey) -> list[SizeTask]:
        """Just above each cliff that has come nearer since that was tried."""
        close = self._open_and_close(key)
        cliffs = [cliff for cliff in close if self._climbs[key].has_come_nearer(cliff)]
        effort = self._times(UP_SHARE)
        return [self._up(cliff.above[0], key, effort, cliff) for cliff in cliffs[: self._at_once]]

    def _to_prove(self, key: GroupKey) -> list[SizeTask]:
        """Just above each cliff of which it is not known yet whether it can lie higher."""
        tasks = []
        for cliff in self._open(key):
            at, plan = cliff.above
            asked = (key, at, plan.rank)
            if (key, at) in self._proven or asked in self._asked or not self._may_be_proven(key, cliff):
                continue
            self._asked.add(asked)
            tasks.append(self._worked_out(at, key, jobs="none"))
        return tasks

    def _harder(
        self, key: GroupKey, in_time: Callable[[float], bool], moment: float, once: bool
    ) -> list[SizeTask]:
        """Just above each cliff that is close and may still lie higher, with more effort if there is time."""
        close = self._open_and_close(key)
        cliffs = sorted(close, key=lambda cliff: self._tried_harder[key, cliff.above[0]])
        if once:
            cliffs = [cliff for cliff in cliffs if not self._tried_harder[key, cliff.above[0]]]
        effort = self._times(HARDER_SECONDS if self._effort.rounds is None else HARDER_ROUNDS)
        if effort.rounds is None and not in_time(moment + effort.seconds):
            return []
        tasks = []
        for cliff in cliffs[: self._at_once]:
            self._tried_harder[key, cliff.above[0]] += 1
            tasks.append(self._up(cliff.above[0], key, effort, cliff))
        return tasks

    def _open(self, key: GroupKey) -> list[Cliff]:
        """Cliffs that may still lie higher: what fits no sheet at all stays out however long it is tried."""
        return [
            cliff
            for cliff in self.cliffs(key)
            if not cliff.certain
            and cliff.below[1].rank[0] == cliff.above[1].rank[0]
            and cliff.below[1].rank < cliff.above[1].rank
        ]

    def _open_and_close(self, key: GroupKey) -> list[Cliff]:
        """Those of them that are known closely, unless a try at the size above was lost."""
        return [c for c in self._open(key) if c.is_close and (key, c.above[0]) not in self._failed]

    def _up(self, at: float, key: GroupKey, effort: Effort, cliff: Cliff) -> SizeTask:
        """Carries the plan below a cliff up; where that fails the one above is good enough."""
        self._climbs[key].note_carried(at, cliff)
        # Another seed each time: what was tried in vain is not tried again.
        effort = replace(effort, seed=effort.seed + self._tried[key, at])
        self._tried[key, at] += 1
        return self._task(at, key, effort, cliff.below[1], cliff.above[1])

    def _seconds_for_each(self) -> float:
        """Search time of a usual try, from what there is for all of them."""
        cliffs = sum(HIDDEN if cliff.step > APART else 1 for cliff in self.all_cliffs())
        if not cliffs:
            return self._effort.seconds
        return max(self._seconds * (1.0 - HARDER_SHARE) / (cliffs * VAIN_TRIES) - BESIDES, LEAST)

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
            content=_content(start),
            proofs=False,
            jobs="none",
        )

    def _learn(self, key: GroupKey, tasks: Sequence[SizeTask], answers: Sequence[Answer]) -> None:
        for task, answer in zip(tasks, answers, strict=True):
            if isinstance(answer, SizeResult):
                self._note(key, task.scale, answer.group(key), task.proofs, whole=task.jobs != "none")
                self._climbs[key].learn(task.scale, self.known[key][task.scale].rank)
            else:
                self._failed.add((key, task.scale))
                self._climbs[key].learn(task.scale, None)

    def _note(self, key: GroupKey, scale: float, group: GroupResult, proven: bool, whole: bool) -> None:
        """Keeps what is better than what is known, or as good with more worked out."""
        before = self.known[key].get(scale)
        if before is not None and (group.rank > before.rank or (group.rank == before.rank and not proven)):
            return
        self.known[key][scale] = group
        for some, is_so in ((self._proven, proven), (self._whole, whole)):
            if is_so:
                some.add((key, scale))
            else:
                some.discard((key, scale))


def _content(plan: GroupResult) -> Worth | None:
    """What is as good as a plan; nothing is where it leaves something out."""
    return None if plan.left_out else Worth(*plan.rank[1:])
