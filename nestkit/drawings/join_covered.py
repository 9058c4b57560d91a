"""Open lines that lie on other lines all along, however those are divided."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.drawings.join_doubled import SAME, doubled_line
from nestkit.drawings.model import DrawnPath
from nestkit.errors import Finding
from nestkit.geometry import Path

#: With more open lines than this the drawing is no outline anyway, and they are left as they are.
MOST_OPEN = 2_000

#: Likewise with more lines and chords of arcs in all.
_MOST_CHORDS = 200_000


def drop_covered(
    open_: Sequence[DrawnPath], closed: Sequence[DrawnPath]
) -> tuple[list[DrawnPath], list[Finding]]:
    """Open lines without those that other cut lines cover all along, shortest first.

    Parameters
    ----------
    open_, closed : sequence of DrawnPath
        The lines that may be dropped, and further ones that may cover them.

    Returns
    -------
    paths, findings
        What is left of `open_`, and a mended `doubled-line` for each that is dropped.
    """
    if not 0 < len(open_) <= MOST_OPEN:
        return list(open_), []
    runs = [_points(drawn.path) for drawn in (*open_, *closed)]
    counts = [len(run) - 1 for run in runs]
    if sum(counts) > _MOST_CHORDS:
        return list(open_), []
    chords = np.concatenate([np.stack((run[:-1], run[1:]), axis=1) for run in runs])
    owners = np.repeat(np.arange(len(runs)), counts)
    segments = shapely.linestrings(chords)
    tree = shapely.STRtree(segments)
    likely = _all_middles_covered(chords, owners, tree, len(open_))
    lengths = [drawn.path.length for drawn in open_]
    dropped: set[int] = set()
    for k in sorted(np.flatnonzero(likely).tolist(), key=lambda k: (lengths[k], k)):
        line = shapely.LineString(runs[k])
        near = tree.query(line, predicate="dwithin", distance=SAME)
        near = near[[int(owner) != k and int(owner) not in dropped for owner in owners[near]]]
        if len(near) and shapely.union_all(shapely.buffer(segments[near], 2.0 * SAME)).covers(line):
            dropped.add(k)
    findings = []
    for k in sorted(dropped):
        middle = shapely.LineString(runs[k]).interpolate(0.5, normalized=True)
        findings.append(doubled_line(open_[k], lengths[k], (float(middle.x), float(middle.y))))
    return [drawn for k, drawn in enumerate(open_) if k not in dropped], findings


def _all_middles_covered(
    chords: NDArray[np.float64], owners: NDArray[np.int64], tree: shapely.STRtree, count: int
) -> NDArray[np.bool_]:
    """Which of the first ``count`` lines have the middle of every chord on another line: a quick sieve."""
    mine = owners < count
    middles = shapely.points(chords[mine].mean(axis=1))
    covered = np.zeros(len(middles), dtype=bool)
    at, on = tree.query(middles, predicate="dwithin", distance=2.0 * SAME)
    covered[at[owners[at] != owners[on]]] = True
    uncovered = np.zeros(count, dtype=bool)
    uncovered[owners[mine][~covered]] = True
    return ~uncovered


def _points(path: Path) -> NDArray[np.float64]:
    points = path.flatten(SAME / 4.0)
    return np.concatenate((points, points[:1])) if path.closed else points
