"""Hands sizes to an executor, keeps answers, and gives up what is not done when it is asked to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass
from enum import Enum
from typing import Any

from nestkit.scales.cache import Cache
from nestkit.scales.model import Answer, NoResult, SizeResult
from nestkit.scales.task import SizeTask, plan_size
from nestkit.scales.workers import WorkerLostError

#: How often it is looked whether to stop, seconds.
_LOOK = 0.2


class What(Enum):
    """What happens to a task."""

    ASKED = "asked"
    KEPT = "kept"
    DONE = "done"


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
        answers: list[Answer | None] = [None] * len(tasks)
        running: dict[Future[Any], int] = {}
        for place, task in enumerate(tasks):
            kept = None if self._cache is None else self._cache.get(task)
            if kept is not None:
                answers[place] = kept
                self.kept += 1
                self._heard(Event(What.KEPT, task, kept), None)
                continue
            future = self._executor.submit(plan_size, task)
            running[future] = place
            self._heard(Event(What.ASKED, task), future)
        while running:
            done, _ = wait(running, timeout=_LOOK, return_when=FIRST_COMPLETED)
            for future in done:
                place = running.pop(future)
                answer = _answer(future, tasks[place])
                answers[place] = answer
                if isinstance(answer, SizeResult):
                    self.planned += 1
                    if self._cache is not None:
                        self._cache.put(tasks[place], answer)
                self._heard(Event(What.DONE, tasks[place], answer), future)
            if self._asked():
                for future in running:
                    future.cancel()
                raise StoppedEarly(answers)
        if self._asked():
            raise StoppedEarly(answers)
        return [answer for answer in answers if answer is not None]


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
