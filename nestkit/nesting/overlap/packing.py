"""The search for the best layout of a whole packing problem, step by step."""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nestkit.nesting.overlap.board import Board
from nestkit.nesting.overlap.construct import construct, park
from nestkit.nesting.overlap.dice import dice, roll
from nestkit.nesting.overlap.lane import Lane, Settings, Snapshot
from nestkit.nesting.overlap.moves import refresh
from nestkit.nesting.overlap.result import Score
from nestkit.nesting.problem import Layout
from nestkit.nesting.verify import faults

#: Places tried for each copy in each bin of the first layout.
_SEAT_TRIES = 60
#: Copies seated between two looks at the clock.
_SEATS_AT_ONCE = 8
#: Tries at a layout of some items: at first, and at one that was given.
_TRIES, _TRIES_FROM_START = 3, 40
#: Bouts of shrinking between two tries to empty the last bin, and when the others would be this full then.
_BOUTS_BETWEEN = 100
_VERY_FULL = 0.9
_BOUTS_BETWEEN_IF_FULL = 250


@dataclass(frozen=True, eq=False)
class Found:
    """A layout in the engine's terms: which items lie, and where; it can be sent to another lane."""

    score: Score
    layout: Layout
    active: tuple[int, ...]
    places: Snapshot


class Packing:
    """Searches for a layout; `run` yields after each bout, `best` is the best verified layout so far.

    Parameters
    ----------
    board : Board
    seed : int
    start : Layout, optional
        A layout to start from; overlaps are separated first where that can be done.
    settings : Settings, optional
    """

    def __init__(
        self, board: Board, seed: int, start: Layout | None = None, settings: Settings | None = None
    ) -> None:
        self.board = board
        self.start = start
        self.settings = settings or Settings()
        self.chance = dice(seed)
        self.asked: Found | None = None
        bare = Layout(board.fixed, board.loose())
        self.best = Found(board.score_of(bare), bare, (), _NOWHERE)
        self.refused = 0

    def run(self) -> Iterator[None]:
        """Searches on and on; yields after each bout."""
        yield from self._first_layout()
        while True:
            self.asked = None
            if self.best.layout.left_out:
                yield from self._seat_more()
            elif not self.best.active:
                yield
            else:
                yield from self._leave_more()

    def take(self, found: Found) -> None:
        """Keeps a better layout that another lane has found, to go on from now or when it starts over."""
        if found.score < self.best.score:
            self.best = found
            self.asked = found

    def offer(self, active: Sequence[int], places: Snapshot) -> bool:
        """Verifies a layout on the true outlines and keeps it if it is the best; whether it was."""
        layout = self.board.layout(active, places)
        score = self.board.score_of(layout)
        if not score < self.best.score:
            return False
        if faults(self.board.items, self.board.bins, layout, self.board.spacing):
            self.refused += 1
            return False
        self.best = Found(score, layout, tuple(active), places)
        return True

    def _first_layout(self) -> Iterator[None]:
        loose = self.board.loose()
        given = None if self.start is None else self.board.places(self.start)
        if self.start is not None and given is not None and len(self.start.seats) and len(self.board.bins):
            active, places = given
            if faults(self.board.items, self.board.bins, self.start, self.board.spacing):
                lane = self._lane(active, len(self.board.bins), places)
                yield from self._solve(lane, places, np.zeros(len(active), dtype=np.bool_), _TRIES_FROM_START)
                self.chance[:] = lane.state.dice
                sound = lane.found and self.offer(active, lane.best)
            else:
                self.best = Found(self.board.score_of(self.start), self.start, tuple(active), places)
                yield
                sound = True
            if sound:
                return
        if not loose or not len(self.board.bins):
            yield
            return
        state = self.board.state(loose, len(self.board.bins), self.chance)
        refresh(self.board.shapes, state)
        for i in range(len(loose)):
            park(state, i)
        order = np.array(sorted(range(len(loose)), key=lambda k: -self.board.areas[loose[k]]), dtype=np.int64)
        first = np.zeros(len(self.board.shapes.free), dtype=np.int64)
        seated = np.zeros(len(loose), dtype=np.int64)
        for begin in range(0, len(order), _SEATS_AT_ONCE):
            some = order[begin : begin + _SEATS_AT_ONCE]
            construct(self.board.shapes, state, some, self.board.axes, _SEAT_TRIES, first, seated)
            yield
        self.chance[:] = state.dice
        chosen = np.flatnonzero(seated)
        places = Snapshot(
            state.at[chosen].copy(), state.shape[chosen].copy(), state.room[chosen].copy(), math.inf
        )
        self.offer([loose[k] for k in chosen], places)
        yield

    def _lane(self, active: Sequence[int], rooms: int, places: Snapshot) -> Lane:
        """A lane over the first ``rooms`` bins, the last of them open."""
        state = self.board.state(active, rooms, self.chance)
        room = rooms - 1
        lane = Lane(self.board.shapes, state, room, int(self.board.axes[room]), self.chance, self.settings)
        lane.load(Snapshot(places.at, places.shape, np.minimum(places.room, room), lane.full))
        return lane

    def _seat_more(self) -> Iterator[None]:
        """Tries to find places for all that is left out at once, then for each alone, the largest first."""
        rooms = len(self.board.bins)
        tries = _TRIES
        while True:
            base = self.best
            left = sorted(base.layout.left_out, key=lambda k: -self.board.areas[k])
            choices = [[item] for item in left] if len(left) < 2 else [left, *([item] for item in left)]
            choices = [some for some in choices if self.board.fill([*base.active, *some], rooms) <= 1.0]
            if not choices:
                # Nothing left out can fit; what lies can still be packed closer.
                yield from self._leave_more()
                return
            for items in choices:
                still_out = set(items) <= set(self.best.layout.left_out)
                # What was seated since may have taken the room.
                if not still_out or self.board.fill([*self.best.active, *items], rooms) > 1.0:
                    continue
                yield from self._seat(items, tries)
                if self.asked is not None or not self.best.layout.left_out:
                    return
            if self.best is base:
                tries *= 2

    def _seat(self, items: Sequence[int], tries: int) -> Iterator[None]:
        """Throws items into the best layout and separates what overlaps then."""
        base, rooms = self.best, len(self.board.bins)
        active, more = [*base.active, *items], len(items)
        at = np.vstack((base.places.at.reshape(-1, 3), np.zeros((more, 3))))
        first = [self.board.shapes.turn_at[self.board.class_of[item]] for item in items]
        shape = np.append(base.places.shape, first)
        room = np.append(base.places.room, np.zeros(more, dtype=np.int64))
        places = Snapshot(at, shape, room, math.inf)
        lane = self._lane(active, rooms, places)
        chosen = np.arange(len(active)) >= len(active) - more
        yield from self._solve(lane, places, chosen, tries)
        self.chance[:] = lane.state.dice
        if lane.found:
            self.offer(active, lane.best)

    def _solve(self, lane: Lane, places: Snapshot, chosen: NDArray[np.bool_], tries: int) -> Iterator[None]:
        """Throws the chosen copies anywhere and separates; then again from what nearly fitted, changed.

        Ends early when another lane has something better.
        """
        for k in range(tries):
            source = Snapshot(places.at, places.shape, np.minimum(places.room, lane.room), lane.full)
            if k == 0 or not lane.pool:
                lane.throw(source, lane.full, chosen)
            elif k > 2 and roll(self.chance) < self.settings.ruin:
                lane.disturb(lane.choose(), lane.full)
            else:
                lane.kick(lane.choose(), lane.full)
            if (yield from lane.separate(lane.full, lane.full + 1e-9)) or self.asked is not None:
                return

    def _leave_more(self) -> Iterator[None]:
        """Shrinks the last bin used, and tries to empty it, until another lane does so with one bin less."""
        base = self.best
        rooms = base.score.bins
        if not base.active:
            yield
            return
        lane = self._lane(base.active, rooms, base.places)
        lane.start_from(lane.snapshot(lane.used_end()))
        known = lane.best
        fill = self.board.fill(base.active, rooms - 1)
        pause = _BOUTS_BETWEEN if fill < _VERY_FULL else _BOUTS_BETWEEN_IF_FULL
        for bouts, _ in enumerate(lane.search(), start=1):
            yield
            if lane.best is not known:
                refused = self.refused
                self.offer(base.active, lane.best)
                if self.refused > refused:
                    # All that came of it would be refused too.
                    lane.start_from(known)
                known = lane.best
                if self.best.score.bins < rooms:
                    break
            if self.asked is not None:
                if not self._alike(self.asked, base):
                    break
                # A mere gain is where to start over from; what this lane is at stays worth an end.
                if self.asked.places.end < lane.best.end:
                    known = lane.best = self.asked.places
                self.asked = None
            if fill <= 1.0 and bouts % pause == 1 and (yield from self._empty_last(self.best, rooms - 1)):
                break
        self.chance[:] = lane.state.dice

    @staticmethod
    def _alike(one: Found, other: Found) -> bool:
        """Whether two layouts have the same items in as many bins."""
        return one.active == other.active and one.score.bins == other.score.bins

    def _empty_last(self, base: Found, rooms: int) -> Generator[None, None, bool]:
        """Throws what lies in the last bin into the others; whether it found room there."""
        lane = self._lane(base.active, rooms, base.places)
        yield from self._solve(lane, base.places, base.places.room >= rooms, _TRIES)
        return lane.found and self.offer(base.active, lane.best)


_NOWHERE = Snapshot(np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), 0.0)
