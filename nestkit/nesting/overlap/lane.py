"""One lane of the search: shrink the open bin, separate what overlaps then, compact, and again.

References
----------
T. Imamichi, M. Yagiura, H. Nagamochi 2009, *An iterated local search algorithm based on nonlinear
programming for the irregular strip packing problem*, Discrete Optimization 6: swaps as kicks.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nestkit.nesting.overlap.compaction import compact
from nestkit.nesting.overlap.dice import Dice, pick, roll
from nestkit.nesting.overlap.moves import loss_of, passes, refresh
from nestkit.nesting.overlap.state import Shapes, State


@dataclass(frozen=True, eq=False)
class Snapshot:
    """Where all movable copies lie; ``end`` is where the open bin ends."""

    at: NDArray[np.float64]
    shape: NDArray[np.int64]
    room: NDArray[np.int64]
    end: float


@dataclass(frozen=True, slots=True)
class Settings:
    """How a lane searches; the values that measurement chose (benchmarks/notes-engine.md)."""

    wide: int = 20
    close: int = 15
    patience: int = 150
    tries: int = 3
    first_step: float = 0.02
    most_step: float = 0.03
    least_step: float = 0.001
    shorter: float = 0.75
    longer: float = 1.1
    trust: float = 0.2
    pool: int = 10
    lp_below: float = 1.0
    lp_drop: float = 0.8
    swaps: int = 2
    ruin: float = 0.3
    ruin_size: float = 0.25
    stall: int = 6
    relax: float = 0.03
    fresh: float = 0.4


_NOTHING = Snapshot(np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.inf)

#: Overlap that counts as none, in the frame's unit: depth times size.
CLEAN = 1e-9
#: A shorter end counts from this on, frame units.
LEAST_GAIN = 1e-9
#: The program is solved for at most this many copies; beyond, it would take too long.
COMPACT_UP_TO = 250
#: Between two looks at the clock lie about this many moves.
PASSES_A_BOUT = 200


class Lane:
    """A search for a layout whose open bin ends early.

    Parameters
    ----------
    shapes, state
        The movable copies lie somewhere; they may overlap.
    room : int
        The open bin, which shrinks.
    axis : int
        0 when its right end moves, 1 for its upper one.
    chance : Dice
    settings : Settings
    """

    def __init__(
        self,
        shapes: Shapes,
        state: State,
        room: int,
        axis: int,
        chance: Dice,
        settings: Settings,
    ) -> None:
        self.shapes, self.state, self.room, self.axis = shapes, state, room, axis
        self.settings, self.dice = settings, chance
        self.movable = int(state.counts[0])
        self.start = float(state.bins[room, axis])
        self.full = float(state.bins[room, 2 + axis])
        self.pool: list[tuple[float, Snapshot]] = []
        self.best = self.current = _NOTHING

    @property
    def found(self) -> bool:
        """Whether there is a layout without overlap; `best` is the best one."""
        return self.best is not _NOTHING

    def start_from(self, layout: Snapshot) -> None:
        """Makes ``layout``, which has no overlap, the one to better."""
        self.best = self.current = layout

    def used_end(self) -> float:
        """Where the last copy in the open bin ends."""
        inside = self.state.room[: self.movable] == self.room
        if not inside.any():
            return self.start
        return float(self.state.box[: self.movable][inside, 2 + self.axis].max())

    def snapshot(self, end: float) -> Snapshot:
        """The present places."""
        n = self.movable
        return Snapshot(
            self.state.at[:n].copy(), self.state.shape[:n].copy(), self.state.room[:n].copy(), end
        )

    def load(self, snapshot: Snapshot) -> None:
        """Makes ``snapshot`` the present places."""
        n = self.movable
        self.state.at[:n] = snapshot.at
        self.state.shape[:n] = snapshot.shape
        self.state.room[:n] = snapshot.room
        self.state.bins[self.room, 2 + self.axis] = snapshot.end
        refresh(self.shapes, self.state)

    def search(self) -> Iterator[None]:
        """Searches on and on; yields after each bout of passes. `best` only ever gets better.

        Raises
        ------
        ValueError
            When there is no layout to start from.
        """
        if not self.found:
            raise ValueError("a search starts from a layout")
        self.load(self.current)
        yield from self._tighten(self.current.end)
        while self.best.end > self.start:
            yield from self._descend()
            yield from self._start_over()

    def _descend(self) -> Iterator[None]:
        """Shrinks the open bin from `current` on, until that has failed too often in a row."""
        rules = self.settings
        step, failed = rules.first_step, 0
        while failed < rules.stall and self.current.end > self.start:
            end = self.current.end
            target = end - (end - self.start) * step * (0.5 + roll(self.dice))
            self.squeeze(self.current, target)
            solved = yield from self.separate(target, end - LEAST_GAIN)
            tries = 0
            while not solved and tries < rules.tries:
                tries += 1
                if roll(self.dice) < rules.ruin:
                    self.disturb(self.choose(), target)
                else:
                    self.kick(self.choose(), target)
                solved = yield from self.separate(target, end - LEAST_GAIN)
            if solved:
                step, failed = min(step * rules.longer, rules.most_step), 0
            else:
                step = max(step * rules.shorter, rules.least_step)
                failed += step <= rules.least_step

    def _start_over(self) -> Iterator[None]:
        """Another layout, a little longer than the best, to descend from: all copies or some thrown anew."""
        self.pool.clear()
        longer = self.settings.relax
        fresh = roll(self.dice) < self.settings.fresh
        share = 1.0 if fresh else 0.2 + 0.5 * roll(self.dice)
        while True:
            end = min(self.start + (self.best.end - self.start) * (1.0 + longer), self.full)
            around = pick(self.dice, self.movable)
            away = np.hypot(*(self.best.at[:, :2] - self.best.at[around, :2]).T)
            self.throw(self.best, end, away <= np.quantile(away, share))
            if (yield from self.separate(end, end + LEAST_GAIN)):
                return
            longer *= 1.5
            if end >= self.full:
                self.current = self.best
                return

    def choose(self) -> Snapshot:
        """A layout from the pool of those that nearly fitted; the better, the likelier."""
        k = int(len(self.pool) * roll(self.dice) ** 2)
        return self.pool[k][1]

    def remember(self, loss: float, snapshot: Snapshot) -> None:
        """Puts a layout that nearly fitted into the pool."""
        self.pool.append((loss, snapshot))
        self.pool.sort(key=lambda row: row[0])
        del self.pool[self.settings.pool :]

    def squeeze(self, source: Snapshot, target: float) -> None:
        """The ``source`` layout in the bin that ends at ``target``: all beyond a random cut moves up."""
        moved = source.at.copy()
        cut = self.start + roll(self.dice) * (source.end - self.start)
        beyond = (source.room == self.room) & (moved[:, self.axis] > cut)
        moved[beyond, self.axis] -= source.end - target
        self.load(Snapshot(moved, source.shape, source.room, target))

    def kick(self, source: Snapshot, target: float) -> None:
        """The ``source`` layout with a few unlike copies swapped."""
        moved = source.at.copy()
        size = self.state.size[: self.movable]
        kind = self.state.kind[: self.movable]
        room = source.room.copy()
        for _ in range(1 + pick(self.dice, self.settings.swaps)):
            for _ in range(50):
                i, j = pick(self.dice, self.movable), pick(self.dice, self.movable)
                if kind[i] != kind[j] and size[i] > 0.5 * size[j] and size[j] > 0.5 * size[i]:
                    break
            moved[[i, j], :2] = moved[[j, i], :2]
            room[[i, j]] = room[[j, i]]
        self.load(Snapshot(moved, source.shape, room, target))

    def disturb(self, source: Snapshot, target: float) -> None:
        """The ``source`` layout with the copies around a random place thrown anywhere."""
        middle = source.at[pick(self.dice, self.movable), :2]
        away = np.hypot(*(source.at[:, :2] - middle).T)
        share = self.settings.ruin_size * roll(self.dice)
        chosen = away <= np.sort(away)[min(self.movable - 1, 1 + int(share * self.movable))]
        self.throw(source, target, chosen)

    def throw(self, source: Snapshot, target: float, chosen: NDArray[np.bool_]) -> None:
        """The ``source`` layout with the chosen copies anywhere in any bin."""
        moved, shape, room = source.at.copy(), source.shape.copy(), source.room.copy()
        bins = self.state.bins.copy()
        bins[self.room, 2 + self.axis] = target
        for i in np.flatnonzero(chosen):
            kind = self.state.kind[i]
            first = self.shapes.turn_at[kind]
            shape[i] = self.shapes.turns[first + pick(self.dice, self.shapes.turn_at[kind + 1] - first)]
            room[i] = pick(self.dice, len(bins))
            x0, y0, x1, y1 = bins[room[i]]
            moved[i, 0] = x0 + roll(self.dice) * (x1 - x0)
            moved[i, 1] = y0 + roll(self.dice) * (y1 - y0)
        self.load(Snapshot(moved, shape, room, target))

    def separate(self, target: float, limit: float) -> Generator[None, None, bool]:
        """Guided local search from the present places until nothing overlaps or patience ends.

        Parameters
        ----------
        target : float
            Where the open bin ends meanwhile.
        limit : float
            A layout without overlap counts when the open bin ends by then.

        Returns
        -------
        bool
            Whether there is such a layout; it is `best` then. If not, the layout goes to the pool.
        """
        rules, state, n = self.settings, self.state, self.movable
        state.weight[:] = state.base
        best = np.full((n + 1, 4), np.inf)
        ints = np.zeros(n + 2, dtype=np.int64)
        sets = np.array([rules.wide, rules.close], dtype=np.int64)
        bout = max(1, PASSES_A_BOUT // n)
        mark = rules.lp_below
        while True:
            loss = passes(self.shapes, state, bout, rules.patience, CLEAN, best, ints, sets)
            yield
            if loss <= CLEAN or loss < mark:
                mark = rules.lp_drop * loss
                present, weight = self.snapshot(target), state.weight.copy()
                self.load(
                    Snapshot(best[:n, 1:].copy(), best[:n, 0].astype(np.int64), ints[:n].copy(), target)
                )
                if (yield from self._tighten(limit)):
                    self.pool.clear()
                    return True
                self.load(present)
                state.weight[:] = weight
            if loss <= CLEAN or ints[n] >= rules.patience:
                self.remember(loss, _read(best, ints, target))
                return False

    def _tighten(self, limit: float) -> Generator[None, None, bool]:
        """Compacts the present layout as long as it gains; True when it is clean and ends by ``limit``."""
        better = False
        while True:
            if self.movable <= COMPACT_UP_TO:
                end = compact(self.shapes, self.state, self.room, self.axis, self.settings.trust)
            else:
                end = self.used_end()
            if end is None or end > limit or loss_of(self.state) > CLEAN:
                return better
            self.current = self.snapshot(min(end, self.full))
            if self.current.end < self.best.end:
                self.best = self.current
            better = True
            yield
            if end > limit - 1e-5 or self.movable > COMPACT_UP_TO:
                return better
            limit = end


def _read(best: NDArray[np.float64], ints: NDArray[np.int64], end: float) -> Snapshot:
    """The layout of least loss that `moves.passes` wrote down."""
    n = len(best) - 1
    return Snapshot(best[:n, 1:].copy(), best[:n, 0].astype(np.int64), ints[:n].copy(), end)
