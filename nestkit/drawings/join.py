"""Open cut paths joined end to end into closed ones.

Ends that coincide are joined first, then the nearest ends within a tolerance. Where more than two ends meet,
a line that comes back to the same point is closed there, and the others go on as smoothly as they can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.drawings.dxf_curves import path_of_rows
from nestkit.drawings.join_covered import drop_covered
from nestkit.drawings.join_doubled import SAME, doubled_line, drop_doubled
from nestkit.drawings.join_ends import Ends
from nestkit.drawings.model import DrawnPath
from nestkit.errors import Finding
from nestkit.geometry import Path
from nestkit.units import Unit, show_gap, show_place

#: Ends no farther apart than this are joined, mm.
JOIN = 0.1

#: A smaller gap is not worth telling, mm.
NO_GAP = 0.001

#: A line that is left open and is shorter than this many tolerances is dropped.
SHORTEST = 3.0


@dataclass(frozen=True, slots=True)
class Joined:
    """Cut paths after joining.

    Parameters
    ----------
    closed, open : tuple of DrawnPath
        Each with the layer, id and names of the first path in it.
    findings : tuple of Finding
    """

    closed: tuple[DrawnPath, ...]
    open: tuple[DrawnPath, ...]
    findings: tuple[Finding, ...]


def join_paths(paths: Sequence[DrawnPath], tolerance: float = JOIN, unit: Unit = "mm") -> Joined:
    """Joins open paths into closed ones; those that are closed stay as they are.

    Parameters
    ----------
    paths : sequence of DrawnPath
        All to be cut.
    tolerance : float, mm
        The largest gap that is closed, by moving both ends to its middle.
    unit : "mm" or "in"
        In which findings speak.

    Returns
    -------
    Joined
        Findings: `doubled-line`, `gap-closed` (both mended), `branching-outline`, `open-outline`.
    """
    closed = [drawn for drawn in paths if drawn.path.closed]
    strands, findings = drop_doubled([drawn for drawn in paths if not drawn.path.closed], unit)
    if not strands:
        return Joined(tuple(closed), (), tuple(findings))
    ends = Ends([drawn.path.vertices for drawn in strands])
    ends.join_coinciding(NO_GAP, tolerance)
    branches = ends.branches(NO_GAP)
    ends.join_nearest(tolerance)
    overlaps = ends.join_overlapping(SAME)
    open_: list[DrawnPath] = []
    points = ends.points.tolist()
    for chain in ends.chains():
        drawn = strands[chain.steps[0][0]]
        path = path_of_rows(_rows(chain.steps, strands, points), chain.closed)
        if path is None:
            continue
        if path.closed:
            closed.append(replace(drawn, path=path))
        elif path.length > SHORTEST * tolerance:
            open_.append(replace(drawn, path=path))
        else:
            findings.append(_too_short(drawn, path, unit))
    findings += _gaps(ends, strands, unit)
    findings += [doubled_line(strands[e // 2], length, _xy(ends.points[e]), unit) for e, length in overlaps]
    open_, covered = drop_covered(open_, closed, unit)
    findings += [_branch(strands[e // 2], count, _xy(ends.places[e])) for e, count in branches]
    findings += covered + _still_open(open_, unit)
    return Joined(tuple(closed), tuple(open_), tuple(findings))


def _xy(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _rows(
    steps: Sequence[tuple[int, bool]], strands: Sequence[DrawnPath], points: list[list[float]]
) -> list[list[float]]:
    """One list of x, y, bulge of strands in order, each forward or backward, between their joined ends."""
    rows: list[list[float]] = []
    for strand, backward in steps:
        own = strands[strand].path.vertices.tolist()
        own[0][:2], own[-1][:2] = points[2 * strand], points[2 * strand + 1]
        if backward:
            bulges = [-row[2] for row in own[-2::-1]] + [0.0]
            own = [[row[0], row[1], bulge] for row, bulge in zip(own[::-1], bulges, strict=True)]
        if rows:
            rows.pop()
        rows += own
    return rows


def _too_short(drawn: DrawnPath, path: Path, unit: Unit) -> Finding:
    return Finding(
        "tiny-sliver",
        f"a line of {show_gap(path.length, unit)} belongs to no outline and was dropped",
        mended=True,
        layer=drawn.layer,
        id=drawn.id,
        at=path.start,
    )


def _gaps(ends: Ends, strands: Sequence[DrawnPath], unit: Unit) -> list[Finding]:
    return [
        Finding(
            "gap-closed",
            f"a gap of {_told_gap(size, unit)} in an outline was closed",
            mended=True,
            layer=strands[e // 2].layer,
            id=strands[e // 2].id,
            at=_xy(ends.points[e]),
        )
        for e, size in ends.gaps(NO_GAP)
    ]


def _told_gap(size: float, unit: Unit) -> str:
    least = 0.01
    return show_gap(size, unit) if size >= least else f"less than {show_gap(least, unit)}"


def _branch(drawn: DrawnPath, count: int, at: tuple[float, float]) -> Finding:
    return Finding(
        "branching-outline",
        f"{count} cut lines meet in one point, so it is not certain which belong together",
        "Draw each outline as one closed path of its own, and lines within a part on a mark layer.",
        layer=drawn.layer,
        id=drawn.id,
        at=at,
    )


def _still_open(open_: Sequence[DrawnPath], unit: Unit) -> list[Finding]:
    """A finding for each gap: from an end to the nearest other end."""
    if not open_:
        return []
    points = np.array([point for drawn in open_ for point in (drawn.path.start, drawn.path.end)])
    places = shapely.points(points)
    near, distances = shapely.STRtree(places).query_nearest(
        places, exclusive=True, all_matches=False, return_distance=True
    )
    told: set[frozenset[int]] = set()
    findings = []
    for a, b, size in zip(*near.tolist(), distances.tolist(), strict=True):
        pair = frozenset((a, b))
        if pair in told:
            continue
        told.add(pair)
        drawn = open_[a // 2]
        findings.append(
            Finding(
                "open-outline",
                f"an outline is open: {show_gap(size, unit)} are missing from here to "
                f"{show_place(_xy(points[b]), unit)}",
                "Join the two ends in the drawing, or put the line on a mark layer if it is not cut through.",
                layer=drawn.layer,
                id=drawn.id,
                at=_xy(points[a]),
            )
        )
    return findings
