"""The search on whole problems: jigsaws, known optima, and what no layout may ever do."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import strategies as st

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path, Placement
from nestkit.nesting.overlap import lane, pack_strip, prepare, search
from nestkit.nesting.overlap import packing as packing_module
from nestkit.nesting.overlap.board import Board
from nestkit.nesting.overlap.lane import Lane, Snapshot
from nestkit.nesting.overlap.moves import passes
from nestkit.nesting.overlap.packing import Packing
from nestkit.nesting.overlap.state import Shapes
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing, Status
from nestkit.nesting.stops import AfterRounds, AfterSeconds, AnyOf
from nestkit.nesting.verify import faults
from tests import open_data
from tests.cut_up import cut_across
from tests.examples import few_or_many
from tests.strategies import outlines

ANY = Turns(None)
QUARTERS = Turns(tuple(k * math.pi / 2.0 for k in range(4)))


def rectangle(width: float, height: float) -> Outline:
    return Outline(Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True))


class WhenSeated:
    """Stops when every item has a place, or after some seconds."""

    def __init__(self, seconds: float) -> None:
        self.done = False
        self._stop = AfterSeconds(seconds)

    def progress(self, rounds: int, score: object) -> None:
        self.done = score.left_out == 0  # type: ignore[attr-defined]

    def __call__(self, rounds: int) -> bool:
        return self.done or self._stop(rounds)


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """Compiles every kernel, so that no test's clock counts that."""
    items = [Item(rectangle(3, 2), ANY), Item(rectangle(3, 2), QUARTERS)]
    search(items, [Bin(rectangle(5, 5))], Spacing(), seed=1, stop=AfterRounds(5))
    pack_strip(items[1:] * 2, 5.0, seed=1, stop=AfterRounds(20))


def test_getting_ready_leaves_no_kernel_to_compile(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of the compile time is that of moving copies, by tables and without."""
    with_tables = set()

    def watched(shapes: Shapes, *more: object) -> float:
        with_tables.add(len(shapes.pair_at) > 1)
        return passes(shapes, *more)

    monkeypatch.setattr(lane, "passes", watched)
    prepare()
    assert with_tables == {False, True}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["dighe1", "dighe2"])
def test_jigsaws_come_out_full(name: str) -> None:
    """Dighe and Jakiela 1996: the pieces of a 100 x 100 square."""
    items, width = open_data.strip(name)
    result = pack_strip(items, width, seed=1, stop=AfterSeconds(120.0))
    assert result.status is Status.PROVEN
    assert result.score.end == pytest.approx(100.0, abs=1e-6)


@pytest.mark.parametrize(
    ("pieces", "seed", "curved"), [(5, 2, False), (7, 2, False), (10, 2, False), (5, 1, True), (5, 2, True)]
)
def test_a_sheet_cut_across_comes_together_again(pieces: int, seed: int, curved: bool) -> None:
    """The sheet that was cut up is the optimum: by area there is no smaller one."""
    items = [
        Item(part, Turns((0.0,)), kind=k) for k, part in enumerate(cut_across(seed, pieces, curved=curved))
    ]
    assert sum(item.outline.area for item in items) == pytest.approx(100.0 * 80.0)
    result = pack_strip(items, 80.0, seed=1, stop=AfterRounds(600))
    assert result.status is Status.PROVEN
    assert result.score.end == pytest.approx(100.0, abs=1e-6)
    assert not faults(items, [Bin(rectangle(100, 80))], result.layout, Spacing())


@pytest.mark.slow
@pytest.mark.parametrize(("pieces", "seed", "curved"), [(20, 1, False), (20, 2, False), (12, 1, True)])
def test_a_hard_jigsaw_comes_out_dense(pieces: int, seed: int, curved: bool) -> None:
    """Measured after 150 rounds: 80.4, 80.1 and 79.7 % of the strip; 75 % are asked."""
    items = [
        Item(part, Turns((0.0,)), kind=k) for k, part in enumerate(cut_across(seed, pieces, curved=curved))
    ]
    result = pack_strip(items, 80.0, seed=1, stop=AfterRounds(300))
    assert result.layout.left_out == ()
    assert not faults(items, [Bin(rectangle(result.score.end, 80))], result.layout, Spacing())
    assert 100.0 <= result.score.end + 1e-6 < 100.0 / 0.75


@pytest.mark.slow
def test_five_squares_need_a_turn_of_45_degrees() -> None:
    """Gobel 1979: five unit squares lie in a square of side 2 + 1/sqrt(2), about 2.70711, not less."""
    box = [Bin(rectangle(2.7072, 2.7072))]
    squares = [Item(rectangle(1, 1), ANY) for _ in range(5)]
    stop = WhenSeated(60.0)
    found = search(squares, box, Spacing(), seed=1, stop=stop, progress=stop.progress)
    assert found.layout.left_out == ()
    assert not faults(squares, box, found.layout, Spacing(), tolerance=1e-6)
    square = [Item(rectangle(1, 1), QUARTERS) for _ in range(5)]
    assert len(search(square, box, Spacing(), seed=1, stop=AfterRounds(300)).layout.left_out) == 1


#: Least sides of squares that hold so many unit discs, proven: Szabo et al. 2007, *New Approaches to Circle
#: Packing in a Square*, Springer; the closed forms are common knowledge.
DISCS = {
    2: 2.0 + math.sqrt(2.0),
    3: 2.0 + (math.sqrt(2.0) + math.sqrt(6.0)) / 2.0,
    4: 4.0,
    5: 2.0 + 2.0 * math.sqrt(2.0),
    6: 2.0 + 12.0 / math.sqrt(13.0),
    7: 4.0 + math.sqrt(3.0),
    8: 2.0 + math.sqrt(2.0) + math.sqrt(6.0),
    9: 6.0,
}


@pytest.mark.parametrize("count", DISCS)
def test_discs_fit_a_square_one_percent_over_the_proven_least(count: int) -> None:
    discs = [Item(Outline(Path.circle(0, 0, 10)), Turns((0.0,))) for _ in range(count)]
    box = [Bin(rectangle(10.1 * DISCS[count], 10.1 * DISCS[count]))]
    stop = WhenSeated(60.0)
    found = search(discs, box, Spacing(), seed=1, stop=stop, progress=stop.progress)
    assert found.layout.left_out == ()
    assert not faults(discs, box, found.layout, Spacing())
    small = [Bin(rectangle(9.95 * DISCS[count], 9.95 * DISCS[count]))]
    assert search(discs, small, Spacing(), seed=1, stop=AfterRounds(20)).layout.left_out


def test_squares_1_to_24_never_fill_a_square_of_70() -> None:
    """Their areas add up to 70 x 70, and yet they do not tile it (MathWorld, Square packing)."""
    squares = [Item(rectangle(k, k), Turns((0.0,)), kind=k) for k in range(1, 25)]
    result = search(squares, [Bin(rectangle(70, 70))], Spacing(), seed=1, stop=AfterRounds(100))
    assert result.layout.left_out
    assert result.status is not Status.PROVEN


@few_or_many(
    7,
    12,
    st.lists(outlines(), min_size=2, max_size=5),
    st.integers(1, 3),
    st.floats(0.0, 4.0),
    st.floats(0.0, 6.0),
    st.integers(0, 99),
)
def test_no_layout_breaks_a_rule(shapes, copies, gap, margin, seed) -> None:
    items = [
        Item(shape, (ANY, QUARTERS, Turns((0.0, 0.5)))[(k + seed) % 3], (k + seed) % 2 == 0, k)
        for k, shape in enumerate(shapes)
        for _ in range(copies)
    ]
    offcut = Outline(
        Path.polyline([(0, 0), (260, 0), (260, 90), (150, 110), (140, 200), (0, 180)], True),
        (Path.circle(70.0, 60.0, 18.0),),
    )
    bins = [Bin(offcut), Bin(rectangle(200, 150))]
    spacing = Spacing(gap, margin)
    result = search(items, bins, spacing, seed=seed, stop=AfterRounds(25))
    assert faults(items, bins, result.layout, spacing) == []
    assert len(result.layout.seats) + len(result.layout.left_out) == len(items)
    assert [step.score for step in result.trace] == sorted(
        (step.score for step in result.trace), reverse=True
    )
    if result.trace:
        assert result.trace[-1].score == result.score


def test_a_gap_comes_out_as_asked_between_squares_that_fit_exactly() -> None:
    """Four squares of 49 with a gap of 2 fill a sheet of 100 to the last bit.

    The constructive engine, which begins, takes 0.004 mm of a gap (`forms.SLACK`, twice).
    """
    items = [Item(rectangle(49, 49), Turns((0.0,))) for _ in range(4)]
    bins = [Bin(rectangle(110, 110))]
    spacing = Spacing(gap=2.0, margin=5.0)
    stop = WhenSeated(20.0)
    result = search(items, bins, spacing, seed=1, stop=stop, progress=stop.progress)
    assert result.layout.left_out == ()
    assert not faults(items, bins, result.layout, spacing, tolerance=0.005)


def test_a_part_lies_in_anothers_hole() -> None:
    ring = Outline(Path.circle(0, 0, 50), (Path.circle(0, 0, 40),))
    items = [Item(ring, Turns((0.0,))), Item(rectangle(50, 50), ANY)]
    bins = [Bin(rectangle(101, 101))]
    result = search(items, bins, Spacing(), seed=1, stop=AfterRounds(60))
    assert result.layout.left_out == ()
    assert not faults(items, bins, result.layout, Spacing())


def test_parts_go_to_as_few_bins_as_hold_them() -> None:
    """Four tiles fill a sheet but for a rim; sheets for sixteen are offered to eight."""
    items = [Item(rectangle(50, 30), QUARTERS) for _ in range(8)]
    bins = [Bin(rectangle(104, 64)) for _ in range(4)]
    result = search(items, bins, Spacing(), seed=3, stop=AfterRounds(300))
    assert result.layout.left_out == ()
    assert result.score.bins == 2


def test_fixed_items_stay_and_are_kept_clear() -> None:
    items = [Item(rectangle(40, 40), QUARTERS) for _ in range(5)]
    bins = [Bin(rectangle(130, 90))]
    fixed = Seat(2, 0, Placement(45.0, 25.0, 0.0))
    spacing = Spacing(gap=1.0)
    result = search(items, bins, spacing, seed=1, stop=AfterRounds(60), fixed=[fixed])
    assert fixed in result.layout.seats
    assert not faults(items, bins, result.layout, spacing)


def test_a_sound_start_is_never_made_worse() -> None:
    items = [Item(rectangle(40, 30), QUARTERS) for _ in range(4)]
    bins = [Bin(rectangle(100, 100))]
    spots = [(0, 0), (40, 0), (0, 30), (40, 30)]
    start = Layout(tuple(Seat(k, 0, Placement(float(x), float(y))) for k, (x, y) in enumerate(spots)))
    result = search(items, bins, Spacing(), seed=1, stop=AfterRounds(1), start=start)
    assert result.score.end <= 80.0 + 1e-9
    assert result.layout.left_out == ()


@pytest.mark.parametrize("jobs", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_a_seed_and_rounds_give_one_layout(jobs: int) -> None:
    items = [Item(rectangle(10 + 3 * k, 25 - 2 * k), QUARTERS, kind=k) for k in range(8) for _ in range(2)]
    rounds = 60 if jobs == 1 else 650
    one, two = (pack_strip(items, 60.0, seed=5, stop=AfterRounds(rounds), jobs=jobs) for _ in range(2))
    assert one.layout == two.layout
    assert [(step.round, step.score) for step in one.trace] == [
        (step.round, step.score) for step in two.trace
    ]


def _ran(board: Board, seed: int, rounds: int) -> tuple[Packing, Iterator[None]]:
    packing = Packing(board, seed)
    steps = packing.run()
    for _ in range(rounds):
        next(steps)
    return packing, steps


def _lanes_begun(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, ...]]:
    """Filled with the items of each lane that is begun from now on."""
    begun: list[tuple[int, ...]] = []
    lane_of = Packing._lane

    def counted(self: Packing, active: Sequence[int], *more: Any) -> Lane:
        begun.append(tuple(active))
        return lane_of(self, active, *more)

    monkeypatch.setattr(Packing, "_lane", counted)
    return begun


def test_another_lanes_shorter_layout_is_kept_and_the_descent_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    items = [Item(rectangle(10 + 3 * k, 25 - 2 * k), QUARTERS, kind=k) for k in range(8) for _ in range(2)]
    board = Board(items, [Bin(rectangle(400, 60))], Spacing(), (), 0, 1000)
    ahead, _ = _ran(board, 2, 400)
    behind, steps = _ran(board, 1, 12)
    assert ahead.best.score < behind.best.score
    begun = _lanes_begun(monkeypatch)
    behind.take(ahead.best)
    scores = []
    for _ in range(400):
        next(steps)
        scores.append(behind.best.score)
    assert begun == []
    assert scores == sorted(scores, reverse=True)
    assert scores[0] <= ahead.best.score
    assert not faults(board.items, board.bins, behind.best.layout, board.spacing)


def test_another_lanes_layout_with_fewer_bins_is_gone_on_from(monkeypatch: pytest.MonkeyPatch) -> None:
    items = [Item(rectangle(30, 20), QUARTERS) for _ in range(4)]
    board = Board(items, [Bin(rectangle(70, 45))] * 2, Spacing(), (), None, 1000)
    loose = [(0, 0.0, 0.0), (0, 38.0, 0.0), (0, 0.0, 22.0), (0, 38.0, 22.0)]
    spread = [(k % 2, 0.0, 20.0 * (k // 2)) for k in range(4)]

    def started(places: list[tuple[int, float, float]]) -> tuple[Packing, Iterator[None]]:
        start = Layout(tuple(Seat(k, bin, Placement(x, y)) for k, (bin, x, y) in enumerate(places)))
        packing = Packing(board, 1, start)
        steps = packing.run()
        next(steps)
        return packing, steps

    monkeypatch.setattr(Packing, "_empty_last", lambda self, *_: iter(()))
    one, _ = started(loose)
    two, steps = started(spread)
    assert (one.best.score.bins, two.best.score.bins) == (1, 2)
    next(steps)
    begun = _lanes_begun(monkeypatch)
    two.take(one.best)
    next(steps)
    next(steps)
    assert begun == [(0, 1, 2, 3)]
    for _ in range(60):
        next(steps)
    assert two.best.score.bins == 1
    assert two.best.score.end == pytest.approx(60.0)


def test_a_lane_goes_on_from_what_was_sound_when_a_layout_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    items = [Item(rectangle(10 + 3 * k, 25 - 2 * k), QUARTERS, kind=k) for k in range(8) for _ in range(2)]
    board = Board(items, [Bin(rectangle(400, 60))], Spacing(), (), 0, 1000)
    refused: list[Layout] = []

    def strict(items: Sequence[Item], bins: Sequence[Bin], layout: Layout, spacing: Spacing) -> list[str]:
        if refused or board.score_of(layout).end > 105.0:
            return faults(items, bins, layout, spacing)
        refused.append(layout)
        return ["refused once"]

    monkeypatch.setattr(packing_module, "faults", strict)
    starts: list[float] = []
    start_from = Lane.start_from

    def noted(self: Lane, found: Snapshot) -> None:
        starts.append(found.end)
        start_from(self, found)

    monkeypatch.setattr(Lane, "start_from", noted)
    packing, _ = _ran(board, 1, 400)
    assert refused
    assert packing.refused == 1
    # Back to the last one that was sound, which is longer than the one refused, and past that later.
    end = board.score_of(refused[0]).end
    assert len(starts) == 2
    assert end < starts[1] * board.unit < starts[0] * board.unit
    assert packing.best.score.end < starts[1] * board.unit
    assert not faults(board.items, board.bins, packing.best.layout, board.spacing)


def test_what_has_no_room_left_after_another_was_seated_is_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    # 70 % lie; 17 % or 16 % more may, but not both.
    items = [Item(rectangle(wide, 60), Turns((0.0,)), kind=wide) for wide in (35, 35, 17, 16)]
    board = Board(items, [Bin(rectangle(100, 60))], Spacing(), (), None, 1000)
    seats = (Seat(0, 0, Placement(0, 0)), Seat(1, 0, Placement(35, 0)))
    packing = Packing(board, 1, Layout(seats, (2, 3)))
    begun = _lanes_begun(monkeypatch)
    steps = packing.run()
    for _ in range(200):
        next(steps)
    assert packing.best.layout.left_out == (3,)
    assert (0, 1, 2) in begun
    assert all(len(active) < 4 for active in begun)


def test_it_stops_and_gives_up_within_half_a_second() -> None:
    chance = np.random.default_rng(3)
    items = [Item(rectangle(*chance.uniform(20, 90, 2)), ANY, kind=k) for k in range(60)]
    bins = [Bin(rectangle(600, 400)) for _ in range(3)]
    began = time.monotonic()
    asked = search(
        items, bins, Spacing(2.0, 5.0), seed=1, stop=AfterSeconds(60.0),
        asked_to_stop=lambda: time.monotonic() - began > 2.0,
    )  # fmt: skip
    assert time.monotonic() - began < 2.5
    assert asked.status is Status.STOPPED
    began = time.monotonic()
    timed = search(items, bins, Spacing(2.0, 5.0), seed=1, stop=AnyOf(AfterSeconds(1.5)))
    assert time.monotonic() - began < 2.0
    assert timed.status is Status.TIME
    # In rounds, not seconds: how much lies by then must not hang on the machine.
    assert search(items, bins, Spacing(2.0, 5.0), seed=1, stop=AfterRounds(5)).layout.left_out == ()


def test_nothing_to_do_is_no_error() -> None:
    empty = search([], [Bin(rectangle(10, 10))], Spacing(), seed=1, stop=AfterRounds(2))
    assert empty.layout == Layout(())
    none = search([Item(rectangle(1, 1))], [], Spacing(), seed=1, stop=AfterRounds(2))
    assert none.layout.left_out == (0,)
    large = search(
        [Item(rectangle(50, 50))], [Bin(rectangle(10, 10))], Spacing(), seed=1, stop=AfterRounds(3)
    )
    assert large.layout.left_out == (0,)
