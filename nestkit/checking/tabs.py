"""Holding tabs as cut: as many and as long as planned, and the outline whole but for them.

What the cutter leaves between two runs of an outline is closed by an arc that turns as the runs do on both
sides, so that the rest of the check sees the outline as if it had been cut all round.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point
from shapely.ops import substring

from nestkit.checking.bulges import flatten
from nestkit.checking.etching import placed_line
from nestkit.checking.job_file import CUT_OUTSIDE, JobFile, Stroke
from nestkit.checking.likeness import OFF_ARC, region_of
from nestkit.checking.limits import SIZE, SLACK
from nestkit.checking.pieces import grown
from nestkit.checking.plan_entries import Key, ListedPart, PlacedCopy, PlanFile, SheetEntry
from nestkit.checking.verdict import Fault
from nestkit.units import show_gap

#: Two chords that turn by no more than this may follow one arc.
SMOOTH = math.radians(20.0)
#: A tab that turns by more than this at one point lies on a corner (the plan's curves turn by less).
CORNER = math.radians(40.0)


def tabbed_parts(plan: PlanFile, sheet: SheetEntry) -> frozenset[str]:
    """Names of the parts whose outlines have tabs on this sheet."""
    if sheet.how == "hand":
        return frozenset()
    return frozenset(name for name, part in plan.parts.items() if part.tabs)


def with_whole_outlines(job: JobFile, sheet: SheetEntry, plan: PlanFile) -> tuple[JobFile, tuple[Fault, ...]]:
    """The file as if outlines with tabs were cut all round, and what is wrong with the tabs."""
    tabbed = tabbed_parts(plan, sheet)
    if not tabbed:
        return job, ()
    placed = {one.key: one for one in sheet.placed}
    runs: dict[Key, list[Stroke]] = defaultdict(list)
    kept: list[Stroke] = []
    faults: list[Fault] = []
    for stroke in job.strokes:
        if stroke.layer == CUT_OUTSIDE and stroke.part in tabbed and not stroke.closed:
            runs[stroke.key].append(stroke)
            continue
        kept.append(stroke)
        if stroke.layer == CUT_OUTSIDE and stroke.part in tabbed and stroke.key in placed:
            text = "the outline is cut all round, and the plan leaves tabs"
            faults.append(Fault("tabs", job.name, *stroke.key, stroke.at, text))
    spoilt = set(job.spoilt)
    for key, several in runs.items():
        judge = _TabJudge(job, plan.parts[key[0]], placed.get(key), several)
        whole = judge.whole(plan.kerf_on(sheet))
        faults += judge.faults
        if whole.region.is_valid and whole.region.area > 0.0:
            kept.append(whole)
        else:
            text = "the runs of its outline cross or overlap"
            faults.append(Fault("crossing", job.name, *key, whole.at, text))
            spoilt.add(key)
    strokes = tuple(sorted(kept, key=lambda stroke: stroke.place))
    return replace(job, strokes=strokes, spoilt=frozenset(spoilt)), tuple(faults)


class _TabJudge:
    """The runs of one copy's outline."""

    def __init__(
        self, job: JobFile, listed: ListedPart, placed: PlacedCopy | None, runs: list[Stroke]
    ) -> None:
        self._job, self._listed, self._placed, self._runs = job, listed, placed, runs
        self.faults: list[Fault] = []

    def _fault(self, at: NDArray[np.float64], text: str) -> None:
        x, y = at.tolist()
        self.faults.append(Fault("tabs", self._job.name, *self._runs[0].key, (x, y), text))

    def whole(self, kerf: float) -> Stroke:
        """The outline as if cut all round; judges number, length and place of what it lacks."""
        runs, asked = self._runs, self._listed.tabs
        if len(runs) != asked:
            self._fault(runs[0].points[0], f"its outline has {len(runs)} tabs, not {asked}")
        if any(after.place != before.place + 1 for before, after in pairwise(runs)):
            self._fault(runs[0].points[0], "the runs of its outline are not cut one after the other")
        edge = self._edge(kerf)
        points = []
        for run, following in zip(runs, [*runs[1:], runs[0]], strict=True):
            points += [run.points, self._tab(edge, run.points, following.points, kerf)]
        return replace(
            runs[0], closed=True, points=np.concatenate(points), curved=any(run.curved for run in runs)
        )

    def _edge(self, kerf: float) -> LineString | None:
        """The line that the cut should follow; None when the plan's outline is unusable."""
        if self._placed is None:
            return None
        region = grown(region_of(self._placed.outline), kerf / 2.0)
        return LineString(region.exterior) if region.geom_type == "Polygon" and region.area > 0.0 else None

    def _tab(
        self,
        edge: LineString | None,
        before: NDArray[np.float64],
        after: NDArray[np.float64],
        kerf: float,
    ) -> NDArray[np.float64]:
        """Judge the tab between two runs; the points between them that close the outline there."""
        # On a corner, only the plan knows the way; elsewhere its chords would cut off small curves.
        tab = _along(edge, before[-1], after[0])
        if (np.abs(_turns(tab)) > CORNER).any():
            self._fault(tab[0], "a tab lies on a corner")
        else:
            tab = _bent(before, after)
        line, wanted, unit = LineString(tab), self._listed.tab_length, self._job.unit
        # The cutter burns half its kerf beyond the end of each run.
        length = line.length - kerf
        if abs(length - wanted) > SIZE + SLACK:
            self._fault(tab[0], f"a tab is {show_gap(length, unit)} long, not {show_gap(wanted, unit)}")
        if any(line.distance(fold) <= room for fold, room in self._folds()):
            self._fault(tab[0], "a tab lies over a fold or bevel")
        return tab[1:-1]

    def _folds(self) -> Iterator[tuple[LineString, float]]:
        """Lines of folds and bevels, and how far their grooves reach from them, mm."""
        if self._placed is None:
            return
        for fold in self._listed.folds:
            yield placed_line(fold, self._placed), fold.mouth / fold.halves


def _turns(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far a line turns at each of its inner points, radians, positive to the left."""
    steps = np.diff(points, axis=0)
    turns: NDArray[np.float64] = np.diff(np.arctan2(steps[:, 1], steps[:, 0]))
    return (turns + math.pi) % math.tau - math.pi


def _bent(before: NDArray[np.float64], after: NDArray[np.float64]) -> NDArray[np.float64]:
    """An arc from the end of one run to the start of the next, which turns by what lies between them."""
    turn = float(_turns(np.vstack((before[-2:], before[-1:] + after[1] - after[0])))[0])
    # The chords of an arc are turned by half a step from its ends.
    for beside in (before[-3:], after[:3]):
        step = float(_turns(beside)[0]) if len(beside) == 3 else 0.0
        turn -= step / 2.0 if abs(step) < SMOOTH else 0.0
    return flatten(np.array([(*before[-1], math.tan(turn / 4.0)), (*after[0], 0.0)]), False)


def _along(
    edge: LineString | None, start: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The way between two points along an edge, the shorter way round; straight if they don't lie on it."""
    points: Sequence[Point] = [Point(start), Point(end)]
    if edge is None or any(edge.distance(point) > OFF_ARC for point in points):
        return np.array([start, end])
    places = [edge.project(point) for point in points]
    low, high = sorted(places)
    inner = shapely.get_coordinates(substring(edge, low, high))
    if high - low > edge.length / 2.0:
        after, before = substring(edge, high, edge.length), substring(edge, 0.0, low)
        inner = np.vstack((shapely.get_coordinates(after), shapely.get_coordinates(before)[1:]))
        places = places[::-1]
    between = inner[1:-1] if places[0] <= places[1] else inner[1:-1][::-1]
    return np.vstack((start, between, end))
