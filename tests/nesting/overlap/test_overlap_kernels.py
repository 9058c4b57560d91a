"""The kernels against their slow twins, with the compiler on and off."""

from __future__ import annotations

import math
import os
import subprocess
import sys

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numba import njit
from shapely.geometry import Polygon

from nestkit.nesting.overlap import depth, moves, state
from nestkit.nesting.overlap.board import Board
from nestkit.nesting.overlap.construct import park
from nestkit.nesting.overlap.cover import choose, convex_cover, looks, spots_in
from nestkit.nesting.overlap.dice import dice, roll
from nestkit.nesting.overlap.frame import Stencil, build_shapes, build_state
from nestkit.nesting.problem import Bin, Spacing
from tests import naive, open_data
from tests.strategies import star_points
from tests.zoo import rectangle

QUARTERS = tuple(k * math.pi / 2.0 for k in range(4))
EXAMPLES = 5 if os.environ.get("NUMBA_DISABLE_JIT") else 40


@njit
def table_depth(shapes, a, b, dx, dy):
    return depth.table_depth(shapes, a, b, dx, dy)


@njit
def weigh(shapes, now, i, bound):
    state.take_shape(shapes, now, now.kind[i], now.shape[i], now.at[i, 2])
    return moves.weigh(shapes, now, i, now.shape[i], now.at[i, 0], now.at[i, 1], bound)


@njit
def pair_depth(shapes, now, i, j):
    dx, dy = now.at[i, 0] - now.at[j, 0], now.at[i, 1] - now.at[j, 1]
    return depth.pair_depth(shapes, now, i, now.shape[i], j, dx, dy)


@njit
def near(now, i):
    return state.near(now, i, now.box[i, 0], now.box[i, 1], now.box[i, 2], now.box[i, 3])


@njit
def move(shapes, now, i):
    return moves.move(shapes, now, i, 20, 10, np.empty((moves.KEPT + 1, 6)))


def _stencil(points: np.ndarray, turns: tuple[float, ...] | None) -> Stencil:
    polygon = Polygon(points / 40.0)
    assume(polygon.is_valid and polygon.area > 0.05)
    return Stencil(tuple(convex_cover(polygon)), turns, polygon.area)


def _crowd(stencils: list[Stencil], copies: int, seed: int, tables: bool):
    """Copies thrown at random into two bins."""
    shapes, turns = build_shapes(stencils, tables=tables, merge=0)
    kinds = [k % len(stencils) for k in range(copies)]
    bins = np.array([[0.0, 0.0, 6.0, 5.0], [20.0, 0.0, 24.0, 9.0]])
    now = build_state(shapes, kinds, [stencils[k].area for k in kinds], bins, dice(seed))
    chance = np.random.default_rng(seed)
    for i, kind in enumerate(kinds):
        first, end = shapes.turn_at[kind], shapes.turn_at[kind + 1]
        now.shape[i] = chance.integers(first, end)
        now.room[i] = chance.integers(2)
        x0, y0, x1, y1 = bins[now.room[i]]
        now.at[i] = chance.uniform(x0, x1), chance.uniform(y0, y1), 0.0
        if stencils[kind].turns is None:
            now.at[i, 2] = chance.uniform(0.0, math.tau)
    moves.refresh(shapes, now)
    return shapes, now, turns


def _lying(stencils, shapes, now, turns, i) -> list[np.ndarray]:
    """Pieces of copy i in the frame."""
    turn = turns[now.shape[i]] + now.at[i, 2]
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    return [piece @ matrix.T + now.at[i, :2] for piece in stencils[now.kind[i]].pieces]


@given(star_points(), st.booleans())
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_cover_is_the_polygon_and_its_pieces_are_convex(points: np.ndarray, hole: bool) -> None:
    polygon = Polygon(points, [shapely.Point(0, 0).buffer(1.5, 3).exterior.coords] if hole else [])
    assume(polygon.is_valid and polygon.area > 1.0)
    pieces = [Polygon(piece) for piece in convex_cover(polygon)]
    # Spots, not overlays: GEOS now and then gets those of nearly coincident corners wrong.
    x0, y0, x1, y1 = polygon.bounds
    spots = shapely.points(np.random.default_rng(1).uniform((x0, y0), (x1, y1), (3000, 2)))
    covered = np.any([shapely.intersects(piece.buffer(1e-9), spots) for piece in pieces], axis=0)
    assert covered[shapely.contains(polygon, spots)].all()
    assert not covered[shapely.distance(polygon, spots) > 1e-6].any()
    for piece in pieces:
        assert piece.area == pytest.approx(piece.convex_hull.area, rel=1e-9)


def test_an_l_is_covered_by_its_two_bars() -> None:
    outline = Polygon([(0, 0), (120, 0), (120, 40), (40, 40), (40, 100), (0, 100)])
    assert sorted(Polygon(p).area for p in convex_cover(outline)) == pytest.approx([4000.0, 4800.0])


@given(st.integers(0, 10_000), st.integers(1, 9), st.integers(1, 40))
@settings(max_examples=EXAMPLES, deadline=None)
def test_pieces_of_a_cover_are_chosen_like_the_slow_twin_does(seed: int, count: int, spots: int) -> None:
    chance = np.random.default_rng(seed)
    inside = chance.random((count, spots)) < chance.random()
    # Whole numbers, so that no rounding decides between two pieces.
    weights = chance.integers(1, 6, spots).astype(float)
    least = float(chance.integers(0, 4))
    assert list(choose(inside, weights, least)) == naive.greedy_choice(inside, weights, least)


@given(st.lists(star_points(), min_size=1, max_size=4), st.integers(0, 1000))
@settings(max_examples=EXAMPLES, deadline=None)
def test_spots_lie_in_the_pieces_that_shapely_says(rings: list[np.ndarray], seed: int) -> None:
    hulls = [shapely.orient_polygons(Polygon(ring).convex_hull) for ring in rings]
    assume(all(isinstance(hull, Polygon) and hull.area > 1.0 for hull in hulls))
    corners = [shapely.get_coordinates(hull)[:-1] for hull in hulls]
    spots = np.random.default_rng(seed).uniform(-60.0, 60.0, (80, 2))
    clear = [shapely.distance(hull.exterior, shapely.points(spots)) > 1e-9 for hull in hulls]
    inside = spots_in(np.concatenate(corners), np.cumsum([0, *map(len, corners)]), spots)
    for row, hull, sure in zip(inside, hulls, clear, strict=True):
        assert (row == shapely.contains(hull, shapely.points(spots)))[sure].all()
    for ring, hull in zip(corners, hulls, strict=True):
        assert looks(ring) == pytest.approx((*hull.bounds, math.sqrt(hull.area)))


@given(star_points(), star_points(), st.integers(0, 1000))
@settings(max_examples=EXAMPLES, deadline=None)
def test_depths_are_those_of_the_slow_twin_by_vertices_and_by_tables(one, other, seed) -> None:
    stencils = [_stencil(one, QUARTERS), _stencil(other, QUARTERS)]
    by_tables, now, turns = _crowd(stencils, 6, seed, tables=True)
    by_vertices, same, _ = _crowd(stencils, 6, seed, tables=False)
    assert len(by_tables.pair_at) > 1 == len(by_vertices.pair_at)
    for i in range(6):
        for j in range(6):
            if i == j:
                continue
            slow = naive.cover_depths(
                _lying(stencils, by_tables, now, turns, i), _lying(stencils, by_tables, now, turns, j)
            )
            assert same.depth[i, j] == pytest.approx(max(slow), abs=1e-9)
            # In tables all sets count in which they lie; those within another are left out.
            assert (now.depth[i, j] > 1e-9) == (max(slow) > 1e-9)
            assert max(slow) - 1e-9 <= now.depth[i, j] <= math.hypot(*slow) + 1e-9


@given(star_points(), star_points(), st.integers(0, 1000))
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_way_out_of_a_turned_shape_parts_the_two_deepest_pieces(one, other, seed) -> None:
    stencils = [_stencil(one, None), _stencil(other, None)]
    shapes, now, turns = _crowd(stencils, 8, seed, tables=False)
    for i in range(8):
        for j in range(8):
            if i == j:
                continue
            first, second = _lying(stencils, shapes, now, turns, i), _lying(stencils, shapes, now, turns, j)
            slow = naive.cover_depths(first, second)
            value, gx, gy = pair_depth(shapes, now, i, j)
            assert value == pytest.approx(max(slow), abs=1e-9)
            assert now.depth[i, j] == pytest.approx(value, abs=1e-9)
            if value < 1e-6:
                continue
            assert math.hypot(gx, gy) == pytest.approx(1.0)
            apart = naive.cover_depths([piece - value * np.array([gx, gy]) for piece in first], second)
            # Where several pairs are as deep it may be any of them.
            assert min(apart[k] for k in np.flatnonzero(np.array(slow) > value - 1e-9)) <= 1e-9


@given(star_points(), star_points(), st.floats(-2.5, 2.5), st.floats(-2.5, 2.5))
@settings(max_examples=EXAMPLES, deadline=None)
def test_merged_tables_overlap_where_the_outlines_do(one, other, dx, dy) -> None:
    stencils = [_stencil(one, (0.0,)), _stencil(other, (0.0,))]
    shapes, _ = build_shapes(stencils, merge=10_000)
    value, _, _ = table_depth(shapes, 0, 1, dx, dy)
    back, _, _ = table_depth(shapes, 1, 0, -dx, -dy)
    assert value == pytest.approx(back, abs=1e-9)
    first = Polygon(one / 40.0)
    shared = shapely.affinity.translate(first, dx, dy).intersection(Polygon(other / 40.0)).area
    if value == 0.0:
        assert shared <= 1e-9
    if shared <= 1e-14:
        assert value <= 1e-6


@pytest.mark.parametrize("name", ["albano", "marques", "shapes1"])
def test_merged_tables_of_open_data_miss_nothing(name: str) -> None:
    # In albano GEOS lost up to a twentieth of the union of six pairs, where edges nearly coincide.
    items, width = open_data.strip(name)
    board = Board(items, [Bin(rectangle(50 * width, width))], Spacing(), (), 0, 12_000)
    apart, _ = build_shapes(board.stencils, merge=0)
    chance = np.random.default_rng(1)
    for pair in range(len(apart.box) ** 2):
        boxes = apart.poly_box[apart.pair_at[pair] : apart.pair_at[pair + 1]]
        for dx, dy in chance.uniform(boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0), (60, 2)):
            one, other = (max(naive.table_depths(some, pair, dx, dy)) for some in (apart, board.shapes))
            assert (one > 1e-6) <= (other > 0.0)
            assert (other > 1e-6) <= (one > 0.0)


@given(star_points(), star_points(), st.integers(0, 1000))
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_deepest_set_of_merged_tables_is_about_how_far_one_must_move(one, other, seed) -> None:
    stencils = [_stencil(one, (0.0,)), _stencil(other, (0.0,))]
    shapes, _ = build_shapes(stencils, merge=10_000)
    # All displacements with overlap, by shapely: their outline is as far as one must move (Minkowski; any
    # textbook of collision detection, from memory).
    apart = [
        [b - a for a in first for b in second]
        for first in stencils[0].pieces
        for second in stencils[1].pieces
    ]
    # On a grid: see `pairs._merged`.
    overlapping = shapely.union_all(
        [shapely.MultiPoint(spots).convex_hull for spots in apart], grid_size=1e-12
    )
    x0, y0, x1, y1 = overlapping.bounds
    deepest, ways = [], []
    for dx, dy in np.random.default_rng(seed).uniform((x0, y0), (x1, y1), (60, 2)):
        inside = overlapping.contains(shapely.Point(dx, dy))
        deepest.append(max(naive.table_depths(shapes, 1, dx, dy)))
        ways.append(overlapping.boundary.distance(shapely.Point(dx, dy)) if inside else 0.0)
        assert deepest[-1] <= ways[-1] + 1e-6
    # Less only where sets cross: in the middle of a plus it is the root of a half of the way.
    assert sum(deepest) >= 0.7 * sum(ways)


@given(star_points(), star_points(), st.integers(0, 1000))
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_gradient_in_tables_is_the_slope_to_both_sides(one, other, seed) -> None:
    stencils = [_stencil(one, (0.0,)), _stencil(other, (0.0,))]
    shapes, _ = build_shapes(stencils, merge=10_000)
    x0, y0, x1, y1 = shapes.box[0] - shapes.box[1][[2, 3, 0, 1]]
    step = 1e-6
    for dx, dy in np.random.default_rng(seed).uniform((-x1, -y1), (-x0, -y0), (40, 2)):
        value, *gradient = table_depth(shapes, 0, 1, dx, dy)
        if value < 1e-2:
            continue
        for slope, ex, ey in zip(gradient, (step, 0.0), (0.0, step), strict=True):
            ahead, _, _ = table_depth(shapes, 0, 1, dx + ex, dy + ey)
            behind, _, _ = table_depth(shapes, 0, 1, dx - ex, dy - ey)
            sides = (ahead - value) / step, (value - behind) / step
            # Where the nearest edge changes within the step the slopes differ, and one of them is told.
            if sides[0] == pytest.approx(sides[1], abs=1e-3):
                assert slope == pytest.approx(sides[0], abs=1e-2)


@given(star_points(), star_points(), st.integers(0, 1000), st.booleans())
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_cell_leaves_out_no_half_plane_that_matters(one, other, seed, merged) -> None:
    stencils = [_stencil(one, QUARTERS), _stencil(other, (0.0, 0.7))]
    shapes, _ = build_shapes(stencils, merge=10_000 if merged else 0)
    chance = np.random.default_rng(seed)
    count = len(shapes.box)
    for pair in range(count * count):
        x0, y0, across, up, along = shapes.grid[pair]
        wide, tall = along / across, along / up
        places = [(x0 + u * wide, y0 + v * tall) for u, v in chance.uniform(-0.1, 1.1, (6, 2))]
        # The edges of cells too, where rounding might take the wrong one.
        places += [(x0 + k / across, y0 + m / up) for k, m in chance.integers(0, int(along) + 1, (6, 2))]
        for dx, dy in places:
            value, _, _ = table_depth(shapes, pair // count, pair % count, dx, dy)
            slow = naive.table_depth(shapes, pair, dx, dy)
            # At the outer edge of a grid rounding decides on which side of it a place lies.
            assert value == slow or max(value, slow) < 1e-15


@given(star_points(), star_points(), st.integers(0, 3), st.booleans())
@settings(max_examples=EXAMPLES, deadline=None)
def test_boxes_in_the_tables_are_those_of_all_crossings(one, other, quarter, merged) -> None:
    stencils = [_stencil(one, QUARTERS), _stencil(other, (0.0, 0.7))]
    shapes, _ = build_shapes(stencils, merge=10_000 if merged else 0)
    pair = quarter * len(shapes.box) + len(shapes.box) - 1
    for q in range(shapes.pair_at[pair], shapes.pair_at[pair + 1]):
        rows = shapes.planes[shapes.poly_at[q] : shapes.poly_at[q + 1]]
        assert shapes.poly_box[q] == pytest.approx(naive.bounds_of_half_planes(rows), abs=1e-5)


def test_shapes_that_never_move_have_no_table_for_each_other() -> None:
    square = np.array([(0, 0), (40, 0), (40, 40), (0, 40)])
    stencils = [Stencil((square / 40.0,), (0.0,), 1.0) for _ in range(3)]
    shapes, _ = build_shapes(stencils, fixed=2)
    many = np.diff(shapes.pair_at).reshape(3, 3)
    assert many.tolist() == [[1, 1, 1], [1, 0, 0], [1, 0, 0]]


def test_the_gradient_points_the_way_the_depth_grows() -> None:
    stencils = [_stencil(np.array([(0, 0), (40, 0), (40, 40), (0, 40)]), (0.0,))]
    shapes, _ = build_shapes(stencils)
    value, gx, gy = table_depth(shapes, 0, 0, 0.75, 0.1)
    assert (value, gx, gy) == (pytest.approx(0.25), -1.0, 0.0)


@given(star_points(), star_points(), st.integers(0, 1000), st.booleans())
@settings(max_examples=EXAMPLES, deadline=None)
def test_neighbours_weights_and_moves_agree_with_recounting(one, other, seed, free) -> None:
    stencils = [_stencil(one, None if free else QUARTERS), _stencil(other, QUARTERS)]
    copies = 12 if os.environ.get("NUMBA_DISABLE_JIT") else 90
    shapes, now, _ = _crowd(stencils, copies, seed, tables=True)
    now.weight[:] = np.random.default_rng(seed).uniform(1.0, 2.0, now.weight.shape)
    now.weight[:] = now.weight + now.weight.T
    for i in range(0, copies, 5):
        found = near(now, i)
        assert len(set(now.found[:found])) == found
        assert set(now.found[:found].tolist()) == naive.boxes_near(now.box[:-1], now.box[i], i)
        total, _, _ = weigh(shapes, now, i, math.inf)
        assert total == pytest.approx(float((now.weight[i] * now.depth[i]).sum()), abs=1e-9)
        for bound in (0.25 * total, 0.75 * total, 1.25 * total):
            # What is worth giving up is given up, and nothing else is.
            value, _, _ = weigh(shapes, now, i, bound)
            assert value == total if total < bound else value >= bound
        before = total
        moved = move(shapes, now, i)
        after, _, _ = weigh(shapes, now, i, math.inf)
        assert (after < before) if moved else after == pytest.approx(before, abs=1e-9)
    kept_depth, kept_load = now.depth.copy(), now.load.copy()
    moves.refresh(shapes, now)
    assert now.depth == pytest.approx(kept_depth, abs=1e-9)
    assert now.load == pytest.approx(kept_load, abs=1e-9)
    inside = now.bins[now.room]
    assert (now.box[:-1, :2] >= inside[:, :2] - 1e-9).all()
    assert (now.box[:-1, 2:] <= inside[:, 2:] + 1e-9).all()


def test_a_parked_copy_meets_nothing() -> None:
    stencils = [_stencil(np.array([(0, 0), (40, 0), (40, 40), (0, 40)]), (0.0,))]
    _, now, _ = _crowd(stencils, 8, 1, tables=True)
    park(now, 3)
    assert now.depth[3].sum() == 0.0
    assert now.load == pytest.approx(now.depth.sum(axis=1), abs=1e-12)
    for i in range(8):
        found = near(now, i)
        assert 3 not in now.found[:found]


def test_dice_are_uniform_and_repeat() -> None:
    first, again = dice(7), dice(7)
    numbers = np.array([roll(first) for _ in range(2000)])
    assert numbers.tolist() == [roll(again) for _ in range(2000)]
    assert ((numbers > 0.0) & (numbers < 1.0)).all()
    # Mean and variance of the uniform distribution, within four standard errors.
    assert abs(numbers.mean() - 0.5) < 4.0 / math.sqrt(12.0 * 2000)
    assert abs(numbers.var() - 1.0 / 12.0) < 4.0 * math.sqrt(1.0 / 180.0 / 2000)


@pytest.mark.slow
@pytest.mark.skipif(bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="runs itself without the compiler")
def test_all_of_this_holds_without_the_compiler() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", __file__],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-3000:]
