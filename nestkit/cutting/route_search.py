"""Kernels for the shortest order: local search with kicks, the ways through the tasks chosen along with it.

Moves are those of the travelling salesman's trade: turning a run of the order round (2-opt), and moving a
run of up to three tasks elsewhere (Or-opt); a single task that is moved takes its best way there. A kick lets
two neighbouring runs change places (a double bridge kept local) and is undone when nothing shorter comes of
it. A move is made only if no task then comes before one that it has to wait for.

References
----------
Or 1976, "Traveling salesman-type combinatorial problems" (thesis); Croes 1958, doi:10.1287/opre.6.6.791;
Martin, Otto and Felten 1991 (kicks by a double bridge) [all from memory].
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from nestkit.cutting.route_choice import best_ways, far, length_of
from nestkit.jit import inner, kernel, maker, woven

#: What counts as shorter, mm.
LESS = 1e-7
#: A run of tasks that is moved as one is no longer than this.
LONGEST_RUN = 3
#: Two runs that change places in a kick are no longer than this.
LONGEST_KICK = 30


class Field(NamedTuple):
    """What stays the same: the ways (see `Ways`), where the tool comes from, and what tasks wait for.

    `waits` is the task that may only come after this one, or -1; a `block`'s tasks stand together;
    `near` holds the nearest tasks of the same block, nearest first, filled up with -1, and `gap` how far
    they are.
    """

    first: Any
    entry: Any
    leave: Any
    flip: Any
    start: Any
    waits: Any
    block: Any
    near: Any
    gap: Any


class Order(NamedTuple):
    """An order: the tasks in turn, the place of each task, and the chosen way of each task."""

    seq: Any
    pos: Any
    way: Any


@woven
def _hop(a: int, b: int, f: Field) -> float:
    """From the end of way a to the beginning of way b; a = -1 is the start point, b = -1 a free end."""
    if b < 0:
        return 0.0
    if a < 0:
        return far(f.start[0], f.start[1], f.entry[b, 0], f.entry[b, 1])
    return far(f.leave[a, 0], f.leave[a, 1], f.entry[b, 0], f.entry[b, 1])


@woven
def _way_at(k: int, o: Order) -> int:
    return int(o.way[o.seq[k]]) if 0 <= k < len(o.seq) else -1


@inner
def _turn(a: int, b: int, o: Order, f: Field) -> None:
    """Turn the order of places a to b round, and each task in it."""
    while a <= b:
        x, y = o.seq[a], o.seq[b]
        o.seq[a], o.seq[b] = y, x
        o.pos[x], o.pos[y] = b, a
        o.way[x] = f.flip[o.way[x]]
        if a < b:
            o.way[y] = f.flip[o.way[y]]
        a, b = a + 1, b - 1


@woven
def _turn_gain(a: int, b: int, o: Order, f: Field) -> float:
    """What it gains to turn places a to b round."""
    if a >= b:
        return 0.0
    before, after = _way_at(a - 1, o), _way_at(b + 1, o)
    at_a, at_b = o.way[o.seq[a]], o.way[o.seq[b]]
    gain = _hop(before, at_a, f) + _hop(at_b, after, f)
    return gain - _hop(before, f.flip[at_b], f) - _hop(f.flip[at_a], after, f)


@inner
def _turned(a: int, b: int, o: Order, f: Field) -> bool:
    """Turn places a to b round if that is allowed."""
    for k in range(a, b):
        waiting = f.waits[o.seq[k]]
        if waiting >= 0 and o.pos[waiting] <= b:
            return False
    _turn(a, b, o, f)
    return True


@inner
def _may_move(i: int, last: int, j: int, turned: bool, o: Order, f: Field) -> bool:
    """Whether the run from place i to last may stand between places j and j + 1."""
    for k in range(i, last + 1):
        waiting = f.waits[o.seq[k]]
        if waiting < 0:
            continue
        if turned and o.pos[waiting] <= last:
            return False
        if last < o.pos[waiting] <= j:
            return False
    for k in range(j + 1, i):
        waiting = f.waits[o.seq[k]]
        if waiting >= 0 and i <= o.pos[waiting] <= last:
            return False
    return True


@maker
def _move(i: int, last: int, j: int, o: Order) -> int:
    """Move the run from place i to last to between places j and j + 1; the place where it begins then."""
    run = o.seq[i : last + 1].copy()
    size = len(run)
    if j > last:
        for k in range(last + 1, j + 1):
            o.seq[k - size] = o.seq[k]
            o.pos[o.seq[k - size]] = k - size
        to = j - size + 1
    else:
        for k in range(i - 1, j, -1):
            o.seq[k + size] = o.seq[k]
            o.pos[o.seq[k + size]] = k + size
        to = j + 1
    for k in range(size):
        o.seq[to + k] = run[k]
        o.pos[run[k]] = to + k
    return to


@inner
def _moved(i: int, last: int, j: int, turned: bool, o: Order, f: Field) -> bool:
    """Move the run from place i to last to between places j and j + 1 if that is allowed."""
    if not _may_move(i, last, j, turned, o, f):
        return False
    to = _move(i, last, j, o)
    if turned:
        _turn(to, to + last - i, o, f)
    return True


@woven
def _best_between(task: int, left: int, right: int, o: Order, f: Field) -> Any:
    """The task's best way between two others, and its cost."""
    least, best = np.inf, -1
    for w in range(f.first[task], f.first[task + 1]):
        cost = _hop(left, w, f) + _hop(w, right, f)
        if cost < least:
            least, best = cost, w
    return best, least


@inner
def _better_at(task: int, o: Order, f: Field) -> float:
    """The first improvement that is found round a task and its neighbours; what it gains.

    All is worked out in this one kernel, since each call of another costs more than a try.
    """
    n = len(o.seq)
    at = o.pos[task]
    before, own, after = _way_at(at - 1, o), o.way[task], _way_at(at + 1, o)
    hop_in, hop_out = _hop(before, own, f), _hop(own, after, f)
    way, cost = _best_between(task, before, after, o, f)
    if hop_in + hop_out - cost > LESS:
        o.way[task] = way
        return float(hop_in + hop_out - cost)
    for m in range(f.near.shape[1]):
        other = f.near[task, m]
        # A move brings the two together in place of one of the task's hops, which must be longer.
        if other < 0 or f.gap[task, m] >= max(hop_in, hop_out):
            break
        j = o.pos[other]
        for side in range(2):
            a, b = min(at, j) + 1 - side, max(at, j) - side
            gain = _turn_gain(a, b, o, f)
            if gain > LESS and _turned(a, b, o, f):
                return float(gain)
        for kind in range(2 * (2 * LONGEST_RUN - 1)):
            # The run begins or ends with the task, and goes behind the neighbour or before it.
            size = (kind // 2 + 1) // 2
            i = at - size * (kind // 2 % 2)
            last, to = i + size, j - kind % 2
            if i < 0 or last >= n or i - 1 <= to <= last:
                continue
            head, tail = o.way[o.seq[i]], o.way[o.seq[last]]
            ahead, behind = _way_at(i - 1, o), _way_at(last + 1, o)
            left, right = _way_at(to, o), _way_at(to + 1, o)
            saved = _hop(ahead, head, f) + _hop(tail, behind, f) - _hop(ahead, behind, f)
            if saved <= LESS:
                continue
            saved += _hop(left, right, f)
            if size == 0:
                way, cost = _best_between(task, left, right, o, f)
                if saved - cost > LESS and _moved(i, last, to, False, o, f):
                    o.way[task] = way
                    return float(saved - cost)
                continue
            if f.block[o.seq[i]] != f.block[o.seq[last]]:
                continue
            for turned in (False, True):
                if turned:
                    gain = saved - _hop(left, f.flip[tail], f) - _hop(f.flip[head], right, f)
                else:
                    gain = saved - _hop(left, head, f) - _hop(tail, right, f)
                if gain > LESS and _moved(i, last, to, turned, o, f):
                    return gain
    return 0.0


@inner
def _settle(queue: Any, queued: Any, count: int, o: Order, f: Field) -> float:
    """Improve round the tasks in the queue, and round those that this touches; what it gains in all."""
    n, head, total = len(o.seq), 0, 0.0
    while count > 0:
        task = queue[head]
        head, count = (head + 1) % n, count - 1
        queued[task] = False
        while True:
            gain = _better_at(task, o, f)
            if gain <= 0.0:
                break
            total += gain
            for k in range(max(o.pos[task] - 1, 0), min(o.pos[task] + 2, n)):
                other = o.seq[k]
                if other != task and not queued[other]:
                    queued[other] = True
                    queue[(head + count) % n] = other
                    count += 1
    return total


@woven
def _draw(state: Any) -> int:
    """The next number of a fixed sequence (xorshift, Marsaglia 2003, doi:10.18637/jss.v008.i14)."""
    x = state[0]
    x ^= (x << 13) & 0xFFFFFFFF
    x ^= x >> 17
    x ^= (x << 5) & 0xFFFFFFFF
    state[0] = x
    return int(x)


@maker
def _kick(state: Any, cuts: Any, o: Order, f: Field) -> float:
    """Let two neighbouring runs change places, where that is allowed; what it gains (mostly a loss).

    `cuts` is filled with the places where the order was cut; its first is -1 when nothing was done.
    """
    n = len(o.seq)
    cuts[0] = -1
    a = _draw(state) % n
    if a == n - 1:
        return 0.0
    b = a + 1 + _draw(state) % min(LONGEST_KICK, n - 1 - a)
    c = b + _draw(state) % min(LONGEST_KICK, n - b)
    if f.block[o.seq[a]] != f.block[o.seq[c]]:
        return 0.0
    for k in range(a, b):
        waiting = f.waits[o.seq[k]]
        if waiting >= 0 and b <= o.pos[waiting] <= c:
            return 0.0
    before, after = _way_at(a - 1, o), _way_at(c + 1, o)
    at_a, end_a, at_b, end_b = _way_at(a, o), _way_at(b - 1, o), _way_at(b, o), _way_at(c, o)
    gain = _hop(before, at_a, f) + _hop(end_a, at_b, f) + _hop(end_b, after, f)
    gain -= _hop(before, at_b, f) + _hop(end_b, at_a, f) + _hop(end_a, after, f)
    run = o.seq[a : c + 1].copy()
    for k in range(len(run)):
        task = run[(k + b - a) % len(run)]
        o.seq[a + k] = task
        o.pos[task] = a + k
    cuts[0], cuts[1], cuts[2] = a, a + c - b + 1, c + 1
    # Another way through the tasks where it was cut: what is best there may be so for the old order alone.
    if _draw(state) % 2 == 0:
        for k in (a, a + c - b + 1):
            task = o.seq[k]
            ahead, behind, own = _way_at(k - 1, o), _way_at(k + 1, o), o.way[task]
            way = f.first[task] + _draw(state) % (f.first[task + 1] - f.first[task])
            gain += _hop(ahead, own, f) + _hop(own, behind, f) - _hop(ahead, way, f) - _hop(way, behind, f)
            o.way[task] = way
    return gain


@inner
def _put(o: Order, source: Order, low: int, high: int) -> None:
    for k in range(low, high):
        task = source.seq[k]
        o.seq[k], o.pos[task], o.way[task] = task, k, source.way[task]


@kernel
def search(seq: Any, way: Any, f: Field, rounds: int, seed: int) -> Any:
    """A short order, from one that keeps all rules and does so in the end too.

    Parameters
    ----------
    seq, way : (n,) int
        The tasks in turn and their ways to begin with; they stay as they are.
    f : Field
    rounds : int
        Kicks; they decide how long it takes, not a clock.
    seed : int
        Larger than 0.

    Returns
    -------
    seq, way : (n,) int
    """
    n = len(seq)
    o = Order(seq.copy(), np.empty(n, dtype=np.int64), way.copy())
    for k in range(n):
        o.pos[seq[k]] = k
    queue, queued = np.empty(n, dtype=np.int64), np.zeros(n, dtype=np.bool_)
    state, cuts = np.array([seed], dtype=np.int64), np.empty(3, dtype=np.int64)
    length = length_of(o.seq, o.way, f.entry, f.leave, f.start)
    # Until neither a move nor another choice of ways makes it shorter.
    while True:
        queue[:] = o.seq
        queued[:] = True
        _settle(queue, queued, n, o, f)
        o.way[:] = best_ways(o.seq, f.first, f.entry, f.leave, f.start)
        now = length_of(o.seq, o.way, f.entry, f.leave, f.start)
        if now > length - LESS:
            break
        length = now
    kept = Order(o.seq.copy(), o.pos.copy(), o.way.copy())
    for turn in range(rounds):
        gain = _kick(state, cuts, o, f)
        if cuts[0] < 0:
            continue
        count = 0
        for cut in cuts:
            for k in range(max(int(cut) - 1, 0), min(int(cut) + 1, n)):
                task = o.seq[k]
                if not queued[task]:
                    queued[task] = True
                    queue[count] = task
                    count += 1
        gain += _settle(queue, queued, count, o, f)
        if gain >= 0.0:
            _put(kept, o, 0, n)
        else:
            _put(o, kept, 0, n)
        if turn % (4 * n) == 4 * n - 1:
            o.way[:] = best_ways(o.seq, f.first, f.entry, f.leave, f.start)
            _put(kept, o, 0, n)
    o.way[:] = best_ways(o.seq, f.first, f.entry, f.leave, f.start)
    return o.seq, o.way
