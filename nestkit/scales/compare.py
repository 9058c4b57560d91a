"""The whole comparison: sizes planned side by side, cliffs found, the largest ones that fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nestkit.build.model import Build
from nestkit.planning import Effort
from nestkit.scales.cliffs import AT_ONCE, CliffSearch
from nestkit.scales.largest import Goal, find_largest
from nestkit.scales.model import (
    Answer,
    Comparison,
    GroupKey,
    GroupResult,
    Largest,
    NoResult,
    by_scale,
)
from nestkit.scales.runner import Runner, StoppedEarly
from nestkit.scales.source import BuildSource
from nestkit.scales.task import SizeTask, build_at
from nestkit.stock.pieces import Piece

#: Share of the seconds that the sizes get from which the search for cliffs begins.
SIZES_SHARE = 0.05
#: They lie no farther apart than this, about; the others begin with what was found in that search.
APART = 1.25
#: What working out one of the others takes, seconds of one core, measured on the halberd, and as a share of
#: what one of the first takes; and the share of all seconds that is kept back for them at most.
WORKING_OUT, OF_A_FIRST, KEPT_BACK = 8.0, 0.8, 0.4
#: After this share of the search for cliffs, places that are known closely come first.
LATE = 0.6
#: So many times the effort of a first size may be spent on making its beginning sound.
CARRYING = 3.0
#: Sizes that finding a largest one takes, about; their share of the seconds where there are cliffs too.
TRIES = 12
LARGEST_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be compared.

    Parameters
    ----------
    source : BuildSource
    scales : tuple of float
        Smallest first; may be empty when only a largest size is asked for.
    effort : Effort
        Seconds in all, or rounds for each group of each size.
    reference : str
        The part by which sizes are told.
    jobs : int
        How many sizes are planned at once.
    goals : tuple of Goal
        Of which the largest size is wanted.
    cliffs : bool
        Whether to look for the places where sheets or money jump.
    pieces : tuple of Piece
        What lies in the shop and may be used up.
    shop : str
        The id of the shop that they lie in.
    """

    source: BuildSource
    scales: tuple[float, ...]
    effort: Effort
    reference: str
    jobs: int
    goals: tuple[Goal, ...] = ()
    cliffs: bool = True
    pieces: tuple[Piece, ...] = ()
    shop: str = ""

    def task(self, scale: float) -> SizeTask:
        """What is asked of one size, with all of the effort."""
        return SizeTask(self.source, scale, self.effort, self.reference, pieces=self.pieces, shop=self.shop)


def compare(question: Question, build: Build, runner: Runner) -> Comparison:
    """Answers the question, as far as there is time and the maker lets it.

    Parameters
    ----------
    question : Question
    build : Build
        The question's build, at its own scale.
    runner : Runner
    """
    task = question.task(build.scale)
    has_cliffs = question.cliffs and len(question.scales) > 1
    first = spread(question.scales) if has_cliffs else question.scales
    rest = [scale for scale in question.scales if scale not in first]
    effort = _effort_of_one(question, len(first), SIZES_SHARE if has_cliffs else 1.0)
    answers: list[Answer] = []
    largest: list[Largest] = []
    cliffs = None
    stopped = False

    def ask(scale: float, key: GroupKey, effort: Effort, start: GroupResult) -> SizeTask:
        return replace(task, scale=scale, effort=effort, only=key, start=start.laid)

    def plan_all(tasks: Sequence[SizeTask]) -> None:
        # The largest first: they take longest, so that no core idles at the end.
        try:
            answers.extend(runner.run(sorted(tasks, key=lambda task: -task.scale)))
        except StoppedEarly as early:
            answers.extend(answer for answer in early.answers if answer is not None)
            raise

    try:
        plan_all([replace(task, scale=scale, effort=effort) for scale in first])
        sizes, _ = by_scale(answers)
        if has_cliffs and len(sizes) > 1:
            most = KEPT_BACK * question.effort.seconds
            back = min(WORKING_OUT * len(rest) / question.jobs, most)
            seconds = question.jobs * (question.effort.seconds * (1.0 - SIZES_SHARE) - back)
            cliffs = CliffSearch(sizes, question.scales, ask, effort, seconds, max(AT_ONCE, question.jobs))
            # A slower machine is seen by what the first ones took.
            needed = OF_A_FIRST * runner.moment / len(first) * len(rest)
            until = question.effort.seconds - min(max(back, needed), most)
            if question.effort.rounds is not None:
                cliffs.look(runner, lambda moment: True)
            else:
                late = runner.moment + LATE * (until - runner.moment)
                cliffs.look(runner, lambda moment: moment < until, lambda moment: moment >= late)
        plan_all([_begun(replace(task, scale=scale, effort=effort), cliffs) for scale in rest])
        sizes, _ = by_scale(answers)
        if cliffs is not None:
            cliffs.take_in(sizes)
            cliffs.settle(runner)
        effort = _effort_of_one(question, TRIES, LARGEST_SHARE if has_cliffs else 1.0)
        bounds = (question.scales[0], question.scales[-1]) if len(question.scales) > 1 else None
        for goal in question.goals:
            largest.append(
                find_largest(
                    goal,
                    replace(task, effort=effort),
                    lambda scale: build_at(replace(task, scale=scale)),
                    build.unit,
                    runner,
                    bounds,
                    sizes if cliffs is None else cliffs.bettered(sizes),
                )
            )
    except StoppedEarly:
        stopped = True
    sizes, missing = by_scale(answers)
    if cliffs is not None:
        sizes = cliffs.bettered(sizes)
    part = build.measured(question.reference)
    return Comparison(
        build=build.name,
        unit=build.unit,
        reference="" if part is None else part.name,
        drawn_length=0.0 if part is None else max(part.shape.outline.size) / build.scale,
        sizes=sizes,
        missing=(*missing, *_not_reached(question, answers)) if stopped else missing,
        cliffs=() if cliffs is None else cliffs.all_cliffs(),
        largest=tuple(largest),
        stopped=stopped,
    )


def spread(scales: Sequence[float]) -> tuple[float, ...]:
    """The first and the last scale and some between them, about `APART` from each other.

    They hardly change when one more size is asked for, so that what was found from them can be used again.
    """
    if len(scales) < 2:
        return tuple(scales)
    low, high = math.log(scales[0]), math.log(scales[-1])
    steps = max(math.ceil((high - low) / math.log(APART) - 1e-9), 1)
    places = [low + (high - low) * step / steps for step in range(steps + 1)]
    nearest = {min(scales, key=lambda scale: abs(math.log(scale) - place)) for place in places}
    return tuple(sorted(nearest))


def _begun(task: SizeTask, cliffs: CliffSearch | None) -> SizeTask:
    """The task that begins with what was found in the search for cliffs, and takes it as it is."""
    start = () if cliffs is None else cliffs.start_for(task.scale)
    if not start:
        return task
    # Nearly always it takes no time; where it does, a part of it is each group's.
    effort = replace(task.effort, seconds=task.effort.seconds * CARRYING)
    return replace(task, effort=effort, start=start, take_start=True)


def _effort_of_one(question: Question, tries: int, share: float) -> Effort:
    """What one size of some gets when all have a share of the seconds, on so many cores at once."""
    seconds = question.effort.seconds * question.jobs * share / max(tries, 1)
    return replace(question.effort, seconds=seconds)


def _not_reached(question: Question, answers: Sequence[Answer]) -> tuple[NoResult, ...]:
    """The sizes that nothing is known of because the maker stopped."""
    known = {answer.scale for answer in answers}
    return tuple(
        NoResult(scale, "not planned: stopped before", lost=True)
        for scale in question.scales
        if scale not in known
    )


def is_whole(comparison: Comparison) -> bool:
    """Whether every size that was asked for is there, and nothing was stopped."""
    return not comparison.stopped and not any(gap.lost for gap in comparison.missing)
