"""The largest size that fits the shop's sheets, or a sum of money."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from nestkit.build.model import Build
from nestkit.build.parts import SCALES
from nestkit.nesting.bounds import EPSILON, least_money, needed_area
from nestkit.nesting.request import batches_of
from nestkit.nesting.supply import offers
from nestkit.planning import requests
from nestkit.scales.model import CLOSE, Answer, Largest, NoResult, SizeResult
from nestkit.scales.runner import Runner
from nestkit.scales.task import SizeTask
from nestkit.units import Unit, show_length
from nestkit.words import counted

#: Factor between two sizes while the largest one is still to be enclosed, and how often it is applied.
STRIDE = 1.3
STRIDES = 9
#: Sizes tried at once between one that fits and one that does not: with two the work fills two cores.
AT_ONCE = 2
#: So many parts are named before the rest is counted.
NAMED = 4


@dataclass(frozen=True, slots=True)
class Goal:
    """What a size has to fit: the shop's sheets (``budget`` None), or so much money for bought ones."""

    budget: float | None = None

    def met(self, answer: Answer) -> bool:
        """Whether this size fits."""
        if not isinstance(answer, SizeResult) or answer.left_out:
            return False
        return self.budget is None or answer.cost <= self.budget + EPSILON


def find_largest(
    goal: Goal,
    task: SizeTask,
    read: Callable[[float], Build],
    unit: Unit,
    runner: Runner,
    bounds: tuple[float, float] | None = None,
    known: Sequence[SizeResult] = (),
) -> Largest:
    """The largest scale at which the goal is met, to `CLOSE`.

    It is enclosed first, then narrowed. A size whose bound says that it can't fit is not planned.

    Parameters
    ----------
    goal : Goal
    task : SizeTask
        Scale, start and ``shop_only`` are set here.
    read : callable
        Gives the build at a scale, for the bounds.
    unit : "mm" or "in"
    runner : Runner
    bounds : (float, float), optional
        Smallest and largest scale that are wanted; without them the search goes out from the task's.
    known : sequence of SizeResult
        Sizes that were planned with all sheets there are; they count where sheets may be bought.
    """
    task = replace(task, shop_only=goal.budget is None)
    fits: dict[float, SizeResult] = {}
    fails: dict[float, tuple[tuple[str, ...], bool]] = {}

    def try_sizes(scales: Sequence[float]) -> None:
        unknown = []
        for scale in scales:
            stops = certain_stops(goal, read(scale), unit)
            if stops:
                fails[scale] = (stops, True)
            else:
                unknown.append(scale)
        start = fits[max(fits)].laid if fits else ()
        asked = [replace(task, scale=scale, start=start) for scale in unknown]
        for answer in runner.run(asked):
            learn(answer)

    def learn(answer: Answer) -> None:
        if isinstance(answer, SizeResult) and goal.met(answer):
            fits[answer.scale] = answer
        else:
            fails[answer.scale] = (_stops(goal, answer, unit), False)

    low, high = bounds or (SCALES[0], SCALES[1])
    for size in known if goal.budget is not None else ():
        learn(size)
    if not fits and not fails:
        try_sizes([min(max(task.scale, low), high)])
    for _ in range(STRIDES):
        if fits and not fails and max(fits) < high:
            try_sizes([min(max(fits) * STRIDE, high)])
        elif fails and not fits and min(fails) > low:
            try_sizes([max(min(fails) / STRIDE, low)])
        else:
            break
    while fits and (above := [scale for scale in fails if scale > max(fits)]):
        good, bad = max(fits), min(above)
        if bad <= good * (1.0 + CLOSE):
            break
        between = [good * (bad / good) ** (k / (AT_ONCE + 1)) for k in range(1, AT_ONCE + 1)]
        try_sizes([round(scale, 9) for scale in between])
    best = fits[max(fits)] if fits else None
    over = [scale for scale in fails if best is None or scale > best.scale]
    worst = min(over, default=None)
    stops, certain = fails[worst] if worst is not None else ((), False)
    return Largest(goal.budget, best, worst, stops, certain)


def certain_stops(goal: Goal, build: Build, unit: Unit) -> tuple[str, ...]:
    """What certainly keeps a build from fitting, without planning it; empty when nothing does."""
    if goal.budget is None:
        build = replace(build, sheets=tuple(replace(sheet, buy=False) for sheet in build.sheets))
    stops, money = [], 0.0
    for request in requests(build):
        batches, unfit = batches_of(request)
        foam = f"{request.material} {show_length(request.thickness, unit)}"
        if not any(sheet.buy or sheet.in_shop for sheet in request.sheets):
            stops.append(f"{foam}: there is no sheet of it{' in the shop' if goal.budget is None else ''}")
            continue
        if unfit:
            names = list(dict.fromkeys(each.part.name for each in unfit))
            stops.append(f"{foam}: {_some(names)} {'fits' if len(names) == 1 else 'fit'} none of the sheets")
            continue
        items = [item for batch in batches for item in batch.items]
        by_hand = any(batch.how == "hand" for batch in batches)
        rooms = offers(request.sheets, request.bed, request.most_cuts, whole_too=by_hand)
        need = needed_area(items, request.spacing.gap)
        if not any(offer.count is None for offer in rooms):
            room = math.fsum((offer.count or 0) * offer.room(request.spacing) for offer in rooms)
            if need > room * (1.0 + 1e-9):
                stops.append(
                    f"{foam}: the parts need {need / room - 1.0:.0%} more area than the shop's sheets have"
                )
        money += least_money(items, rooms, request.spacing)
    if not stops and goal.budget is not None and money > goal.budget + EPSILON:
        stops.append(f"the sheets that the parts' area alone needs cost {money:.2f}")
    return tuple(stops)


def _stops(goal: Goal, answer: Answer, unit: Unit) -> tuple[str, ...]:
    """What keeps a planned size from fitting."""
    if isinstance(answer, NoResult):
        return (answer.why,)
    stops = []
    for group in answer.groups:
        if group.left_out:
            foam = f"{group.material} {show_length(group.thickness, unit)}"
            copies = sum(each.copies for each in group.left_out)
            names = list(dict.fromkeys(each.part for each in group.left_out))
            stops.append(
                f"{foam}: no room was found for {counted(copies, 'copy', 'copies')} ({_some(names)})"
            )
    if goal.budget is not None and answer.cost > goal.budget + EPSILON:
        dear = max(answer.groups, key=lambda group: group.cost)
        foam = f"{dear.material} {show_length(dear.thickness, unit)}"
        stops.append(f"the sheets found for it cost {answer.cost:.2f}, {dear.cost:.2f} of that for {foam}")
    return tuple(stops)


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(names[:NAMED])
    return shown if len(names) <= NAMED else f"{shown} and {counted(len(names) - NAMED, 'other')}"
