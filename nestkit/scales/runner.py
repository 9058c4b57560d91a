"""Hands sizes to an executor, keeps answers, and gives up what is not done when it is asked to."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, NamedTuple

from nestkit.scales.cache import Cache
from nestkit.scales.model import Answer, NoResult, SizeResult
from nestkit.scales.task import SizeTask, plan_size
from nestkit.workers import WorkerLostError

#: How often it is looked whether to stop, seconds.
_LOOK = 0.2


class What(Enum):
    """What happens to a task."""

    ASKED = "asked"
    KEPT = "kept"
    DONE = "done"


class Answers(NamedTuple):
    """Answers to tasks, in their order, and the moment of the last: seconds after the runner began.

    Of an answer that was kept it is the moment at which it was there first: what is done in a time is done
    once more in that time when all of it is kept, and no more.
    """

    found: list[Answer]
    moment: float


#: A piece of work that goes step by step: it hands out tasks and is sent their answers.
Steps = Generator[Sequence[SizeTask], Answers, None]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a task; ``answer`` comes with KEPT and DONE."""

    what: What
    task: SizeTask
    answer: Answer | None = None


class StoppedEarly(Exception):  # noqa: N818 - it is no error: the maker asked for it
    """The maker asked to stop; ``answers`` holds those that are there, in the tasks' order."""

    def __init__(self, answers: Sequence[Answer | None]) -> None:
        self.answers = tuple(answers)
        super().__init__("stopped")


class Runner:
    """Plans sizes side by side.

    Parameters
    ----------
    executor : concurrent.futures.Executor
        Worker processes or a cluster.
    cache : Cache, optional
    asked_to_stop : callable
    heard : callable, optional
        Given each `Event`, and the future that goes with it (None for an answer that was kept).
    """

    def __init__(
        self,
        executor: Executor,
        cache: Cache | None = None,
        asked_to_stop: Callable[[], bool] = lambda: False,
        heard: Callable[[Event, Future[Any] | None], None] = lambda event, future: None,
    ) -> None:
        self._executor = executor
        self._cache = cache
        self._asked = asked_to_stop
        self._heard = heard
        self._began = time.monotonic()
        #: The latest moment of an answer; see `Answers`.
        self.moment = 0.0
        #: Sizes that were planned, and those that were not because their answer was kept.
        self.planned = 0
        self.kept = 0

    def run(self, tasks: Sequence[SizeTask]) -> list[Answer]:
        """The answers, in the tasks' order; a lost worker is an answer too.

        Raises
        ------
        StoppedEarly
            With the answers that are there.
        """
        found: list[Answer] = []

        def once() -> Steps:
            found.extend((yield tasks).found)

        self.side_by_side([once()])
        return found

    def side_by_side(self, works: Sequence[Steps]) -> None:
        """Does several pieces of work at once: none waits for the others' steps.

        Raises
        ------
        StoppedEarly
            With the answers that were not handed over yet.
        """
        running: dict[Future[Any], tuple[_Step, int]] = {}
        steps = [_Step(work) for work in works]
        for step in steps:
            self._go_on(step, running)
        while running:
            done, _ = wait(running, timeout=_LOOK, return_when=FIRST_COMPLETED)
            for future in done:
                step, place = running.pop(future)
                task = step.tasks[place]
                answer = _answer(future, task)
                moment = time.monotonic() - self._began
                self._note(step, place, answer, moment)
                if isinstance(answer, SizeResult):
                    self.planned += 1
                    if self._cache is not None:
                        self._cache.put(task, answer, moment)
                self._heard(Event(What.DONE, task, answer), future)
                if not self._asked():
                    self._go_on(step, running)
            if self._asked():
                for future in running:
                    future.cancel()
                raise StoppedEarly([answer for step in steps for answer in step.answers])
        if self._asked():
            raise StoppedEarly([answer for step in steps for answer in step.answers])

    def _note(self, step: _Step, place: int, answer: Answer, moment: float) -> None:
        step.answers[place] = answer
        step.moment = max(step.moment, moment)
        self.moment = max(self.moment, moment)

    def _go_on(self, step: _Step, running: dict[Future[Any], tuple[_Step, int]]) -> None:
        """Hands out the next tasks when all answers are there, until some of them have to be waited for."""
        while step.is_answered and step.take():
            for place, task in enumerate(step.tasks):
                kept = None if self._cache is None else self._cache.get(task)
                if kept is not None:
                    self._note(step, place, *kept)
                    self.kept += 1
                    self._heard(Event(What.KEPT, task, kept[0]), None)
                    continue
                future = self._executor.submit(plan_size, task)
                running[future] = step, place
                self._heard(Event(What.ASKED, task), future)


@dataclass(eq=False)
class _Step:
    """Where a piece of work is: the tasks that it handed out last, and their answers so far."""

    work: Steps
    tasks: Sequence[SizeTask] = ()
    answers: list[Answer | None] = field(default_factory=list)
    moment: float = 0.0
    has_begun: bool = False

    @property
    def is_answered(self) -> bool:
        return None not in self.answers

    def take(self) -> bool:
        """Sends the answers and takes the next tasks; False at the end."""
        try:
            if self.has_begun:
                found = [answer for answer in self.answers if answer is not None]
                self.tasks = self.work.send(Answers(found, self.moment))
            else:
                self.has_begun = True
                self.tasks = next(self.work)
        except StopIteration:
            self.tasks, self.answers = (), []
            return False
        self.answers = [None] * len(self.tasks)
        return True


def _answer(future: Future[Any], task: SizeTask) -> Answer:
    try:
        answer: Answer = future.result()
        return answer
    except WorkerLostError as error:
        return NoResult(task.scale, str(error), lost=True)
    except CancelledError:
        return NoResult(task.scale, "its work was called off", lost=True)
    except Exception as error:  # whatever went wrong in one size must not take the others along
        return NoResult(task.scale, f"its planning failed: {type(error).__name__}: {error}", lost=True)
