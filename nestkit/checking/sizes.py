"""Each copy against the part list and the plan: size, place, turn, holes and lines."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.checking.job_file import LABEL, MARK, POCKET, JobFile
from nestkit.checking.likeness import Deviation, Planned, motion_between, region_of
from nestkit.checking.limits import SIZE, SLACK
from nestkit.checking.pieces import ALIKE_BOUNDS, Piece, grown
from nestkit.checking.plan_entries import ListedPart, PlacedCopy
from nestkit.checking.verdict import REWRITE, Fault, from_place
from nestkit.errors import Point
from nestkit.units import show_area, show_gap, show_gaps, show_given, show_length

#: What is left of a hole is not worth a cut when it is smaller than this, mm^2.
CRUMB = SIZE * SIZE

#: Factors by which a whole drawing goes wrong when its unit is taken for another.
FACTORS: tuple[tuple[float, str], ...] = (
    (25.4, "it looks like inches read as millimetres"),
    (1.0 / 25.4, "it looks like millimetres read as inches"),
    (10.0, "it looks like centimetres read as millimetres"),
    (0.1, "it looks like millimetres read as centimetres"),
    (96.0 / 25.4, "it looks like millimetres written as pixels"),
    (72.0 / 25.4, "it looks like millimetres written as points"),
)


def unit_mix_up(factor: float) -> str:
    """What a wrong factor looks like, empty when it is none of the known ones."""
    return next((text for known, text in FACTORS if abs(factor / known - 1.0) < 0.01), "")


class SizeJudge:
    """Judges the copies of one file; faults are gathered in ``faults``."""

    def __init__(self, job: JobFile) -> None:
        self._job, self._unit = job, job.unit
        self.faults: list[Fault] = []

    def piece(self, piece: Piece, listed: ListedPart, placed: PlacedCopy) -> None:
        """Judge one copy against its line in the part list and its place in the plan."""
        before = len(self.faults)
        slots = _closed_slots(piece, placed)
        shift = self._outline(piece, listed, placed, slots)
        if shift is not None:
            self._holes(piece, placed, shift, slots)
        self._lines(piece, listed)
        if len(self.faults) == before and not piece.explained:
            self._area(piece, listed)

    def _fault(self, code: str, piece: Piece, at: Point | None, text: str, todo: str = REWRITE) -> None:
        self.faults.append(Fault(code, self._job.name, *piece.key, at or piece.outline.at, text, todo))

    def _kerf(self, piece: Piece) -> str:
        return f"kerf of {show_given(piece.kerf, self._unit)}"

    def _outline(
        self, piece: Piece, listed: ListedPart, placed: PlacedCopy, slots: frozenset[int]
    ) -> Point | None:
        """Judge the outline; gives how far it is moved, or None when holes can't be judged by it."""
        if piece.body.is_empty:
            self._fault("size", piece, None, "nothing of the part is left once the kerf is taken off")
            return None
        low, high = _own_bounds(piece.body, placed)
        wrong = high - low - (listed.width, listed.height)
        off_size = bool(np.abs(wrong).max() > SIZE + SLACK)
        off_place = bool(max(np.abs(low).max(), np.abs(low + wrong).max()) > SIZE + SLACK)
        planned = Planned(region_of(placed.outline), piece.kerf, hole=False, curved=piece.outline.curved)
        body = _without(piece.body, [piece.openings[k] for k in slots])
        burnt = _without(piece.burnt_body, [piece.burnt_openings[k] for k in slots])
        bad = planned.deviation(body)
        # A corner rounder than sharp, but less round than the beam, comes out as round as the beam.
        if bad is not None and (off_size or planned.deviation(burnt) is not None):
            return self._explain(piece, listed, planned, bad, wrong if off_size else None)
        if off_size:
            self._wrong_size(piece, listed, wrong)
            return None
        if off_place:
            self._fault("moved", piece, None, "x, y or turn in plan.json do not lead to where the part lies")
        else:
            self._lost(piece, planned.lost(body))
            for k in sorted(slots):
                text = f"a slot is narrower than the {self._kerf(piece)} at its mouth and is cut as a hole"
                self._fault("detail-lost", piece, piece.holes[k].at, text, "Widen the slot or leave it out")
        return 0.0, 0.0

    def _explain(
        self,
        piece: Piece,
        listed: ListedPart,
        planned: Planned,
        bad: Deviation,
        wrong: NDArray[np.float64] | None,
    ) -> Point | None:
        """Find the plainest reason why an outline is not as planned; gives what `_outline` gives."""
        shift = planned.shift(piece.body)
        if shift is not None and wrong is None:
            self._moved(piece, shift)
            return shift
        motion = motion_between(piece.body, planned.region) if shift is None else None
        if motion is not None:
            if motion.mirrored:
                self._fault("mirrored", piece, None, "the part is mirrored against the plan")
            else:
                by = f"{math.degrees(motion.turn):.2f} degrees"
                self._fault("turned", piece, None, f"the part is turned by {by} against the plan")
            return None
        fault = _kerf_fault(piece, piece.body, planned)
        if fault:
            self._fault("kerf", piece, bad.at, fault)
            return None
        if wrong is not None:
            self._wrong_size(piece, listed, wrong)
            return None
        self._fault(
            "shape", piece, bad.at, f"the part's edge lies {show_gap(bad.size, self._unit)} off the plan"
        )
        return 0.0, 0.0

    def _moved(self, piece: Piece, shift: Point) -> None:
        self._fault("moved", piece, None, f"the part lies {from_place(shift, self._unit)}")

    def _wrong_size(self, piece: Piece, listed: ListedPart, wrong: NDArray[np.float64]) -> None:
        width, height = listed.width + wrong[0], listed.height + wrong[1]
        found = show_gaps(width, height, self._unit)
        meant = show_gaps(listed.width, listed.height, self._unit)
        is_size = f"turned back it is {found}, not {meant}"
        factors = (width / max(listed.width, 1e-9), height / max(listed.height, 1e-9))
        alike = abs(factors[0] / factors[1] - 1.0) < 0.01
        hint = unit_mix_up(math.sqrt(factors[0] * factors[1])) if alike else ""
        self._fault("size", piece, None, is_size + (f"; {hint}" if hint else ""))

    def _area(self, piece: Piece, listed: ListedPart) -> None:
        off, unit = abs(piece.foam.area - listed.area), self._unit
        if off > (SIZE + SLACK) * piece.foam.length + 0.5:
            text = f"its area is {show_area(piece.foam.area, unit)}, not {show_area(listed.area, unit)}"
            self._fault("area", piece, None, text)

    def _lost(self, piece: Piece, lost: Deviation | None) -> None:
        if lost is not None:
            deep = show_length(lost.size, self._unit)
            text = f"a slit narrower than the {self._kerf(piece)} is not cut, {deep} deep"
            self._fault("detail-lost", piece, lost.at, text, "Widen the slit or leave it out")

    def _holes(self, piece: Piece, placed: PlacedCopy, shift: Point, slots: frozenset[int]) -> None:
        planned = [affinity.translate(region_of(ring), *shift) for ring in placed.holes]
        too_narrow = {m for m, region in enumerate(planned) if _is_too_narrow(region, piece.kerf)}
        pairs = dict(_pair_up(piece, planned, too_narrow))
        splits = _splits(piece, planned, pairs)
        split = {k for several in splits.values() for k in several}
        for k, hole in enumerate(piece.holes):
            if k in pairs:
                region, several = planned[pairs[k]], (k, *splits.get(pairs[k], ()))
                curved = any(piece.holes[one].curved for one in several)
                meant = Planned(region, piece.kerf, hole=True, curved=curved)
                back = affinity.translate(region, -shift[0], -shift[1])
                unmoved = replace(meant, region=back) if any(shift) else None
                self._hole(piece, several, meant, unmoved)
            elif not piece.explained and k not in slots and k not in split:
                self._fault("hole-extra", piece, hole.at, "the plan has no such hole")
        for k in sorted(set(range(len(planned))) - set(pairs.values())):
            if k in too_narrow:
                text = f"the hole is narrower than the {self._kerf(piece)} and isn't cut"
                at = planned[k].representative_point()
                self._fault("kerf-hole", piece, (at.x, at.y), text, "Draw it larger or as a mark")
            elif not planned[k].is_empty and not piece.explained:
                self._missing_hole(piece, planned[k])

    def _missing_hole(self, piece: Piece, planned: BaseGeometry) -> None:
        bounds = np.array(planned.bounds)
        for line in piece.lines:
            if line.closed and np.abs(np.array(line.line.bounds) - bounds).max() < ALIKE_BOUNDS:
                self._fault("wrong-layer", piece, line.at, f"a hole lies on layer {line.layer}")
                return
        at = planned.representative_point()
        self._fault("hole-missing", piece, (at.x, at.y), "the plan has a hole here")

    def _hole(
        self, piece: Piece, several: tuple[int, ...], planned: Planned, unmoved: Planned | None
    ) -> None:
        opening = shapely.union_all([piece.openings[k] for k in several])
        burnt = shapely.union_all([piece.burnt_openings[k] for k in several])
        bad = planned.deviation(opening)
        if bad is not None and unmoved is not None and _is_as(unmoved, opening, burnt):
            return  # only the outline is moved, which is told already
        if bad is not None and _is_as(planned, burnt):
            bad = None  # its corners are as round as the beam
        if bad is None:
            if len(several) > 1:
                text = f"the hole is narrower than the {self._kerf(piece)} in places and is cut as "
                text += f"{len(several)} holes"
                at = piece.holes[several[0]].at
                self._fault("detail-lost", piece, at, text, "Widen its narrow places")
            else:
                self._lost(piece, planned.lost(opening))
            return
        shift, kerf = planned.shift(opening), _kerf_fault(piece, opening, planned)
        if shift is not None:
            text = f"the hole lies {from_place(shift, self._unit)}"
            self._fault("hole-wrong", piece, bad.at, text)
        elif kerf:
            self._fault("kerf", piece, bad.at, kerf)
        else:
            text = f"the hole's edge lies {show_gap(bad.size, self._unit)} off the plan"
            self._fault("hole-wrong", piece, bad.at, text)

    def _lines(self, piece: Piece, listed: ListedPart) -> None:
        pockets = [line for line in piece.lines if POCKET.fullmatch(line.layer) is not None]
        if listed.marks is None:
            drawn, wanted = sum(line.layer == MARK for line in piece.lines) + len(pockets), listed.lines
        else:
            # Grooves that meet are one area, so that their number says nothing; see `etching`.
            drawn, wanted = sum(line.layer == MARK for line in piece.lines), listed.marks
        if drawn < wanted and not piece.explained:
            self._fault("mark-missing", piece, None, f"{drawn} of its {wanted} marks are drawn")
        # The cut path is the finished edge and half the kerf; pockets run past the edge by the whole kerf.
        room = piece.outline.region.buffer(SIZE + SLACK, quad_segs=4)
        wider = grown(piece.body, piece.kerf + SIZE + SLACK) if pockets else room
        shapely.prepare(room)
        shapely.prepare(wider)
        for line in piece.lines:
            if not (room if line.layer in (MARK, LABEL) else wider).covers(line.line):
                self._fault("mark-outside", piece, line.at, f"a path on layer {line.layer} leaves the part")


def _kerf_fault(piece: Piece, found: BaseGeometry, planned: Planned) -> str:
    """What is wrong with the kerf, when that alone explains the difference; else empty."""
    if piece.kerf <= SIZE or planned.region.is_empty:
        return ""
    done, what = ("taken off", "the hole") if planned.hole else ("added", "the outline")
    for times, text in (
        (0.5, f"half the kerf was not {done} on {what}"),
        (1.0, f"half the kerf was {'added' if planned.hole else 'taken off'} instead of {done} on {what}"),
    ):
        by = -times * piece.kerf if planned.hole else times * piece.kerf
        if planned.deviation(grown(found, by)) is None:
            return text
    return ""


def _is_as(planned: Planned, *several: BaseGeometry) -> bool:
    """Whether one of some regions is as planned."""
    return any(planned.deviation(found) is None for found in several)


def _is_too_narrow(hole: BaseGeometry, kerf: float) -> bool:
    """Whether the kerf leaves no path to cut a hole by."""
    return not hole.is_empty and kerf > 0.0 and hole.buffer(-kerf / 2.0).area < CRUMB


def _closed_slots(piece: Piece, placed: PlacedCopy) -> frozenset[int]:
    """Holes that are the wide end of a slot of the outline, whose mouth the kerf is too wide for."""
    if piece.kerf <= 0.0 or not piece.openings:
        return frozenset()
    outline = region_of(placed.outline)
    points = [opening.representative_point() for opening in piece.openings]
    beside = [k for k, point in enumerate(points) if not outline.covers(point)]
    if not beside:
        return frozenset()
    half = piece.kerf / 2.0
    closed = outline.buffer(half).buffer(-half)
    ends = shapely.union_all([Polygon(ring) for ring in getattr(closed, "interiors", ())])
    return frozenset(k for k in beside if ends.covers(points[k]))


def _splits(piece: Piece, planned: list[BaseGeometry], pairs: dict[int, int]) -> dict[int, tuple[int, ...]]:
    """For planned holes that are cut as several, the kerf being too wide: the openings beside the paired."""
    splits: dict[int, tuple[int, ...]] = {}
    left = [k for k in range(len(piece.openings)) if k not in pairs]
    for m in sorted(set(pairs.values())) if left else ():
        inside = [k for k in left if planned[m].covers(piece.openings[k].representative_point())]
        if inside and planned[m].buffer(-piece.kerf / 2.0).geom_type == "MultiPolygon":
            splits[m] = tuple(inside)
    return splits


def _without(region: BaseGeometry, openings: list[BaseGeometry]) -> BaseGeometry:
    return region.difference(shapely.union_all(openings)) if openings else region


def _own_bounds(body: BaseGeometry, placed: PlacedCopy) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bounds of a part moved, turned and mirrored back to its own coordinates, each (2,) float."""
    x, y = (shapely.get_coordinates(body) - (placed.x, placed.y)).T
    cos, sin = math.cos(placed.turn), math.sin(placed.turn)
    own = np.column_stack((cos * x + sin * y, cos * y - sin * x))
    if placed.mirrored:
        own[:, 0] *= -1.0
    return own.min(axis=0), own.max(axis=0)


def _pair_up(piece: Piece, planned: list[BaseGeometry], too_narrow: set[int]) -> Iterator[tuple[int, int]]:
    """Which opening is which planned hole, each once: by the area they share, then the nearest.

    A hole that is too narrow to be cut is only paired with an opening that lies where it lies.
    """
    if not piece.openings or not planned:
        return
    found, meant = shapely.STRtree(planned).query(piece.openings, predicate="intersects")
    pairs = zip(found.tolist(), meant.tolist(), strict=True)
    shared = [(-piece.openings[k].intersection(planned[m]).area, k, m) for k, m in pairs]
    openings, holes = set(range(len(piece.openings))), set(range(len(planned)))
    for _, k, m in sorted(shared):
        if k in openings and m in holes:
            openings.remove(k)
            holes.remove(m)
            yield k, m
    holes -= too_narrow
    # A hole that lies elsewhere altogether: only where their number agrees is it told as moved.
    if len(openings) == len(holes):
        for k in sorted(openings):
            m = min(holes, key=lambda m: (piece.openings[k].distance(planned[m]), m))
            holes.remove(m)
            yield k, m
