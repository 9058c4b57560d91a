"""Second stages in processes of their own: the same results, and none is lost with its process."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.model import Build, Cutter, Part, Sheet
from nestkit.geometry import Shape
from nestkit.nesting.course import Course
from nestkit.nesting.group import ended, plan_group, stages
from nestkit.nesting.problem import Spacing
from nestkit.nesting.request import GroupRequest
from nestkit.nesting.second_stage import Bettered, SecondStage
from nestkit.nesting.side_by_side import side_by_side, turns
from nestkit.nesting.stops import AfterRounds
from nestkit.planning import Effort, make_plan
from tests.zoo import disc

#: Five discs lie on one sheet of 100 x 100 mm only like the five on a die: the first stage takes two.
FIVE = Part("buoy", Shape(disc(20.5)), "eva", 6.0, copies=5)
SHEET = Sheet("eva 6 mm", "eva", 6.0, (100.0, 100.0), 2.0, 0, True)


def request() -> GroupRequest:
    return GroupRequest("eva", 6.0, [FIVE], [SHEET], "laser", None, Spacing(0.0, 0.0))


def places(sheets) -> list:
    return [(sheet.stock, placed.copy, placed.placement) for sheet in sheets for placed in sheet.placed]


def stage_of(staged) -> SecondStage:
    return next(staged).stage


def quiet(number: int, rounds: int, sheets: int) -> None:
    assert (number, sheets) >= (0, 1)
    assert rounds >= 0


@given(st.lists(st.floats(0.05, 200.0), min_size=1, max_size=9), st.integers(1, 8), st.floats(0.0, 600.0))
def test_all_turns_end_in_time_and_nobody_is_forgotten(weights, cores, seconds):
    found = turns(weights, cores, seconds)
    assert {turn.number for turn in found} == set(range(len(weights)))
    # Whoever is free takes the next one.
    busy = [0.0] * cores
    for turn in found:
        busy[busy.index(min(busy))] += turn.seconds
    assert max(busy) <= seconds * (1.0 + 1e-9) + 1e-9
    # No turn is there twice, and cores are left over only where there is nothing more to try.
    assert len({(turn.number, turn.seed) for turn in found}) == len(found) >= min(cores, len(weights))
    assert len(found) == max(cores, len(weights))


def test_heavier_ones_get_more_time_and_more_seeds():
    one, two, three = turns([1.0, 4.0, 2.0], 2, 60.0)
    assert [turn.number for turn in (one, two, three)] == [1, 2, 0]
    assert one.seconds >= two.seconds >= three.seconds > 0.0
    assert [turn.number for turn in turns([1.0, 4.0], 3, 60.0)] == [1, 0, 1]


@pytest.mark.parametrize("rounds", [8, pytest.param(40, marks=pytest.mark.slow)])
def test_a_build_of_two_foams_comes_out_the_same_on_one_core_and_on_two(monkeypatch, rounds):
    """Eight rounds have a second stage too; what it finds is the same or not from its first round on."""
    monkeypatch.setattr("nestkit.searching.ROUNDS_APART", 8)
    thin = replace(FIVE, name="float", thickness=2.0)
    sheets = (SHEET, replace(SHEET, name="eva 2 mm", thickness=2.0))
    cutter = Cutter(bed=(600, 400), kerf=0.2)
    build = Build("buoys", FilePath("build.toml"), "mm", 1.0, 0.0, 0.0, cutter, sheets, (), (FIVE, thin))
    one, two = (make_plan(build, Effort(rounds=rounds, seed=2), cores=cores) for cores in (1, 2))
    assert one.plan.groups == two.plan.groups
    assert places(one.plan.sheets) == places(two.plan.sheets)
    assert one.rounds == two.rounds
    assert len(one.plan.groups) == 2


@dataclass(frozen=True, eq=False)
class Doomed(SecondStage):
    """Takes its process with it."""

    def run(self, *args, **kwargs) -> Bettered:
        os._exit(9)


@pytest.mark.parametrize("rounds", [4, pytest.param(20, marks=pytest.mark.slow)])
def test_elsewhere_the_same_comes_of_it_and_a_lost_process_loses_nothing_but_its_turn(rounds):
    staged = [stages(request(), Course(seed=k, stop=AfterRounds(1))) for k in (1, 3)]
    first, second = map(stage_of, staged)
    doomed = Doomed(**{name: getattr(first, name) for name in SecondStage.__dataclass_fields__})
    lost, found = side_by_side([doomed, second], [1.0, 1.0], 2, 0.0, rounds, lambda: False, quiet)
    assert lost is None
    # Its first plan is still there.
    assert ended(staged[0], lost).group.sheets_used == 2
    assert found is not None
    away = ended(staged[1], found)
    here = plan_group(request(), Course(seed=3, stop=AfterRounds(1), tighten=AfterRounds(rounds)))
    assert away.group == here.group
    assert places(away.sheets) == places(here.sheets)


def test_who_asks_to_stop_gets_what_there_is():
    staged = stages(request(), Course(seed=1, stop=AfterRounds(1)))
    (found,) = side_by_side([stage_of(staged)], [1.0], 2, 600.0, None, lambda: True, quiet)
    assert found is None or found.score[0] == 0
    assert ended(staged, found).group.sheets_used in (1, 2)


@pytest.mark.slow
def test_with_more_cores_than_groups_the_best_seed_counts():
    staged = stages(request(), Course(seed=1, stop=AfterRounds(1)))
    stage = stage_of(staged)
    (found,) = side_by_side([stage], [1.0], 2, 12.0, None, lambda: False, quiet)
    assert found is not None
    assert found.score[1:3] == (2.0, 1.0)
    assert found.is_enough
    assert ended(staged, found).group.proven


@pytest.mark.parametrize("weights", [[], [1.0]])
def test_without_time_every_stage_still_has_an_answer(weights):
    staged = [stages(request(), Course(seed=1, stop=AfterRounds(1))) for _ in weights]
    found = side_by_side([stage_of(one) for one in staged], weights, 2, 0.0, None, lambda: False, quiet)
    assert len(found) == len(weights)
    assert all(each is not None and each.score[2] == 2.0 for each in found)
