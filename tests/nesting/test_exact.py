"""Groups of rectangles are solved exactly, and sheets that were cut up hold their parts again."""

from __future__ import annotations

import math

import pytest

from nestkit.build.model import Part, Sheet, Turns
from nestkit.geometry import Outline, Placement, Shape
from nestkit.nesting.choosing import worth_of
from nestkit.nesting.course import Course
from nestkit.nesting.exact import is_always_upright, on_exact_sheets, ways_of
from nestkit.nesting.group import plan_group
from nestkit.nesting.problem import Item, Layout, Spacing
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import GroupRequest
from nestkit.nesting.stops import AfterRounds
from nestkit.nesting.supply import offers, supply
from nestkit.nesting.verify import faults
from tests.cut_up import cut_up
from tests.nesting.test_rectangles import SQUARED
from tests.zoo import L_SHAPE, frame, rectangle, rounded

NONE = Turns((0.0,))
QUARTER = Turns((0.0, math.pi / 2, math.pi, 3 * math.pi / 2))


def part(number, outline, turns=NONE) -> Part:
    return Part(f"p{number}", Shape(outline), "eva", 6.0, turns=turns)


def sheet(width, height, price=1.0, in_shop=0, buy=True) -> Sheet:
    return Sheet(f"eva 6 mm {width} x {height}", "eva", 6.0, (width, height), price, in_shop, buy)


def planned(outlines, sheets, turns=NONE, gap=0.0, margin=0.0, rounds=8, tighten=60, bed=None):
    parts = [part(n, outline, turns) for n, outline in enumerate(outlines)]
    request = GroupRequest("eva", 6.0, parts, sheets, "laser", bed, Spacing(gap, margin))
    return plan_group(request, Course(seed=1, stop=AfterRounds(rounds), tighten=AfterRounds(tighten)))


# --- which items are rectangles -------------------------------------------------------------------


def test_ways_of_rectangles():
    def sizes(outline, turns=QUARTER):
        return [(round(way.width, 6), round(way.height, 6)) for way in ways_of(Item(outline, turns))]

    assert sizes(rectangle(40, 20)) == [(40, 20), (20, 40)]
    assert sizes(rectangle(40, 20), Turns((0.0, math.pi))) == [(40, 20)]
    assert sizes(rectangle(20, 20)) == [(20, 20)]
    slanted = rectangle(40, 20).transformed(Placement(turn=0.3).matrix)
    assert sizes(slanted, NONE) == []
    assert set(sizes(slanted, Turns())) == {(40, 20), (20, 40)}
    for other in (Outline(L_SHAPE), frame(100, 20), Outline(rounded(40, 20, 2))):
        assert sizes(other) == []


def test_only_what_never_lies_aslant_allows_a_proof():
    assert is_always_upright(Item(rectangle(40, 20), QUARTER))
    assert not is_always_upright(Item(rectangle(40, 20), Turns()))
    assert not is_always_upright(Item(rectangle(40, 20), Turns((0.0, 0.3))))


# --- known optima ---------------------------------------------------------------------------------


@pytest.mark.parametrize("in_shop", [0, 1])
def test_the_squared_square_on_one_sheet(in_shop):
    """Duijvestijn 1978, see test_rectangles."""
    squares = [rectangle(side, side) for side in SQUARED]
    plan = planned(squares, [sheet(112, 112, in_shop=in_shop, buy=not in_shop)])
    assert (plan.group.sheets_used, plan.group.sheets_at_least, plan.group.proven) == (1, 1, True)
    assert plan.group.waste == pytest.approx(0.0, abs=1e-9)
    assert plan.unplaced == ()


def test_the_squared_square_on_sheets_that_are_a_little_smaller():
    group = planned([rectangle(side, side) for side in SQUARED], [sheet(111, 112)]).group
    assert (group.sheets_used, group.sheets_at_least, group.proven) == (2, 2, True)
    assert group.proven_by == "area"


@pytest.mark.slow
def test_24_squares_do_not_fit_where_their_area_does():
    """MathWorld: 1 to 24 squared add up to 70 squared, but do not tile it."""
    group = planned([rectangle(side, side) for side in range(1, 25)], [sheet(70, 70)], tighten=5).group
    assert group.sheets_used == 2
    assert group.sheets_at_least <= 2


def test_fewer_sheets_are_ruled_out_where_no_bound_does():
    """Three of 60 x 40 leave room for 40 x 60 in 100 x 100, not for 42 x 42."""
    some = [rectangle(60, 40)] * 3 + [rectangle(42, 42)]
    group = planned(some, [sheet(100, 100)], turns=QUARTER).group
    assert (group.sheets_used, group.sheets_at_least, group.proven) == (2, 2, True)
    assert group.proven_by == "rectangles"


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("sheets", "pieces", "gap"), [(1, 8, 0.0), (1, 12, 2.0), (2, 6, 1.5)])
def test_sheets_cut_up_are_enough(seed, sheets, pieces, gap):
    cut = cut_up(seed, sheets, pieces, gap, margin=3.0)
    group = planned(cut.parts, [sheet(*cut.size)], gap=gap, margin=3.0).group
    assert (group.sheets_used, group.sheets_at_least, group.proven) == (sheets, sheets, True)


@pytest.mark.parametrize(("seed", "turns"), [(0, NONE), (1, NONE), (2, QUARTER), (3, QUARTER), (4, Turns())])
def test_no_plan_is_below_the_optimum_and_no_bound_above_it(seed, turns):
    cut = cut_up(seed, 2, 5, slanted=True)
    plan = planned(cut.parts, [sheet(*cut.size, in_shop=1)], turns=turns, tighten=4)
    assert plan.unplaced == ()
    assert plan.group.sheets_at_least <= cut.sheets <= plan.group.sheets_used


# --- the stage by itself --------------------------------------------------------------------------


def exactly(items, sheets, spacing=None, bed=None, over=lambda: False):
    """From nothing: the layout, what it is worth, and the prover that was told."""
    spacing = spacing or Spacing()
    row = supply(sheets, bed, len(items), first=next((s for s in sheets if s.buy), None))
    prover = Prover(items, offers(sheets, bed), spacing)
    nothing = Layout((), tuple(range(len(items))))
    layout = on_exact_sheets(items, row, nothing, spacing, prover, seed=1, is_over=over)
    assert faults(items, row.bins, layout, spacing) == []
    return layout, worth_of(row, layout), prover


def test_the_cheapest_sheets_of_several_kinds():
    items = [Item(rectangle(50, 50), QUARTER)] * 9
    _, worth, _ = exactly(items, [sheet(100, 100, 2.0), sheet(200, 100, 3.0)])
    assert (worth.money, worth.sheets) == (5.0, 2)


def test_blanks_of_a_sheet_hold_what_lies_on_the_bed():
    items = [Item(rectangle(58, 58), NONE)] * 4
    layout, worth, _ = exactly(items, [sheet(120, 60)], bed=(60, 60))
    assert worth.sheets == 2
    assert len({seat.bin for seat in layout.seats}) == 4


def test_blanks_prove_nothing_about_whole_sheets():
    """They fit the whole sheet, not its blanks: nothing may be ruled out by that."""
    items = [Item(rectangle(59, 29), NONE)] * 4 + [Item(rectangle(2, 59), NONE)]
    _, worth, prover = exactly(items, [sheet(120, 60)], bed=(60, 60))
    assert worth.sheets == 2
    assert prover.ruled_out == []


def test_what_may_lie_aslant_is_laid_but_nothing_is_ruled_out():
    some = [rectangle(60, 40)] * 3 + [rectangle(42, 42)]
    for turns, ruled_out in ((QUARTER, [(1,)]), (Turns(), [])):
        _, worth, prover = exactly([Item(outline, turns) for outline in some], [sheet(100, 100)])
        assert worth.sheets == 2
        assert prover.ruled_out == ruled_out


def test_other_outlines_are_left_to_the_other_engines():
    layout, _, prover = exactly([Item(Outline(L_SHAPE), NONE)] * 2, [sheet(200, 200)])
    assert layout.seats == ()
    assert prover.ruled_out == []


def test_it_ends_when_it_is_over():
    layout, _, _ = exactly([Item(rectangle(50, 50), NONE)], [sheet(100, 100)], over=lambda: True)
    assert layout.seats == ()
