"""Plans carried over to another size: sound going down, separated going up, whole again where copies lack."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import strategies as st

from nestkit.build.model import Part, Sheet, Turns
from nestkit.geometry import Shape
from nestkit.nesting.carried import carried, laid, sound_layout
from nestkit.nesting.course import Course
from nestkit.nesting.group import GroupPlan, plan_group
from nestkit.nesting.problem import Spacing
from nestkit.nesting.request import GroupRequest, batches_of
from nestkit.nesting.stops import AfterRounds
from nestkit.nesting.supply import supply
from nestkit.nesting.verify import faults
from tests.examples import few_or_many
from tests.zoo import rectangle

SHEETS = [
    Sheet("eva 6 mm 100 x 100", "eva", 6.0, (100, 100), 4.0, in_shop=1),
    Sheet("eva 6 mm 120 x 100", "eva", 6.0, (120, 100), 5.0),
]

APART = Spacing(2.0, 1.0)


def request(sizes, factor=1.0, sheets=SHEETS, spacing=APART, copies=2) -> GroupRequest:
    parts = [
        Part(f"p{k}", Shape(rectangle(w * factor, h * factor)), "eva", 6.0, copies=copies)
        for k, (w, h) in enumerate(sizes)
    ]
    return GroupRequest("eva", 6.0, parts, sheets, "laser", None, spacing)


def planned(asked: GroupRequest, rounds=4, tighten=None, **more) -> GroupPlan:
    return plan_group(asked, Course(seed=1, stop=AfterRounds(rounds), tighten=tighten, **more))


@few_or_many(
    10,
    25,
    st.lists(st.tuples(st.integers(5, 60), st.integers(5, 60)), min_size=1, max_size=6),
    st.floats(0.5, 1.0),
)
def test_a_plan_of_convex_parts_is_sound_at_every_smaller_size(sizes, factor):
    larger = planned(request(sizes))
    smaller = request(sizes, factor)
    (batch,), _ = batches_of(smaller)
    row = supply(smaller.sheets, None, len(batch.items), SHEETS[0])
    layout = carried(batch, row, laid(larger.sheets), smaller.spacing)
    assert layout is not None
    assert not faults(batch.items, row.bins, layout, smaller.spacing)
    used = {row.meaning[seat.bin].which for seat in layout.seats}
    assert used == {(sheet.stock, sheet.stock_number) for sheet in larger.sheets}
    again = planned(smaller, rounds=1, starts=(laid(larger.sheets),))
    assert again.group.cost <= larger.group.cost
    assert (again.group.cost, again.group.sheets_used) <= (larger.group.cost, larger.group.sheets_used)


def test_going_up_the_overlaps_are_separated():
    sheets = [Sheet("eva 6 mm 100 x 100", "eva", 6.0, (100, 100), 4.0)]
    sizes = [(40, 40)]
    tight = Spacing(0.0, 0.0)
    start = laid(planned(request(sizes, 1.0, sheets, tight, copies=4)).sheets)
    asked = request(sizes, 1.2, sheets, tight, copies=4)
    (batch,), _ = batches_of(asked)
    row = supply(sheets, None, 4, sheets[0])
    layout = carried(batch, row, start, asked.spacing)
    assert layout is not None
    assert faults(batch.items, row.bins, layout, tight)
    sound = sound_layout(
        batch.items, row, layout, tight, seed=1, stop=AfterRounds(400), asked_to_stop=lambda: False
    )
    assert sound is not None
    assert not faults(batch.items, row.bins, sound, tight)
    assert len({seat.bin for seat in sound.seats}) == 1


def test_what_can_not_be_separated_is_given_up():
    sheets = [Sheet("eva 6 mm 100 x 100", "eva", 6.0, (100, 100), 4.0)]
    start = laid(planned(request([(48, 48)], 1.0, sheets, Spacing(), copies=4)).sheets)
    plan = planned(
        request([(48, 48)], 1.1, sheets, Spacing(), copies=4), tighten=AfterRounds(20), starts=(start,)
    )
    assert (plan.group.sheets_used, plan.unplaced) == (4, ())


def test_a_copy_that_lacks_is_left_out_and_one_too_many_left_away():
    three = planned(request([(30, 30)], copies=3))
    for copies, left_out in ((4, (3,)), (2, ())):
        asked = request([(30, 30)], copies=copies)
        (batch,), _ = batches_of(asked)
        layout = carried(batch, supply(SHEETS, None, copies, SHEETS[0]), laid(three.sheets), APART)
        assert layout.left_out == left_out
        assert [seat.item for seat in layout.seats] == list(range(min(copies, 3)))


def test_where_most_copies_lack_nothing_is_carried():
    one = planned(request([(30, 30)], copies=1))
    (batch,), _ = batches_of(request([(30, 30)], copies=2))
    assert carried(batch, supply(SHEETS, None, 2, SHEETS[0]), laid(one.sheets), APART) is None


def test_a_copy_that_lacks_finds_its_place_on_the_same_sheets():
    """Three of four quarters of a sheet lie; the fourth goes where it must."""
    sheets = [Sheet("eva 6 mm 100 x 100", "eva", 6.0, (100, 100), 4.0)]
    start = laid(planned(request([(49, 49)], 1.0, sheets, Spacing(), copies=3)).sheets)
    asked = request([(49, 49)], 1.0, sheets, Spacing(), copies=4)
    (batch,), _ = batches_of(asked)
    row = supply(sheets, None, 4, sheets[0])
    layout = carried(batch, row, start, asked.spacing)
    sound = sound_layout(
        batch.items, row, layout, Spacing(), seed=1, stop=AfterRounds(200), asked_to_stop=lambda: False
    )
    assert sound.left_out == ()
    assert not faults(batch.items, row.bins, sound, Spacing())
    assert {seat.bin for seat in sound.seats} == {0}


@pytest.mark.parametrize("change", ["stock", "mirrored"])
def test_a_sheet_or_a_side_that_is_gone_refuses(change):
    start = laid(planned(request([(30, 30)])).sheets)
    if change == "stock":
        start = tuple(replace(sheet, stock="another") for sheet in start)
    else:
        start = tuple(
            replace(sheet, parts=tuple(replace(p, mirrored=True) for p in sheet.parts)) for sheet in start
        )
    (batch,), _ = batches_of(request([(30, 30)]))
    assert carried(batch, supply(SHEETS, None, 2, SHEETS[0]), start, APART) is None


def test_a_sheet_that_was_cut_up_in_another_way_is_found():
    """Two of 580 mm lie on halves of a sheet, which is not how sheets are cut up first."""
    sheets = [Sheet("eva 6 mm 1200 x 600", "eva", 6.0, (1200, 600), 4.0)]
    part = Part("a", Shape(rectangle(580, 580)), "eva", 6.0, copies=2, turns=Turns((0.0,)))
    asked = GroupRequest("eva", 6.0, [part], sheets, "laser", (900, 600), Spacing())
    start = laid(planned(asked, rounds=8).sheets)
    assert [sheet.blank for sheet in start] == [(0.0, 0.0), (600.0, 0.0)]
    (batch,), _ = batches_of(asked)
    row = supply(sheets, (900, 600), 2, sheets[0], way=0)
    layout = carried(batch, row, start, Spacing())
    assert layout is not None
    assert not faults(batch.items, row.bins, layout, Spacing())
    assert len({row.meaning[seat.bin].which for seat in layout.seats}) == 1
