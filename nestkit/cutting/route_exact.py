"""The shortest order of a few tasks, by weighing all orders and ways at once.

References
----------
Held and Karp 1962, "A dynamic programming approach to sequencing problems",
doi:10.1137/0110015 [from memory].
"""

from __future__ import annotations

from typing import Any

import numpy as np

from nestkit.cutting.route_choice import far
from nestkit.jit import kernel

#: No more tasks than this are weighed so: each one more makes it more than twice as long.
MOST_TASKS = 9


@kernel
def best_order(first: Any, entry: Any, leave: Any, start: Any, waits: Any, block: Any) -> Any:
    """The shortest order that keeps the rules: the tasks in turn, and the way through each task.

    Parameters
    ----------
    first, entry, leave
        As in `route_entries.Ways`.
    start : (2,) float, mm
    waits, block : (n,) int
        As in `route_search.Field`.
    """
    n, m = len(first) - 1, len(entry)
    owner = np.empty(m, dtype=np.int64)
    needs = np.zeros(n, dtype=np.int64)
    for k in range(n):
        owner[first[k] : first[k + 1]] = k
        if waits[k] >= 0:
            needs[waits[k]] |= 1 << k
        for j in range(n):
            if block[j] < block[k]:
                needs[k] |= 1 << j
    # For each set of tasks that are done, and the way through the last of them: the least travel.
    cost = np.full((1 << n, m), np.inf)
    back = np.full((1 << n, m), -1, dtype=np.int64)
    for w in range(m):
        if needs[owner[w]] == 0:
            cost[1 << owner[w], w] = far(start[0], start[1], entry[w, 0], entry[w, 1])
    for done in range(1, 1 << n):
        for k in range(n):
            if done >> k & 1 or needs[k] & ~done:
                continue
            after = done | 1 << k
            for w in range(first[k], first[k + 1]):
                least, best = np.inf, -1
                for v in range(m):
                    if cost[done, v] < least:
                        c = cost[done, v] + far(leave[v, 0], leave[v, 1], entry[w, 0], entry[w, 1])
                        if c < least:
                            least, best = c, v
                cost[after, w], back[after, w] = least, best
    seq, way = np.empty(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    done = (1 << n) - 1
    last = 0
    for w in range(m):
        if cost[done, w] < cost[done, last]:
            last = w
    for k in range(n - 1, -1, -1):
        task = owner[last]
        seq[k], way[task] = task, last
        last, done = back[done, last], done & ~(1 << task)
    return seq, way
