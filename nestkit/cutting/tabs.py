"""Holding tabs: short stretches of a small part's outline that stay uncut, so that it can't fall or tilt.

They are never at a corner, nor over a fold or bevel; where there is a choice, not on a small curve either,
since they are trimmed with a straight blade. The tool begins and ends beside a tab on the line itself,
without a lead-in: foam takes no harm from that, and a lead-in would cut into the next part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import Build, Part
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.cutting.kerf import cut_paths
from nestkit.errors import Finding
from nestkit.geometry import LineKind, Path
from nestkit.geometry.spread import Span, free_spans, spread
from nestkit.geometry.stretch import piece_lengths, points_on, stretch
from nestkit.units import show_length
from nestkit.words import counted

#: Cut kept between a tab's end and a corner, fold or bevel; between two tabs twice that. mm; common
#: practice, no source.
CLEARANCE = 2.0
#: What turns by more than this is a corner.
CORNER = math.radians(10.0)
#: So is an arc that turns so far and whose radius is below this, mm: a rounded corner.
SMALLEST_RADIUS = 1.0
#: An arc whose radius is below so many tabs is kept free if that can be, and below the second always: a tab
#: that turns by 30 degrees or more can't be trimmed well.
SMALL_CURVE, SMALLEST_CURVE = 4.0, 2.0
#: Neighbouring tabs keep at least this share of their even distance.
LEAST_SHARE = 0.5
#: How densely a path is looked at for folds, mm.
STEP = 0.1


@dataclass(frozen=True, slots=True)
class Tabs:
    """How many holding tabs an outline gets, and how long they are, mm, as they stay in the foam."""

    count: int
    length: float


def tabs_asked(build: Build, part: Part) -> Tabs | None:
    """The tabs that the build file asks for on this part's outline; None for none."""
    cutter = build.cutter
    if cutter.kind == "hand" or part.by_hand:
        return None
    is_small = max(part.shape.outline.size) <= cutter.tabs_up_to
    count = part.tabs if part.tabs is not None else cutter.tabs if is_small else 0
    length = cutter.tab_length if part.tab_length is None else part.tab_length
    return Tabs(count, length) if count else None


def tabs_of(build: Build, part: Part) -> Tabs | None:
    """The tabs that this part's outline gets, fewer than asked where there is less room; None without any."""
    asked, runs = tabs_asked(build, part), outline_runs(build, part)
    return replace(asked, count=len(runs)) if asked is not None and runs else None


def outline_runs(build: Build, part: Part) -> tuple[Path, ...]:
    """What is cut of a part's outline between its tabs, in turn; in the part's coordinates, kerf in.

    As many tabs as are asked for, or as find room. Empty when the outline is cut as a whole.
    """
    asked = tabs_asked(build, part)
    if asked is None:
        return ()
    cutter = build.cutter_for(part.material, part.thickness)
    room = _without_folds(build, part, cutter.kerf)
    outside = cut_paths(part.shape.outline, cutter.kerf).outside
    for count in range(asked.count, 0, -1):
        runs = runs_between_tabs(outside, replace(asked, count=count), cutter.kerf, room)
        if runs:
            return runs
    return ()


def tab_findings(build: Build) -> dict[str, tuple[Finding, ...]]:
    """Parts whose tabs do not all find room, or that are cut by hand, by the part's name."""
    found: dict[str, tuple[Finding, ...]] = {}
    for part in build.parts:
        if part.tabs and (part.by_hand or build.cutter.kind == "hand"):
            text = "the part is cut by hand, which knows no holding tabs"
            found[part.name] = (Finding("tabs-by-hand", text, "Leave tabs out.", file=part.source),)
        asked = tabs_asked(build, part)
        gets = len(outline_runs(build, part))
        if asked is None or gets == asked.count:
            continue
        length = show_length(asked.length, build.unit)
        what = counted(asked.count, "holding tab")
        text = (
            f"its outline has no room for {what} of {length} clear of corners and folds, "
            f"and gets {gets or 'none'}"
        )
        todo = f"Ask for fewer or shorter ones with tabs and tab_length: tabs = {gets} for this part."
        found[part.name] = (Finding("no-room-for-tabs", text, todo, file=part.source),)
    return found


def runs_between_tabs(
    path: Path, tabs: Tabs, kerf: float, folds: BaseGeometry | None = None
) -> tuple[Path, ...]:
    """The stretches of a closed path between its tabs, in turn; empty when there is no room for them.

    Parameters
    ----------
    path : Path
        What the tool follows: the kerf is in it.
    tabs : Tabs
    kerf : float, mm
        The cutter burns half of it beyond the end of a stretch, so that the gap is longer by all of it.
    folds : shapely geometry, optional
        Where no tab may be.
    """
    gap = tabs.length + kerf
    apart = max(LEAST_SHARE * path.length / tabs.count, gap + max(2.0 * CLEARANCE, gap))
    hard = [*_corners(path, SMALLEST_RADIUS + kerf / 2.0), *_over(path, folds)]
    hard += _small_curves(path, SMALLEST_CURVE * gap)
    for barred in ([*hard, *_small_curves(path, SMALL_CURVE * gap)], hard):
        wider = [(start - gap / 2.0, end + gap / 2.0) for start, end in barred]
        places = spread(path.length, tabs.count, apart, free_spans(path.length, wider))
        if places is not None:
            following = [*places[1:], places[0] + path.length]
            return tuple(
                stretch(path, place + gap / 2.0, after - gap / 2.0)
                for place, after in zip(places, following, strict=True)
            )
    return ()


def _without_folds(build: Build, part: Part, kerf: float) -> BaseGeometry | None:
    """Where no tab may be on account of folds and bevels; None when there are none."""
    lines = [line for line in part.shape.lines if line.kind in (LineKind.FOLD, LineKind.BEVEL)]
    if not lines:
        return None
    areas: list[BaseGeometry] = [LineString(_ends_met(line.path)) for line in lines]
    if has_folds(part):
        areas.append(grooves_of(build, part).mouths)
    return shapely.union_all(areas).buffer(CLEARANCE + kerf / 2.0)


def _ends_met(path: Path) -> NDArray[np.float64]:
    points = path.flatten()
    return np.vstack((points, points[:1])) if path.closed else points


def _corners(path: Path, smallest: float) -> Iterator[Span]:
    """Stretches about the corners of a closed path, and about arcs as small as a rounded corner."""
    pieces = path.pieces()
    lengths = piece_lengths(pieces)
    ends = np.cumsum(lengths)
    angles = 4.0 * np.arctan(pieces[:, 4])
    ways = np.arctan2(pieces[:, 3] - pieces[:, 1], pieces[:, 2] - pieces[:, 0])
    turns = np.roll(ways - angles / 2.0, -1) - (ways + angles / 2.0)
    turns = np.abs((turns + math.pi) % math.tau - math.pi)
    for k in np.flatnonzero(turns > CORNER).tolist():
        yield float(ends[k]) - CLEARANCE, float(ends[k]) + CLEARANCE
    for k in np.flatnonzero((np.abs(angles) > CORNER) & (lengths < smallest * np.abs(angles))).tolist():
        yield float(ends[k] - lengths[k]) - CLEARANCE, float(ends[k]) + CLEARANCE


def _small_curves(path: Path, radius: float) -> Iterator[Span]:
    pieces = path.pieces()
    lengths = piece_lengths(pieces)
    ends = np.cumsum(lengths)
    for k in np.flatnonzero(lengths < radius * np.abs(4.0 * np.arctan(pieces[:, 4]))).tolist():
        yield float(ends[k] - lengths[k]), float(ends[k])


def _over(path: Path, area: BaseGeometry | None) -> Iterator[Span]:
    """Stretches of a closed path that lie in an area, found to within a step on either side."""
    if area is None or area.is_empty:
        return
    pieces = path.pieces()
    lengths = piece_lengths(pieces)
    shapely.prepare(area)
    start = 0.0
    for k, length in enumerate(lengths.tolist()):
        count = math.ceil(length / STEP) + 1
        shares = np.linspace(0.0, 1.0, count)
        spots = points_on(np.repeat(pieces[k : k + 1], count, axis=0), shares)
        for inside in (start + length * shares[shapely.intersects_xy(area, spots)]).tolist():
            yield inside - STEP, inside + STEP
        start += length
