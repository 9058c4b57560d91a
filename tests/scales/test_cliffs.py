"""Cliffs and largest sizes: on builds whose answer is known, and on made-up answers of every kind."""

from __future__ import annotations

from concurrent.futures import Executor, Future
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.nesting.carried import LaidSheet
from nestkit.planning import Effort
from nestkit.scales.cliffs import CliffSearch
from nestkit.scales.largest import Goal
from nestkit.scales.model import CLOSE, GroupResult, LeftOut, Leftover, NoResult, SizeResult
from nestkit.scales.runner import Runner
from nestkit.scales.source import BuildSource
from nestkit.scales.task import SizeTask
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build


def test_a_jigsaw_that_fills_a_sheet_has_its_cliff_there(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    found = compared(file, (0.8, 0.93, 1.06, 1.2))
    first = found.cliffs[0]
    assert first.below[1].sheets == 1
    assert first.above[1].sheets == 2
    assert first.is_close
    # Its parts' area is exactly the sheet's at scale 1: above that nothing can fit.
    assert 1.0 / (1.0 + CLOSE) <= first.below[0] <= 1.0 + 1e-6
    assert first.certain


def test_the_largest_size_from_the_shop_and_for_a_sum_of_money(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0, "in_shop = 1"))
    shop, money = compared(file, (), goals=[Goal(), Goal(8.0)]).largest
    assert shop.best is not None
    assert 1.0 / (1.0 + CLOSE) <= shop.best.scale <= 1.0 + 1e-6
    assert shop.best.cost == 0.0
    assert shop.certain
    assert "more area than the shop's sheets have" in shop.stops[0]
    # With one sheet more there is room until the largest part fits none: 230 mm drawn, 300 mm sheet.
    assert money.best is not None
    assert 1.3 / (1.0 + CLOSE) <= money.best.scale <= 300 / 230 + 1e-6
    assert money.best.cost == 7.0
    assert "fits none of the sheets" in money.stops[0]


def test_no_size_fits_an_empty_shop(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    (shop,) = compared(file, (), goals=[Goal()]).largest
    assert shop.best is None
    assert shop.certain
    assert shop.stops == ("eva 6 mm: there is no sheet of it in the shop",)


@settings(max_examples=6, deadline=None)
@given(
    st.lists(
        st.tuples(st.just(0), st.just(0), st.integers(20, 120), st.integers(20, 120)), min_size=2, max_size=6
    ),
    st.booleans(),
)
def test_neither_bounds_nor_plans_fall_as_the_size_grows(tmp_path_factory, rectangles, both):
    """No stacks and no hardware here: everything scales."""
    folder = tmp_path_factory.mktemp("build")
    file = write_build(folder, rectangles, sheet(400, 300, 10.0) + (sheet(200, 150, 3.0) if both else ""))
    found = compared(file, (0.8, 1.0, 1.2, 1.4), rounds=8)
    groups = [size.groups[0] for size in found.sizes]
    assert [g.cost_at_least for g in groups] == sorted(g.cost_at_least for g in groups)
    if not both:  # of two kinds, a dearer plan may do with fewer sheets
        assert [g.sheets_at_least for g in groups] == sorted(g.sheets_at_least for g in groups)
    assert [g.rank for g in groups] == sorted(g.rank for g in groups)
    for size in found.sizes:
        assert size.groups[0].sheets >= size.groups[0].sheets_at_least
        assert size.groups[0].foam_area == pytest.approx(
            sum(w * h for _, _, w, h in rectangles) * size.scale**2, rel=1e-6
        )


# --- made-up answers -------------------------------------------------------------------------------

SOURCE = BuildSource("build.toml", ())


def result(scale: float, sheets: int, cost: float | None = None, at_least: int = 1) -> SizeResult:
    group = GroupResult(
        "eva", 6.0, 4, sheets, at_least, False, cost if cost is not None else 2.0 * sheets,
        1.0, 0.5, 0.0, (), (), Leftover(), (),
    )  # fmt: skip
    return SizeResult(scale, 100.0 * scale, 50.0, (group,))


class MadeUp(Executor):
    """Answers tasks by a function of the scale; counts them."""

    def __init__(self, answer):
        self.answer, self.asked = answer, []

    def submit(self, fn, /, *args, **kwargs):
        future: Future = Future()
        self.asked.append(args[0])
        future.set_result(self.answer(args[0]))
        return future


def search(sizes) -> CliffSearch:
    def ask(scale, key, effort, start):
        return SizeTask(SOURCE, scale, effort, only=key, start=start.laid)

    return CliffSearch(sizes, [size.scale for size in sizes], ask, Effort(rounds=8))


@settings(deadline=None)
@given(st.lists(st.floats(0.75, 1.25), min_size=0, max_size=5, unique=True))
def test_every_cliff_is_found_to_half_a_percent(places):
    places = sorted(places)

    def answer(task):
        return result(task.scale, 1 + sum(task.scale > place for place in places))

    sizes = [answer(SizeTask(SOURCE, scale, Effort())) for scale in (0.7, 0.9, 1.1, 1.3)]
    found = search(sizes)
    found.look(Runner(MadeUp(answer)), lambda moment: True)
    cliffs = found.all_cliffs()
    assert all(cliff.is_close for cliff in cliffs)
    for place in places:
        assert any(cliff.below[0] <= place <= cliff.above[0] for cliff in cliffs)
    climbed = sum(cliff.above[1].sheets - cliff.below[1].sheets for cliff in cliffs)
    assert climbed == len(places)


@settings(deadline=None)
@given(st.lists(st.integers(1, 6), min_size=2, max_size=8))
def test_a_larger_size_that_does_with_less_carries_its_plan_down(sheets):
    sizes = [result(0.5 + 0.1 * k, count) for k, count in enumerate(sheets)]
    best_above = {size.scale: min(sheets[k:]) for k, size in enumerate(sizes)}

    def answer(task):
        return result(task.scale, best_above[task.scale])

    found = search(sizes)
    found.look(Runner(MadeUp(answer)), lambda moment: False)
    found.settle(Runner(MadeUp(answer)))
    levelled = [size.groups[0].sheets for size in found.bettered(sizes)]
    assert levelled == [best_above[size.scale] for size in sizes]
    assert levelled == sorted(levelled)


def test_a_plan_that_can_not_be_carried_down_stays_and_is_not_tried_for_ever():
    sizes = [result(1.0, 3), result(1.1, 2)]
    runner = MadeUp(lambda task: result(task.scale, 3))
    found = search(sizes)
    found.look(Runner(runner), lambda moment: False)
    assert len(runner.asked) == 1
    assert [size.groups[0].sheets for size in found.bettered(sizes)] == [3, 2]


def test_a_size_that_is_lost_between_two_others_does_not_hold_up_the_rest():
    runner = MadeUp(lambda task: NoResult(task.scale, "lost", lost=True))
    found = search([result(1.0, 1), result(1.2, 2)])
    found.look(Runner(runner), lambda moment: True)
    (cliff,) = found.all_cliffs()
    assert not cliff.is_close


def test_a_proof_that_comes_with_a_worse_plan_is_not_asked_for_over_and_over():
    def answer(task):
        return result(task.scale, 3 if task.proofs else 1 + (task.scale > 1.1))

    runner = MadeUp(answer)
    found = search([result(1.0, 1), result(1.2, 2, at_least=2)])
    found.look(Runner(runner), lambda moment: len(runner.asked) < 500)
    assert len(runner.asked) < 100
    (cliff,) = found.all_cliffs()
    assert cliff.above[1].sheets == 2


def test_above_a_cliff_it_is_tried_harder_once():
    """A lucky second try moves the cliff up; then the new place is found as closely."""

    def answer(task):
        patient = task.effort.rounds > 8
        return result(task.scale, 1 if task.scale < (1.15 if patient else 1.05) else 2)

    sizes = [answer(SizeTask(SOURCE, scale, Effort(rounds=8))) for scale in (1.0, 1.1, 1.2)]
    found = search(sizes)
    found.look(Runner(MadeUp(answer)), lambda moment: True)
    (cliff,) = found.all_cliffs()
    assert cliff.is_close
    assert cliff.below[0] >= 1.05


def test_small_steps_climb_where_one_leap_does_not():
    """A plan is carried no farther than 0.6 % at a time here; its scale stands in it as a sheet's number."""

    def laid(sheets, scale):
        return (LaidSheet("eva", 6.0, "sheet", round(scale * 1e6) if sheets == 1 else 0, None, ()),)

    def answer(task):
        near = any(task.scale <= sheet.stock_number / 1e6 * 1.006 for sheet in task.start)
        sheets = 1 if task.scale <= 1.0 or (near and task.scale <= 1.08) else 2
        size = result(task.scale, sheets)
        return replace(size, groups=(replace(size.groups[0], laid=laid(sheets, task.scale)),))

    sizes = [answer(SizeTask(SOURCE, scale, Effort(rounds=8))) for scale in (1.0, 1.2)]
    found = search(sizes)
    found.look(Runner(MadeUp(answer)), lambda moment: True)
    (cliff,) = found.all_cliffs()
    assert cliff.is_close
    assert 1.08 / (1.0 + CLOSE) <= cliff.below[0] <= 1.08


@pytest.mark.parametrize("lost", range(8))
def test_a_try_that_is_lost_costs_that_try_and_not_the_cliff(lost):
    def answer(task):
        if len(runner.asked) == lost + 1:
            return NoResult(task.scale, "lost", lost=True)
        return result(task.scale, 1 + (task.scale > 1.113))

    runner = MadeUp(answer)
    found = search([result(1.0, 1), result(1.2, 2)])
    found.look(Runner(runner), lambda moment: True)
    (cliff,) = found.all_cliffs()
    assert cliff.below[0] <= 1.113 <= cliff.above[0]
    assert cliff.step <= 2.0 * CLOSE


def in_seconds(sizes, seconds: float) -> CliffSearch:
    def ask(scale, key, effort, start):
        return SizeTask(SOURCE, scale, effort, only=key, start=start.laid)

    scales = [size.scale for size in sizes]
    return CliffSearch(sizes, scales, ask, Effort(seconds=seconds), seconds)


def at_113(task):
    return result(task.scale, 1 + (task.scale > 1.113))


def test_with_seconds_it_is_tried_harder_until_no_time_is_left_for_that():
    runner = MadeUp(at_113)
    found = in_seconds([result(1.0, 1), result(1.2, 2)], 100.0)
    found.look(Runner(runner), lambda moment: moment < 50.0 and len(runner.asked) < 40)
    efforts = [task.effort.seconds for task in runner.asked]
    assert len(runner.asked) == 40, "there is time"
    assert max(efforts) > 2.0 * min(efforts)
    assert len({task.effort.seed for task in runner.asked if task.effort.seconds == max(efforts)}) > 20
    short = MadeUp(at_113)
    found = in_seconds([result(1.0, 1), result(1.2, 2)], 100.0)
    found.look(Runner(short), lambda moment: moment < 0.9 * max(efforts))
    assert max(task.effort.seconds for task in short.asked) < max(efforts)
    assert found.all_cliffs()[0].is_close


def test_late_places_that_are_known_closely_come_first():
    sizes = [result(1.0, 1), result(1.001, 2), result(1.2, 3)]
    for late in (False, True):
        runner = MadeUp(lambda task: result(task.scale, 1 + (task.scale > 1.0) + (task.scale > 1.1)))
        found = in_seconds(sizes, 100.0)
        found.look(
            Runner(runner), lambda moment, r=runner: len(r.asked) < 12, lambda moment, is_so=late: is_so
        )
        first = next(n for n, task in enumerate(runner.asked) if task.scale == 1.001 and not task.proofs)
        assert (first <= 1) is late


def test_nothing_is_carried_up_to_where_less_is_known_to_do():
    runner = MadeUp(lambda task: result(task.scale, 3))
    found = in_seconds([result(1.0, 3), result(1.1, 2)], 100.0)
    found.look(Runner(runner), lambda moment: len(runner.asked) < 60)
    assert not [task for task in runner.asked if task.scale >= 1.1]


def test_what_is_left_out_and_what_it_costs_are_cliffs_too():
    left = replace(result(1.2, 2).groups[0], left_out=(LeftOut("sail", 1, "no room"),))
    sizes = [result(1.0, 2, 4.0), result(1.001, 2, 5.0), replace(result(1.002, 2, 5.0), groups=(left,))]
    first, second = search(sizes).all_cliffs()
    assert (first.below[1].cost, first.above[1].cost) == (4.0, 5.0)
    assert second.above[1].left_out
