"""How the overlap engine's cost grows with the number of copies and the points of an outline.

    python benchmarks/growth.py [--copies 25,50,100,250,500,1000] [--points 10,30,100,300]
                                [--seconds S] [--seed N] [--turns quarter|any]

Made-up curved plates of up to eight kinds. Every number of copies is run with outlines of 30 points, every
number of points with 100 copies, and last the most of both; each case in a process of its own. Prints a
Markdown table.

Moves are counted while overlaps are being taken out: all copies are thrown anywhere on one square sheet that
they would fill to 80 %, and passes of the search are made for S seconds of processor time. The first full
layout is that of `nestkit.nesting.overlap.search` on sheets of 1200 x 600 mm, twice the parts' area, with a
gap of 2 mm and a margin of 5 mm; it counts from the call, making covers and tables included.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import resource
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path as FilePath

import numpy as np

sys.path.insert(0, str(FilePath(__file__).parents[1]))

from benchmarks.foam_parts import ANY, QUARTERS, curved, sheet
from nestkit.nesting.overlap import prepare, search
from nestkit.nesting.overlap.board import Board
from nestkit.nesting.overlap.dice import dice
from nestkit.nesting.overlap.engine import SHEET_MERGE
from nestkit.nesting.overlap.lane import CLEAN, Lane, Settings, Snapshot
from nestkit.nesting.overlap.moves import NOTHING, passes
from nestkit.nesting.overlap.result import Score
from nestkit.nesting.problem import Item, Spacing

SPACING = Spacing(gap=2.0, margin=5.0)
#: Share of the one sheet that the thrown copies would fill.
FILL = 0.8
#: What the copies vary with, and the other way round.
USUAL_POINTS, USUAL_COPIES = 30, 100
#: Processor seconds after which the first full layout is given up.
LAYOUT_LIMIT = 120.0


@dataclass(frozen=True, slots=True)
class Case:
    """What one process measures."""

    copies: int
    points: int
    any_turn: bool
    seconds: float
    seed: int


@dataclass(frozen=True, slots=True)
class Row:
    """Moves and evaluations a second; processor seconds to a full layout, or inf; most MB, and MB before."""

    moves: float
    looks: float
    first_layout: float
    megabytes: float
    at_rest: float


class UntilFull:
    """Stops when every item has a place, or when the processor's time is up."""

    def __init__(self, seconds: float) -> None:
        self.full = False
        self.ends = time.process_time() + seconds

    def progress(self, rounds: int, score: Score) -> None:
        """Looks at the best score."""
        self.full = score.left_out == 0

    def __call__(self, rounds: int) -> bool:
        return self.full or time.process_time() > self.ends


def megabytes() -> float:
    """The most memory that this process has held, MB (Linux counts in kilobytes)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def thrown(items: list[Item], seed: int) -> Lane:
    """A lane whose copies lie anywhere on one square sheet, over each other."""
    side = math.sqrt(sum(item.outline.area for item in items) / FILL)
    board = Board(items, [sheet(side, side)], SPACING, merge=SHEET_MERGE)
    chance = dice(seed)
    active = board.loose()
    state = board.state(active, 1, chance)
    lane = Lane(board.shapes, state, 0, int(board.axes[0]), chance, Settings())
    throw_again(lane)
    return lane


def throw_again(lane: Lane) -> None:
    """Throws all copies of a lane anywhere."""
    count = lane.movable
    places = lane.snapshot(lane.full)
    lane.throw(
        Snapshot(places.at, places.shape, places.room, lane.full), lane.full, np.ones(count, dtype=np.bool_)
    )
    lane.state.weight[:] = lane.state.base


def moves_in(lane: Lane, seconds: float) -> tuple[float, float]:
    """Moves and evaluations for each second of the processor, pass after pass."""
    rules, count = lane.settings, lane.movable
    sets = np.array([rules.wide, rules.close], dtype=np.int64)
    moves, spent = 0, 0.0
    lane.state.counts[2] = 0
    while spent < seconds:
        best, ints = np.full((count + 1, 4), np.inf), np.zeros(count + 2, dtype=np.int64)
        loss = math.inf
        while spent < seconds and loss > CLEAN and ints[count] < rules.patience:
            moves += int((lane.state.load[:count] > NOTHING).sum())
            began = time.process_time()
            loss = passes(lane.shapes, lane.state, 1, rules.patience, CLEAN, best, ints, sets)
            spent += time.process_time() - began
        throw_again(lane)
    return moves / spent, float(lane.state.counts[2]) / spent


def measured(case: Case) -> Row:
    """Measures one case; it's meant for a process of its own."""
    turns = ANY if case.any_turn else QUARTERS
    prepare()
    moves_in(thrown(curved(4, 10, 1, turns), 1), 0.01)
    at_rest = megabytes()
    items = curved(case.copies, case.points, case.seed, turns)
    moves, looks = moves_in(thrown(items, case.seed), case.seconds)
    supply = 1 + math.ceil(2.0 * sum(item.outline.area for item in items) / (1200.0 * 600.0))
    bins = [sheet(1200.0, 600.0)] * supply
    # Of the covers of the moves' board none may be at hand.
    items = curved(case.copies, case.points, case.seed + 1000, turns)
    stop = UntilFull(LAYOUT_LIMIT)
    began = time.process_time()
    search(items, bins, SPACING, seed=case.seed, stop=stop, progress=stop.progress)
    first = time.process_time() - began if stop.full else math.inf
    return Row(moves, looks, first, megabytes(), at_rest)


def cases(copies: list[int], points: list[int], any_turn: bool, seconds: float, seed: int) -> Iterator[Case]:
    """The cases in the table's order, none twice."""
    pairs = [(n, USUAL_POINTS) for n in copies] + [(USUAL_COPIES, p) for p in points]
    for n, p in dict.fromkeys([*pairs, (max(copies), max(points))]):
        yield Case(n, p, any_turn, seconds, seed)


def main() -> int:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--copies", default="25,50,100,250,500,1000")
    parser.add_argument("--points", default="10,30,100,300")
    parser.add_argument("--seconds", type=float, default=5.0, help="of moves, for each case")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--turns", choices=("quarter", "any"), default="quarter")
    options = parser.parse_args()
    copies, points = ([int(word) for word in text.split(",")] for text in (options.copies, options.points))
    heads = ("copies", "points", "turns", "moves/s", "us a move", "evaluations/s", "first full layout s")
    print(f"| {' | '.join((*heads, 'most MB', 'before MB'))} |")
    print("|---|---|---|---|---|---|---|---|---|")
    context = multiprocessing.get_context("spawn")
    for case in cases(copies, points, options.turns == "any", options.seconds, options.seed):
        with context.Pool(1) as pool:
            row = pool.apply(measured, (case,))
        first = f"{row.first_layout:.1f}" if row.first_layout < math.inf else f"over {LAYOUT_LIMIT:.0f}"
        print(
            f"| {case.copies} | {case.points} | {options.turns} | {row.moves:,.0f} | {1e6 / row.moves:.0f} "
            f"| {row.looks:,.0f} | {first} | {row.megabytes:.0f} | {row.at_rest:.0f} |",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
