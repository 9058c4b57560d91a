"""Real jobs: foam parts on sheets and on an irregular offcut, both engines, quarter turns and any turn.

    python benchmarks/build.py [--seconds S] [--seeds 1,2] [--jobs J] [--only sheets40,offcut]
                               [--turns quarter,any] [--json FILE]

The parts are made up (`foam_parts.py`): gap 2 mm, margin 5 mm, sheets of 1200 x 600 mm. "Sheets" counts the
full ones and how far the last is used along its longer side; on the offcut, offered more than it holds, the
share of its area that became parts counts. Each engine has the same processor time.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path as FilePath

sys.path.insert(0, str(FilePath(__file__).parents[1]))

from benchmarks.foam_parts import ANY, QUARTERS, job, offcut, sheet
from nestkit.nesting import overlap
from nestkit.nesting import search as first_engine
from nestkit.nesting.problem import Bin, Item, Layout, Spacing
from nestkit.nesting.verify import faults

SPACING = Spacing(gap=2.0, margin=5.0)
SHEET = (1200.0, 600.0)
TURNS = {"quarter": QUARTERS, "any": ANY}


class AfterProcessorSeconds:
    """Stops after so much time of this process: other work on the machine does not count."""

    def __init__(self, seconds: float) -> None:
        self._end = time.process_time() + seconds

    def __call__(self, rounds: int) -> bool:
        return time.process_time() >= self._end


@dataclass(frozen=True, slots=True)
class Row:
    """One job, one engine: value after all of the time, and when the first full layout came."""

    job: str
    turns: str
    seed: int
    engine: str
    value: float
    first_seconds: float
    first_value: float
    rounds: int
    sound: bool


def problem(name: str, turns: str, seed: int) -> tuple[list[Item], list[Bin]]:
    """Items and bins of a job by its name."""
    if name == "offcut":
        return job(60, 15, seed, TURNS[turns], 0.8), [offcut()]
    copies = int(name.removeprefix("sheets"))
    kinds = max(4, min(20, copies * 3 // 8))
    return job(copies, kinds, seed, TURNS[turns]), [sheet(*SHEET)] * max(4, copies // 8)


def value(items: list[Item], bins: list[Bin], layout: Layout) -> float:
    """Sheets used (fewer is better), or the offcut's fill in percent."""
    if len(bins) == 1:
        return 100.0 * sum(items[s.item].outline.area for s in layout.seats) / bins[0].outline.area
    if layout.left_out:
        return float("nan")
    last = max(seat.bin for seat in layout.seats)
    return last + reach(items, layout, last) / SHEET[0]


def reach(items: list[Item], layout: Layout, number: int) -> float:
    """How far to the right a bin is used, mm."""
    return max(
        items[s.item].outline.transformed(s.placement.matrix).bounds[2]
        for s in layout.seats
        if s.bin == number
    )


class _Watch:
    """Notes when the first layout with everything on it came."""

    def __init__(self) -> None:
        self.began = time.process_time()
        self.first = float("nan")

    def note(self, full: bool) -> None:
        if full and self.first != self.first:
            self.first = time.process_time() - self.began


def measure(name: str, turns: str, seed: int, engine: str, seconds: float, jobs: int) -> Row:
    """Packs one job with one engine."""
    items, bins = problem(name, turns, seed)
    watch = _Watch()
    stop = AfterProcessorSeconds(seconds)
    on_offcut = len(bins) == 1
    first_value = float("nan")
    if engine == "first":

        def score(layout: Layout) -> tuple[float, ...]:
            if on_offcut:
                return (sum(items[k].outline.area for k in layout.left_out),)
            last = max((s.bin for s in layout.seats), default=-1)
            return (
                float(len(layout.left_out)),
                float(last),
                reach(items, layout, last) if last >= 0 else 0.0,
            )

        def note_first(rounds: int, best: tuple[float, ...]) -> None:
            watch.note(on_offcut or best[0] == 0.0)

        found = first_engine.search(
            items,
            bins,
            SPACING,
            score=score,
            enough=lambda s: False,
            seed=seed,
            stop=stop,
            progress=note_first,
        )  # fmt: skip
        layout, rounds = found.layout, found.rounds
        if found.trace and not on_offcut:
            first_value = found.trace[0][2][1] + found.trace[0][2][2] / SHEET[0]
    else:

        def note(rounds: int, best: overlap.Score) -> None:
            watch.note(best.left_out == 0 if not on_offcut else best.left_out < len(items))

        result = overlap.search(items, bins, SPACING, seed=seed, stop=stop, progress=note, jobs=jobs)
        layout, rounds = result.layout, result.rounds
        full = [step.score for step in result.trace if step.score.left_out == 0]
        if full and not on_offcut:
            first_value = full[0].bins - 1 + full[0].end / SHEET[0]
    return Row(
        name, turns, seed, engine, value(items, bins, layout), watch.first, first_value, rounds,
        not faults(items, bins, layout, SPACING),
    )  # fmt: skip


def main() -> int:
    """Prints the table; exit code 1 when a layout does not hold."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=15.0, help="processor seconds for each engine")
    parser.add_argument("--seeds", default="1,2", help="each is another job, too")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", default="sheets40,sheets100,offcut")
    parser.add_argument("--turns", default="quarter,any")
    parser.add_argument("--engines", default="first,overlap")
    parser.add_argument("--json", type=FilePath, help="also write the rows here")
    options = parser.parse_args()
    overlap.prepare()
    print(f"{'job':10} {'turns':8} seed {'engine':8} {'value':>7} {'first at':>9} {'first':>7} {'rounds':>7}")
    rows = []
    for name in options.only.split(","):
        for seed in map(int, options.seeds.split(",")):
            for turns in options.turns.split(","):
                for engine in options.engines.split(","):
                    row = measure(name, turns, seed, engine, options.seconds, options.jobs)
                    rows.append(row)
                    print(
                        f"{row.job:10} {row.turns:8} {row.seed:4} {row.engine:8} {row.value:7.3f} "
                        f"{row.first_seconds:8.2f}s {row.first_value:7.3f} {row.rounds:7} "
                        f"{'' if row.sound else 'NOT SOUND'}",
                        flush=True,
                    )
    if options.json:
        options.json.write_text(json.dumps([asdict(row) for row in rows], indent=1))
    if not all(row.sound for row in rows):
        print("a layout does not hold", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
