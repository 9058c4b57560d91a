"""Results that are kept: what a second run costs, and what makes an earlier result worthless."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from nestkit.planning import Effort
from nestkit.preparing import read_build
from nestkit.scales.cache import Cache, task_digest, user_cache
from nestkit.scales.compare import Question, compare
from nestkit.scales.runner import Runner
from nestkit.scales.source import source_of
from nestkit.scales.task import SizeTask, plan_size
from nestkit.stock.pieces import Piece
from tests.scales.scales_bench import JIGSAW, sheet, write_build
from tests.zoo import rectangle

SCALES = (0.9, 1.0, 1.1)


def run(file: Path, folder: Path, scales=SCALES, effort=Effort(rounds=8), cliffs=False):  # noqa: B008
    build = read_build(file, None)
    with ThreadPoolExecutor(1) as local:
        runner = Runner(local, Cache(folder))
        question = Question(source_of(build), tuple(scales), effort, "", 1, cliffs=cliffs)
        return compare(question, build, runner), runner


@pytest.fixture
def file(tmp_path) -> Path:
    return write_build(tmp_path, JIGSAW, sheet(300, 200))


def test_a_second_run_plans_nothing_and_one_size_more_costs_one(file, tmp_path):
    first, planning = run(file, tmp_path / "kept")
    assert (planning.planned, planning.kept) == (3, 0)
    second, planning = run(file, tmp_path / "kept")
    assert (planning.planned, planning.kept) == (0, 3)
    assert second == first
    third, planning = run(file, tmp_path / "kept", (*SCALES, 1.15))
    assert (planning.planned, planning.kept) == (1, 3)
    assert third.sizes[:3] == first.sizes


def test_cliffs_are_kept_too(file, tmp_path):
    first, planning = run(file, tmp_path / "kept", cliffs=True)
    assert planning.planned > 3
    second, planning = run(file, tmp_path / "kept", cliffs=True)
    assert planning.planned == 0
    assert second == first


def test_what_was_found_in_a_time_is_found_at_once_and_not_searched_on(file, tmp_path):
    effort = Effort(seconds=4.0)
    first, planning = run(file, tmp_path / "kept", (0.7, 1.0, 1.5), effort, cliffs=True)
    assert planning.planned > 3
    second, planning = run(file, tmp_path / "kept", (0.7, 1.0, 1.5), effort, cliffs=True)
    assert planning.planned == 0
    assert second == first


def test_another_drawing_or_build_file_is_planned_anew(file, tmp_path):
    run(file, tmp_path / "kept")
    drawing = tmp_path / "puzzle.svg"
    drawing.write_text(drawing.read_text().replace('width="120"', 'width="110"', 1))
    found, planning = run(file, tmp_path / "kept")
    assert planning.planned == 3
    assert found.sizes[1].groups[0].foam_area == pytest.approx(300 * 200 - 10 * 90)
    file.write_text(file.read_text().replace("price = 1.0", "price = 2.0"))
    assert run(file, tmp_path / "kept")[1].planned == 3


@pytest.mark.parametrize("damage", [b"", b"{", b"[]", b'{"format": "nestkit-size"}', b"\xff\x00", None])
def test_a_damaged_result_is_made_anew(file, tmp_path, damage):
    first, _ = run(file, tmp_path / "kept")
    for kept in (tmp_path / "kept").glob("*/*.json"):
        if damage is None:
            kept.write_bytes(kept.read_bytes().replace(b'"sheets":', b'"sheets":"many","x":', 1))
        else:
            kept.write_bytes(damage)
    second, planning = run(file, tmp_path / "kept")
    assert planning.planned == 3
    assert second == first
    assert run(file, tmp_path / "kept")[1].planned == 0


def test_a_shorter_search_is_not_passed_for_a_longer_one(file, tmp_path):
    run(file, tmp_path / "kept", effort=Effort(seconds=0.3))
    assert run(file, tmp_path / "kept", effort=Effort(seconds=0.2))[1].planned == 0
    assert run(file, tmp_path / "kept", effort=Effort(seconds=1.0))[1].planned == 3


def test_everything_that_an_answer_follows_from_is_in_its_name(file):
    task = SizeTask(source_of(read_build(file, None)), 1.0, Effort(rounds=8))
    result = plan_size(replace(task, effort=Effort(rounds=1)))
    piece = Piece("eva", 6.0, rectangle(300, 200), number=1)
    others = [
        replace(task, scale=1.0000001),
        replace(task, effort=Effort(rounds=9)),
        replace(task, effort=Effort(rounds=8, seed=2)),
        replace(task, reference="p1"),
        replace(task, only=("eva", 6.0)),
        replace(task, shop_only=True),
        replace(task, start=result.laid),
        replace(task, pieces=(piece,)),
        replace(task, pieces=(piece, replace(piece, number=2))),
        replace(task, pieces=(replace(piece, outline=rectangle(300, 201)),)),
        replace(task, pieces=(replace(piece, thickness=4.0),)),
        replace(task, pieces=(piece,), shop="another"),
    ]
    names = {task_digest(each) for each in (task, *others)}
    assert len(names) == len(others) + 1


def test_a_folder_that_can_not_be_written_is_as_good_as_none(file, tmp_path):
    (tmp_path / "kept").write_text("a file stands here")
    found, planning = run(file, tmp_path / "kept")
    assert (len(found.sizes), planning.kept) == (3, 0)


def test_results_are_kept_where_the_system_wants_it(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert "nestkit" in user_cache().parts
