"""Second stages of several searches at once, in processes of their own; idle cores try other seeds."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, replace
from typing import Any

from nestkit.nesting.second_stage import Bettered, SecondStage
from nestkit.nesting.stops import AfterRounds, AfterSeconds
from nestkit.telling import is_asked_to_stop, tell
from nestkit.workers import WorkerLostError, Workers

#: What starting a process and getting the engine ready there takes, seconds.
START = 2.0
#: A core that is free for at least this long gets another turn, seconds.
WORTH_A_TURN = 4.0
#: So much further is another seed of the same search, so that the seeds of tries within one stay apart.
SEED_STEP = 7919
#: How often it is looked whether to stop, seconds, and how long what there is may take then.
_LOOK, _GRACE = 0.2, 10.0


@dataclass(frozen=True, slots=True)
class Turn:
    """One process's work: which stage, with which of its seeds, for how many seconds."""

    number: int
    seed: int
    seconds: float


def turns(weights: Sequence[float], cores: int, seconds: float) -> list[Turn]:
    """Who works how long, so that all are done after so many seconds.

    Parameters
    ----------
    weights : sequence of float
        Of each stage, above 0.
    cores : int
    seconds : float
        That there are, on each core.

    Returns
    -------
    list of Turn
        Heaviest first. Where there are more cores than stages, the heaviest ones get more seeds.
    """
    order = sorted(range(len(weights)), key=lambda k: (-weights[k], k))
    if len(order) <= cores:
        given = [order[k % len(order)] for k in range(cores)] if order else []
        return [Turn(number, given[:k].count(number), seconds) for k, number in enumerate(given)]
    share = cores * seconds / sum(weights)
    asked = {number: min(weights[number] * share, seconds) for number in order}
    busy = [0.0] * cores
    for number in order:
        busy[busy.index(min(busy))] += asked[number]
    shorter = min(seconds / max(busy), 1.0) if seconds > 0.0 else 1.0
    return [Turn(number, 0, asked[number] * shorter) for number in order]


def side_by_side(
    stages: Sequence[SecondStage],
    weights: Sequence[float],
    cores: int,
    seconds: float,
    rounds: int | None,
    asked_to_stop: Callable[[], bool],
    progress: Callable[[int, int, int], None],
) -> list[Bettered | None]:
    """What comes of each stage; None where its process was lost.

    Parameters
    ----------
    stages : sequence of SecondStage
    weights : sequence of float
        How much of the time each is worth.
    cores : int
        How many processes work at once.
    seconds : float
        That there are.
    rounds : int, optional
        In place of seconds, for each stage; then every stage has one seed, and all is as with one core.
    asked_to_stop : callable
    progress : callable
        Given a stage's number, its rounds and the sheets used so far.
    """
    if rounds is None:
        todo = turns(weights, cores, max(seconds - START, 0.0))
    else:
        todo = [Turn(number, 0, 0.0) for number in range(len(stages))]
    best: list[Bettered | None] = [None] * len(stages)
    seeds = [0] * len(stages)
    said: dict[Future[Any], str] = {}
    workers = Workers(max(min(cores, len(todo)), 1), said.__setitem__)
    running: dict[Future[Any], Turn] = {}

    def begin(turn: Turn) -> None:
        stage = stages[turn.number]
        stage = replace(stage, seed=stage.seed + SEED_STEP * turn.seed)
        seeds[turn.number] = max(seeds[turn.number], turn.seed + 1)
        running[workers.submit(run, stage, turn.seconds, rounds)] = turn

    clock = AfterSeconds(seconds)
    end: float | None = None
    try:
        for turn in todo:
            begin(turn)
        while running:
            done, _ = wait(running, timeout=_LOOK, return_when=FIRST_COMPLETED)
            for future in [future for future in running if future in said]:
                rounds_done, sheets = map(int, said.pop(future).split())
                progress(running[future].number, rounds_done, sheets)
            for future in done:
                number = running.pop(future).number
                best[number] = _better(best[number], _found(future))
            if end is None and asked_to_stop():
                workers.ask_to_stop()
                end = time.monotonic() + _GRACE
            if end is not None and time.monotonic() > end:
                break
            if rounds is None and end is None and len(running) < cores and clock.left > WORTH_A_TURN:
                # A core is free: what was not brought to an end is tried once more, with another seed.
                open_ = [k for k, found in enumerate(best) if found is None or not found.is_enough]
                if open_:
                    number = max(open_, key=lambda k: weights[k] / (1 + seeds[k]))
                    begin(Turn(number, seeds[number], clock.left))
    finally:
        workers.shutdown(cancel_futures=True)
    return best


def _better(one: Bettered | None, other: Bettered | None) -> Bettered | None:
    if one is None or other is None:
        return one or other
    return other if other.score < one.score else one


def run(stage: SecondStage, seconds: float, rounds: int | None) -> Bettered:
    """One turn, in its process."""
    # Imported when it is needed: its kernels are loaded then, which is no search time.
    from nestkit.nesting import overlap

    overlap.prepare()
    tighten = AfterSeconds(seconds) if rounds is None else AfterRounds(rounds)
    told = 0.0

    def progress(done: int, sheets: int) -> None:
        nonlocal told
        if time.monotonic() - told >= _LOOK:
            told = time.monotonic()
            tell(f"{done} {sheets}")

    return stage.run(tighten, is_asked_to_stop, lambda: None, progress)


def _found(future: Future[Any]) -> Bettered | None:
    try:
        found: Bettered = future.result()
        return found
    except WorkerLostError:
        return None
