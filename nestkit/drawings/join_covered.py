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
from nestkit.units import Unit

#: With more open lines than this the drawing is no outline anyway, and they are left as they are.
MOST_OPEN = 2_000

#: Likewise with more lines and chords of arcs in all.
_MOST_CHORDS = 200_000

#: Chords are compared with their neighbours in groups of so many, so that memory stays small.
_GROUP = 1_000

#: A line covers another where it is within this, mm.
_NEAR = 2.0 * SAME

Rows = NDArray[np.float64]


def drop_covered(
    open_: Sequence[DrawnPath], closed: Sequence[DrawnPath], unit: Unit = "mm"
) -> tuple[list[DrawnPath], list[Finding]]:
    """Open lines without those that other cut lines cover all along, shortest first.

    Parameters
    ----------
    open_, closed : sequence of DrawnPath
        The lines that may be dropped, and further ones that may cover them.
    unit : "mm" or "in"
        In which findings speak.

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
    chords = np.concatenate([np.column_stack((run[:-1], run[1:])) for run in runs])
    owners = np.repeat(np.arange(len(runs)), counts)
    covers = _covers(chords, owners, sum(counts[: len(open_)]))
    first = np.concatenate(([0], np.cumsum(counts)))
    lengths = [drawn.path.length for drawn in open_]
    dropped: set[int] = set()
    for k in sorted(range(len(open_)), key=lambda k: (lengths[k], k)):
        mine = range(first[k], first[k + 1])
        if all(_is_covered(chords[chord], covers.get(chord, ()), dropped) for chord in mine):
            dropped.add(k)
    findings = []
    for k in sorted(dropped):
        middle = shapely.LineString(runs[k]).interpolate(0.5, normalized=True)
        findings.append(doubled_line(open_[k], lengths[k], (float(middle.x), float(middle.y)), unit))
    return [drawn for k, drawn in enumerate(open_) if k not in dropped], findings


_Stretch = tuple[float, float, int]


def _covers(chords: Rows, owners: NDArray[np.int64], count: int) -> dict[int, list[_Stretch]]:
    """For each of the first ``count`` chords the stretches of it, from and to in mm, that others cover."""
    tree = shapely.STRtree(shapely.linestrings(chords.reshape(-1, 2, 2)))
    covers: dict[int, list[_Stretch]] = {}
    for start in range(0, count, _GROUP):
        group = tree.geometries[start : min(start + _GROUP, count)]
        mine, other = tree.query(group, predicate="dwithin", distance=_NEAR)
        mine = mine + start
        useful = (owners[mine] != owners[other]) & _run_alike(chords[mine], chords[other])
        mine, other = mine[useful], other[useful]
        begin, end = _stretches(chords[mine], chords[other])
        for k in np.flatnonzero(end > begin).tolist():
            stretch = (float(begin[k]), float(end[k]), int(owners[other[k]]))
            covers.setdefault(int(mine[k]), []).append(stretch)
    return covers


def _run_alike(chords: Rows, others: Rows) -> NDArray[np.bool_]:
    """Which pairs point the same way or opposite, give or take 17 degrees: others only cross."""
    a, b = chords[:, 2:] - chords[:, :2], others[:, 2:] - others[:, :2]
    sine = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return np.asarray(sine <= 0.3 * np.hypot(a[:, 0], a[:, 1]) * np.hypot(b[:, 0], b[:, 1]))


def _stretches(chords: Rows, others: Rows) -> tuple[Rows, Rows]:
    """From where to where along each chord the other one is near it, mm; backward when it never is."""
    along = chords[:, 2:] - chords[:, :2]
    length = np.hypot(along[:, 0], along[:, 1])
    unit = along / np.where(length > 0.0, length, 1.0)[:, None]
    from_, to = others[:, :2] - chords[:, :2], others[:, 2:] - chords[:, :2]
    beside0 = unit[:, 0] * from_[:, 1] - unit[:, 1] * from_[:, 0]
    beside1 = unit[:, 0] * to[:, 1] - unit[:, 1] * to[:, 0]
    at0, at1 = (unit * from_).sum(axis=1), (unit * to).sum(axis=1)
    rise = beside1 - beside0
    level = np.abs(rise) < 1e-12
    steep = np.where(level, 1.0, rise)
    one, two = (-_NEAR - beside0) / steep, (_NEAR - beside0) / steep
    # Shares of the other chord between which it is near the line through this one.
    low = np.where(level, 0.0, np.clip(np.minimum(one, two), 0.0, 1.0))
    high = np.where(
        level, np.where(np.abs(beside0) <= _NEAR, 1.0, 0.0), np.clip(np.maximum(one, two), 0.0, 1.0)
    )
    ends = np.stack((at0 + low * (at1 - at0), at0 + high * (at1 - at0)))
    return np.maximum(ends.min(axis=0), 0.0), np.minimum(ends.max(axis=0), length)


def _is_covered(chord: Rows, stretches: Sequence[_Stretch], dropped: set[int]) -> bool:
    """Whether stretches of lines that are not dropped leave none of the chord free."""
    reach = _NEAR
    length = float(np.hypot(chord[2] - chord[0], chord[3] - chord[1]))
    for begin, end, owner in sorted(stretches):
        if owner in dropped:
            continue
        if begin > reach + _NEAR:
            return False
        reach = max(reach, end)
    return reach >= length - _NEAR


def _points(path: Path) -> Rows:
    points = path.flatten(SAME / 4.0)
    return np.concatenate((points, points[:1])) if path.closed else points
