"""The packing search: one lane in this process, others in processes of their own, sharing the best.

Lanes work in epochs of a fixed number of rounds and exchange the best layout between them, so that a
seed and a number of rounds give the same layout whatever the clock says.
"""

from __future__ import annotations

import math
import multiprocessing
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path
from nestkit.nesting import bottom_left
from nestkit.nesting.overlap.board import Board
from nestkit.nesting.overlap.packing import Found, Packing
from nestkit.nesting.overlap.result import Improvement, NestResult, Score
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing, Status
from nestkit.nesting.stops import AfterRounds, Stop

#: Rounds between two exchanges of the best layout.
EPOCH = 300
#: Pairs of pieces merged before a strip is packed; on sheets the first layout must come sooner.
STRIP_MERGE = 12_000
SHEET_MERGE = 300
#: The constructive engine gives the first layout for so many items; beyond, it would take too long.
BOTTOM_LEFT_UP_TO = 250

Progress = Callable[[int, Score], None]


@dataclass(frozen=True, eq=False)
class _Task:
    """What a lane needs to begin; it can be sent to another process."""

    items: tuple[Item, ...]
    bins: tuple[Bin, ...]
    spacing: Spacing
    seed: int
    start: Layout | None
    fixed: tuple[Seat, ...]
    axis: int | None
    merge: int

    def packing(self) -> Packing:
        board = Board(self.items, self.bins, self.spacing, self.fixed, self.axis, self.merge)
        return Packing(board, self.seed, self.start)


def search(
    items: Sequence[Item],
    bins: Sequence[Bin],
    spacing: Spacing,
    *,
    seed: int,
    stop: Stop,
    start: Layout | None = None,
    fixed: Sequence[Seat] = (),
    asked_to_stop: Callable[[], bool] = lambda: False,
    progress: Progress | None = None,
    jobs: int = 1,
) -> NestResult:
    """Packs the items into as few of the bins as can be, in their order, and leaves much of the last free.

    Parameters
    ----------
    items, bins, spacing
        See `nesting.problem`. The bins are the supply, in the order in which they are opened.
    seed : int
        The same seed, number of rounds and jobs give the same layout.
    stop : Stop
        Asked after each round; a round takes some hundredths of a second.
    start : Layout, optional
        A layout to start from; where it is unsound, its overlaps are separated first.
    fixed : sequence of Seat
        Items that lie already and stay where they are.
    asked_to_stop : callable
        Asked after each round too; then the status is `Status.STOPPED`.
    progress : callable, optional
        Given the round and the best score after each round.
    jobs : int
        Lanes, each in a process of its own but the first.

    Returns
    -------
    NestResult
        Its layout has been verified by `nesting.verify`.
    """
    if start is None and not fixed and len(items) <= BOTTOM_LEFT_UP_TO:
        start = _bottom_left(items, bins, spacing, lambda: asked_to_stop() or stop(0))
    task = _Task(tuple(items), tuple(bins), spacing, seed, start, tuple(fixed), None, SHEET_MERGE)
    return _search(task, stop, asked_to_stop, progress, jobs)


def _bottom_left(
    items: Sequence[Item], bins: Sequence[Bin], spacing: Spacing, asked_to_stop: Callable[[], bool]
) -> Layout | None:
    """The constructive engine's layout, large parts first: sooner and closer than one from thrown places."""
    order = sorted(range(len(items)), key=lambda n: (-items[n].outline.area, items[n].kind, n))
    layout = bottom_left.construct(items, bins, spacing, order, asked_to_stop=asked_to_stop)
    return layout if layout.seats else None


def pack_strip(
    items: Sequence[Item],
    width: float,
    *,
    seed: int,
    stop: Stop,
    asked_to_stop: Callable[[], bool] = lambda: False,
    progress: Progress | None = None,
    jobs: int = 1,
) -> NestResult:
    """Packs the items into a strip of fixed width (along y) that is as short as can be (along x).

    The used length is the result's ``score.end``, the strip the only bin. Other parameters as in `search`.
    """
    area = sum(item.outline.area for item in items)
    longest = sum(sorted((sum(item.outline.size) for item in items), reverse=True)[:3])
    length = area / width / 0.25 + longest
    sheet = Bin(Outline(Path.polyline([(0, 0), (length, 0), (length, width), (0, width)], True)))
    task = _Task(tuple(items), (sheet,), Spacing(), seed, None, (), 0, STRIP_MERGE)
    return _search(task, stop, asked_to_stop, progress, jobs, least=area / width)


def prepare() -> None:
    """Compiles the kernels, or loads them when that was done before: about half a minute, or one second.

    A search does so too when it must; this is for those who watch the clock.
    """
    hook = Path.polyline([(0, 0), (60, 0), (60, 20), (20, 20), (20, 60), (0, 60)], True)
    sheet = Path.polyline([(0, 0), (100, 0), (100, 100), (0, 100)], True)
    for turns in (Turns(), Turns((0.0, math.pi))):
        items = [Item(Outline(hook), turns)] * 3
        # The first rounds lay and compact; only then are copies moved.
        search(items, [Bin(Outline(sheet))] * 2, Spacing(2.0, 2.0), seed=1, stop=AfterRounds(4))


def _search(
    task: _Task,
    stop: Stop,
    asked_to_stop: Callable[[], bool],
    progress: Progress | None,
    jobs: int,
    least: float = 0.0,
) -> NestResult:
    began = time.monotonic()
    if not task.items or not task.bins:
        nothing = Layout((), tuple(range(len(task.items))))
        area = sum(item.outline.area for item in task.items)
        return NestResult(Status.PROVEN, nothing, Score(len(task.items), area, 0, 0.0), 0.0, 0, ())
    with _other_lanes(task, jobs - 1) as others:
        packing = task.packing()
        trace: list[Improvement] = []
        rounds = 0
        status: Status | None = None
        steps = packing.run()
        known = packing.best
        for lane in others:
            lane.begin()
        while status is None:
            next(steps)
            rounds += 1
            if rounds % EPOCH == 0:
                for lane in others:
                    # Waiting is asked about the clock too: a lane may be slower than this one.
                    while not lane.ready() and status is None:
                        status = _over(stop, asked_to_stop, rounds)
                if status is None:
                    for found in [lane.found() for lane in others]:
                        packing.take(found)
                    for lane in others:
                        lane.begin(packing.best)
            if packing.best is not known:
                known = packing.best
                trace.append(Improvement(rounds, time.monotonic() - began, known.score))
            if progress is not None:
                progress(rounds, known.score)
            if (
                known.score.left_out == 0
                and known.score.bins == 1
                and known.score.end <= least * (1.0 + 1e-9)
            ):
                status = Status.PROVEN
            status = status or _over(stop, asked_to_stop, rounds)
    return NestResult(status, known.layout, known.score, time.monotonic() - began, rounds, tuple(trace))


def _over(stop: Stop, asked_to_stop: Callable[[], bool], rounds: int) -> Status | None:
    if asked_to_stop():
        return Status.STOPPED
    return Status.TIME if stop(rounds) else None


class _OtherLane:
    """A lane in another process."""

    def __init__(self, task: _Task, over: Any, context: Any) -> None:
        self._pipe, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, over, task), daemon=True)
        self.process.start()
        theirs.close()

    def begin(self, best: Found | None = None) -> None:
        """Starts an epoch, from ``best`` if that is better than its own."""
        self._pipe.send(best)

    def ready(self) -> bool:
        """Whether the epoch is done; waits a moment for it."""
        return bool(self._pipe.poll(0.02))

    def found(self) -> Found:
        """The lane's best layout after the epoch."""
        answer: Found = self._pipe.recv()
        return answer


def _serve(pipe: Connection, over: Any, task: _Task) -> None:
    """The life of another lane: epochs on request, until `over` is set or the pipe is closed."""
    packing = task.packing()
    steps = packing.run()
    try:
        while True:
            best: Found | None = pipe.recv()
            if best is not None:
                packing.take(best)
            for _ in range(EPOCH):
                if over.is_set():
                    return
                next(steps)
            pipe.send(packing.best)
    except (EOFError, BrokenPipeError, KeyboardInterrupt):
        return


@contextmanager
def _other_lanes(task: _Task, count: int) -> Iterator[list[_OtherLane]]:
    """``count`` lanes with seeds of their own, which end with the context."""
    if count <= 0:
        yield []
        return
    context = multiprocessing.get_context("spawn")
    over = context.Event()
    lanes = [_OtherLane(replace(task, seed=task.seed + 1009 * (k + 1)), over, context) for k in range(count)]
    try:
        yield lanes
    finally:
        over.set()
        for lane in lanes:
            lane.process.join(0.3)
            if lane.process.is_alive():
                lane.process.terminate()
