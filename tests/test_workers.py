"""Worker processes: answers, errors, one that is killed in the middle of its task, and stopping."""

from __future__ import annotations

import os
import signal
import time
from concurrent.futures import wait

import pytest

from nestkit.telling import is_asked_to_stop, tell
from nestkit.workers import WorkerLostError, Workers


def double(number: int) -> int:
    tell(f"doubling {number}")
    return 2 * number


def fail(number: int) -> int:
    raise ValueError(f"no {number}")


def sleep_for_ever() -> None:
    tell("asleep")
    time.sleep(600)


def test_answers_notes_and_errors_come_back():
    heard = []
    with Workers(2, lambda future, note: heard.append(note)) as workers:
        futures = [workers.submit(double, k) for k in range(5)]
        failed = workers.submit(fail, 7)
        unfit = workers.submit(lambda: 1)
        assert [future.result(60) for future in futures] == [0, 2, 4, 6, 8]
        with pytest.raises(ValueError, match="no 7"):
            failed.result(60)
        with pytest.raises(Exception, match=r"pickle|lambda"):
            unfit.result(60)
        assert workers.submit(double, 21).result(60) == 42
    assert sorted(heard) == sorted(f"doubling {k}" for k in (*range(5), 21))
    with pytest.raises(RuntimeError):
        workers.submit(double, 1)


def test_a_killed_worker_takes_its_own_task_alone():
    asleep = []
    with Workers(1, lambda future, note: asleep.append(note)) as workers:
        first = workers.submit(sleep_for_ever)
        second = workers.submit(double, 4)
        while not asleep:
            wait([first], timeout=0.05)
        (process,) = workers.processes
        os.kill(process, signal.SIGKILL)
        with pytest.raises(WorkerLostError, match="signal 9"):
            first.result(60)
        assert second.result(60) == 8


def test_ending_at_once_waits_for_nobody():
    asleep = []
    workers = Workers(1, lambda future, note: asleep.append(note))
    running, waiting = workers.submit(sleep_for_ever), workers.submit(double, 1)
    while not asleep:
        wait([running], timeout=0.05)
    workers.shutdown(cancel_futures=True)
    assert waiting.cancelled()
    assert isinstance(running.exception(60), WorkerLostError)
    assert workers.processes == ()


def work_until_asked() -> str:
    tell("at work")
    while not is_asked_to_stop():
        time.sleep(0.01)
    return "the best so far"


def test_who_is_asked_to_stop_gives_what_there_is():
    heard = []
    with Workers(2, lambda future, note: heard.append(note)) as workers:
        futures = [workers.submit(work_until_asked) for _ in range(3)]
        while len(heard) < 2:
            wait(futures, timeout=0.05)
        workers.ask_to_stop()
        assert [future.result(60) for future in futures] == ["the best so far"] * 3
    assert not is_asked_to_stop()
