"""Sizes in worker processes: one that is killed in the middle of its size, stopping, what can't be made."""

from __future__ import annotations

import os
import signal

import pytest

from nestkit.planning import Effort
from nestkit.preparing import read_build
from nestkit.scales.compare import Question, compare, is_whole
from nestkit.scales.runner import Runner, StoppedEarly, What
from nestkit.scales.source import source_of
from nestkit.scales.task import SizeTask
from nestkit.workers import Workers
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build


def test_a_killed_worker_loses_one_size_and_not_the_run(tmp_path):
    build = read_build(write_build(tmp_path, JIGSAW, sheet(300, 200)), None)
    scales = (0.9, 1.0, 1.1, 1.2)
    question = Question(source_of(build), scales, Effort(rounds=12), "", 1, cliffs=False)
    killed: list[int] = []

    def heard_note(future, note):
        if not killed:
            killed.extend(workers.processes)
            os.kill(killed[0], signal.SIGKILL)

    with Workers(1, heard_note) as workers:
        found = compare(question, build, Runner(workers))
    assert killed
    # The largest size is planned first.
    assert [(gap.scale, gap.lost) for gap in found.missing] == [(1.2, True)]
    assert "signal 9" in found.missing[0].why
    assert [size.scale for size in found.sizes] == [0.9, 1.0, 1.1]
    assert not is_whole(found)


def test_side_by_side_gives_what_one_process_gives(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200))
    alone = compared(file, (0.9, 1.0, 1.1), rounds=8)
    with Workers(2) as workers:
        assert compared(file, (0.9, 1.0, 1.1), rounds=8, executor=workers) == alone


def test_stopping_keeps_what_is_done(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200))
    done: list[object] = []
    found = compared(
        file,
        (0.9, 1.0, 1.1),
        rounds=8,
        asked_to_stop=lambda: len(done) > 0,
        heard=lambda event, future: done.extend([event] if event.what is What.DONE else []),
    )
    assert found.stopped
    assert 1.1 in [size.scale for size in found.sizes]
    assert len(found.sizes) + len(found.missing) == 3
    assert all(gap.why == "not planned: stopped before" for gap in found.missing)


def test_a_runner_that_is_asked_to_stop_says_what_is_there(tmp_path):
    source = source_of(read_build(write_build(tmp_path, JIGSAW, sheet(300, 200)), None))
    tasks = [SizeTask(source, scale, Effort(rounds=4)) for scale in (0.9, 1.0)]
    with Workers(1) as workers:
        with pytest.raises(StoppedEarly) as stopped:
            Runner(workers, asked_to_stop=lambda: True).run(tasks)
        workers.shutdown(cancel_futures=True)
    assert len(stopped.value.answers) == 2


def test_a_size_that_can_not_be_made_is_told_and_the_others_are_planned(tmp_path):
    ring = (
        '\n[hardware.rod]\ndiameter = 20\n\n[[part]]\nname = "collar"\npattern = "ring"\n'
        'inner_diameter = "rod"\nouter_diameter = 24\nthickness = 6\n'
    )
    file = write_build(tmp_path, JIGSAW, sheet(400, 300), ring)
    found = compared(file, (0.8, 1.0, 1.2), rounds=8)
    assert [size.scale for size in found.sizes] == [1.0, 1.2]
    (gap,) = found.missing
    assert (gap.scale, gap.lost) == (0.8, False)
    assert "leaves no foam" in gap.why
