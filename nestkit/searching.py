"""The search of a build's groups: each gets a first plan, then they share what time is left."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from nestkit.build.model import same_thickness
from nestkit.nesting.batch import Pause
from nestkit.nesting.carried import LaidSheet
from nestkit.nesting.course import Course
from nestkit.nesting.group import GroupPlan, Staged, ended, stages
from nestkit.nesting.kept import nothing_to_plan
from nestkit.nesting.master import Worth
from nestkit.nesting.request import GroupRequest
from nestkit.nesting.second_stage import Bettered
from nestkit.nesting.side_by_side import side_by_side
from nestkit.nesting.stops import AfterRounds, AfterSeconds, Stop

#: Share of a group's time for the constructive engine; the overlap engine gets the rest.
FIRST_SHARE = 0.15
#: Rounds of the constructive engine for one of the overlap engine.
ROUNDS_FOR_ONE = 4
#: So much must be left to do for processes of their own to be worth it.
SECONDS_APART, ROUNDS_APART = 5.0, 400
#: What the second batch of a group gets at least, when the first one's search went on elsewhere; seconds.
LATER = 2.0


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: a number of seconds in all, or a number of rounds for each group.

    With rounds, the same build and seed give the same plan on every machine.
    """

    seconds: float = 30.0
    rounds: int | None = None
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Progress:
    """What the search has come to: the group at work, its number of all, rounds and sheets so far.

    `note` says what goes on when it is not searching.
    """

    material: str
    thickness: float
    number: int
    groups: int
    rounds: int = 0
    sheets: int = 0
    note: str = ""


class GroupSearches:
    """Searches the groups of one build.

    Parameters
    ----------
    wanted : sequence of GroupRequest
    effort : Effort
    asked_to_stop : callable
    progress : callable, optional
    cores : int
        Above 1 second stages are done side by side in processes of their own.
    """

    def __init__(
        self,
        wanted: Sequence[GroupRequest],
        effort: Effort,
        asked_to_stop: Callable[[], bool],
        progress: Callable[[Progress], None] | None,
        cores: int,
    ) -> None:
        self._wanted, self._effort, self._asked_to_stop = wanted, effort, asked_to_stop
        self._progress, self._cores = progress, cores
        self._clock = AfterSeconds(effort.seconds)
        self._clocks: list[Stop | None] = [self._clock]
        self._done: dict[int, GroupPlan] = {}
        self._begun: dict[int, tuple[Staged, Pause]] = {}

    def plans(
        self,
        start: Sequence[LaidSheet],
        otherwise: Sequence[LaidSheet],
        *,
        content: Worth | None,
        take_start: bool,
        proofs: bool,
    ) -> list[GroupPlan]:
        """A plan of each group; see `planning.make_plan` for the parameters."""
        asked = Course(
            seed=self._effort.seed,
            stop=self._clock,
            asked_to_stop=self._asked_to_stop,
            content=content,
            take_start=take_start,
            proofs=proofs,
        )
        for number, request in enumerate(self._wanted):
            starts = tuple(laid for row in (start, otherwise) if (laid := _of_group(row, request)))
            self._first_stage(number, replace(asked, starts=starts))
        if self._is_worth_processes() and not self._asked_to_stop():
            self._side_by_side()
        else:
            self._one_by_one()
        return [self._done[number] for number in range(len(self._wanted))]

    def _first_stage(self, number: int, asked: Course) -> None:
        request = self._wanted[number]
        if not request.copies:
            nothing = nothing_to_plan(request.material, request.thickness)
            self._done[number] = GroupPlan(nothing, (), (), False, 0)
            return
        in_all = sum(request.copies for request in self._wanted)
        stop, tighten = self._stops(self._effort.seconds * request.copies / in_all)
        self._clocks.append(tighten)
        course = replace(
            asked,
            stop=stop,
            tighten=tighten,
            before_tightening=lambda: self._prepare(number),
            progress=lambda rounds, sheets: self._report(number, rounds, sheets),
        )
        staged = stages(request, course)
        try:
            pause = next(staged)
        except StopIteration as whole:
            self._done[number] = whole.value
            return
        if pause.hope > 0.0:
            self._begun[number] = staged, pause
        else:
            self._done[number] = ended(staged)

    def _stops(self, seconds: float) -> tuple[Stop, Stop | None]:
        """When the two stages end for a group that has so much time."""
        if self._asked_to_stop():
            return AfterRounds(1), None
        if self._effort.rounds is not None:
            return AfterRounds(self._effort.rounds), AfterRounds(self._tighten) if self._tighten else None
        return AfterSeconds(FIRST_SHARE * seconds), AfterSeconds(seconds) if seconds > 0.0 else None

    @property
    def _tighten(self) -> int:
        """Rounds of the overlap engine, where rounds are counted."""
        return (self._effort.rounds or 0) // ROUNDS_FOR_ONE

    @property
    def _weights(self) -> dict[int, float]:
        """What share of the time each group is worth that may still be bettered."""
        return {
            number: pause.hope * self._wanted[number].copies
            for number, (_, pause) in self._begun.items()
            if number not in self._done
        }

    def _is_worth_processes(self) -> bool:
        """Whether processes of their own gain more than it takes to start them."""
        if self._cores < 2 or not self._begun:
            return False
        if self._effort.rounds is not None:
            return len(self._begun) > 1 and self._effort.rounds >= ROUNDS_APART
        return self._clock.left >= SECONDS_APART

    def _one_by_one(self) -> None:
        for number, (staged, _) in self._begun.items():
            weights = self._weights
            seconds = self._clock.left * weights[number] / sum(weights.values())
            longer = AfterSeconds(seconds) if self._effort.rounds is None and seconds > 0.0 else None
            self._clocks.append(longer)
            self._done[number] = ended(staged, longer)

    def _side_by_side(self) -> None:
        numbers = list(self._begun)
        # Compiled once, here, and not in every process at the same time.
        self._prepare(numbers[0])
        answers = side_by_side(
            [pause.stage for _, pause in self._begun.values()],
            list(self._weights.values()),
            self._cores,
            self._clock.left,
            None if self._effort.rounds is None else self._tighten,
            self._asked_to_stop,
            lambda place, rounds, sheets: self._report(numbers[place], rounds, sheets),
        )
        for number, answer in zip(numbers, answers, strict=True):
            self._done[number] = self._carried_on(self._begun[number][0], answer)

    def _carried_on(self, staged: Staged, answer: Bettered | None) -> GroupPlan:
        """The rest of a group's search when its second stage was done elsewhere, or was lost."""
        try:
            staged.send(answer)
        except StopIteration as whole:
            plan: GroupPlan = whole.value
            return plan
        # Another batch, for the hand: there are few copies in it.
        seconds = max(self._clock.left, LATER)
        return ended(staged, AfterSeconds(seconds) if self._effort.rounds is None else None)

    def _prepare(self, number: int) -> None:
        """Gets the overlap engine ready; what the first run spends on compiling it is not search time."""
        # Imported when it is needed: small builds are done before.
        from nestkit.nesting.overlap import prepare

        began = time.monotonic()
        self._tell(number, note="getting the search ready; the first time this takes a while")
        prepare()
        for clock in self._clocks:
            if isinstance(clock, AfterSeconds):
                clock.extend(time.monotonic() - began)

    def _report(self, number: int, rounds: int, sheets: int) -> None:
        self._tell(number, rounds=rounds, sheets=sheets)

    def _tell(self, number: int, **what: Any) -> None:
        if self._progress is not None:
            request = self._wanted[number]
            at = Progress(request.material, request.thickness, number + 1, len(self._wanted))
            self._progress(replace(at, **what))


def _of_group(sheets: Sequence[LaidSheet], request: GroupRequest) -> list[LaidSheet]:
    return [
        sheet
        for sheet in sheets
        if sheet.material == request.material and same_thickness(sheet.thickness, request.thickness)
    ]
