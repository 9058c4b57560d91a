"""The copies of one cutter file: each outline with its holes and lines, and the foam that stays."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from nestkit.checking.job_file import CUT_INSIDE, CUT_OUTSIDE, POCKET, SHEET, JobFile, Stroke, lines_of
from nestkit.checking.likeness import region_of
from nestkit.checking.limits import SPACING
from nestkit.checking.plan_entries import Key, PlanFile, SheetEntry
from nestkit.checking.verdict import Fault

#: Corners sharper than 11 degrees are cut off where the kerf is taken away again.
MITRE_LIMIT = 10.0

#: An outline on the wrong layer is known by its bounds, which must agree within this, mm.
ALIKE_BOUNDS = 1.0


@dataclass(frozen=True, eq=False)
class Piece:
    """One copy as it would be cut.

    Parameters
    ----------
    outline : Stroke
    holes : tuple of Stroke
        The inside cuts that lie in the outline and in no smaller one, whatever name they bear.
    lines : tuple of Stroke
        Marks, labels and pockets that bear its name.
    kerf : float, mm
    extra : bool
        True for a second outline of the same copy, which takes room but is no copy of its own.
    explained : bool
        True when a fault with its holes was told already, so that their number says nothing new.
    """

    outline: Stroke
    holes: tuple[Stroke, ...]
    lines: tuple[Stroke, ...]
    kerf: float
    extra: bool
    explained: bool

    @property
    def key(self) -> Key:
        """Part name and copy number."""
        return self.outline.key

    @cached_property
    def body(self) -> BaseGeometry:
        """The finished outline without its holes: what half the kerf leaves of the cut path."""
        return grown(self.outline.region, -self.kerf / 2.0)

    @cached_property
    def openings(self) -> tuple[BaseGeometry, ...]:
        """The finished holes."""
        return tuple(grown(hole.region, self.kerf / 2.0) for hole in self.holes)

    @cached_property
    def burnt_body(self) -> BaseGeometry:
        """The body as a round beam leaves it, so that inner corners are as round as the beam."""
        return self.outline.region.buffer(-self.kerf / 2.0)

    @cached_property
    def burnt_openings(self) -> tuple[BaseGeometry, ...]:
        """The holes as a round beam makes them."""
        return tuple(hole.region.buffer(self.kerf / 2.0) for hole in self.holes)

    @cached_property
    def foam(self) -> BaseGeometry:
        """The finished part."""
        return self.body.difference(shapely.union_all(self.openings)) if self.openings else self.body


def grown(region: BaseGeometry, by: float) -> BaseGeometry:
    """A region with its edge moved outward by ``by`` mm (inward when negative), corners kept sharp."""
    if by == 0.0:
        return region
    return region.buffer(by, join_style="mitre", mitre_limit=MITRE_LIMIT)


@dataclass(frozen=True, eq=False)
class Cutting:
    """Everything that one cutter file cuts, sorted by copy."""

    pieces: tuple[Piece, ...]
    spoilt: frozenset[Key]
    faults: tuple[Fault, ...]


def sort_out(job: JobFile, sheet: SheetEntry, plan: PlanFile) -> Cutting:
    """Put the strokes of a readable file together to copies.

    Faults: paths that are there twice or on the wrong layer, names that the part list does not have,
    holes that do not lie in the part they name.
    """
    work = _Sorting(job, sheet, plan)
    strokes = work.without_doubles()
    strokes = work.with_known_names(strokes)
    outlines = work.outlines(strokes)
    pieces = work.pieces(strokes, outlines)
    return Cutting(pieces, frozenset(work.spoilt), tuple(work.faults))


class _Sorting:
    def __init__(self, job: JobFile, sheet: SheetEntry, plan: PlanFile) -> None:
        self.job, self.plan = job, plan
        self.kerf = plan.kerf_on(sheet)
        self.placed = {placed.key: placed for placed in sheet.placed}
        self.spoilt = set(job.spoilt)
        self.faults: list[Fault] = []
        self._extra: set[int] = set()

    def _fault(self, code: str, stroke: Stroke, text: str) -> None:
        self.faults.append(Fault(code, self.job.name, stroke.part, stroke.copy or None, stroke.at, text))

    def without_doubles(self) -> list[Stroke]:
        """The strokes, of each path only the first."""
        strokes = list(self.job.strokes)
        if len(strokes) < 2:
            return strokes
        # Exact repeats go first, so that a file of thousands of them makes no millions of pairs.
        strokes = self._without_exact_doubles(strokes)
        bounds = np.array([stroke.line.bounds for stroke in strokes])
        centres = shapely.points((bounds[:, :2] + bounds[:, 2:]) / 2.0)
        first, second = shapely.STRtree(centres).query(centres, predicate="dwithin", distance=SPACING)
        near = (first < second) & (np.abs(bounds[first] - bounds[second]).max(axis=1) < SPACING)
        doubles: set[int] = set()
        for one, other in zip(first[near].tolist(), second[near].tolist(), strict=True):
            a, b = strokes[one], strokes[other]
            if (
                other in doubles
                or _pass_of(a) != _pass_of(b)
                or not (_covers(a.line, b.line) and _covers(b.line, a.line))
                or self._may_share(a, b)
            ):
                continue
            doubles.add(other)
            self._double(b, a)
        return [stroke for k, stroke in enumerate(strokes) if k not in doubles]

    def _without_exact_doubles(self, strokes: Sequence[Stroke]) -> list[Stroke]:
        seen: dict[tuple[str, bytes], Stroke] = {}
        kept = []
        for stroke in strokes:
            first = seen.setdefault((_pass_of(stroke), np.round(stroke.points, 3).tobytes()), stroke)
            if first is stroke or self._may_share(first, stroke):
                kept.append(stroke)
            else:
                self._double(stroke, first)
        return kept

    def _may_share(self, one: Stroke, other: Stroke) -> bool:
        """Whether two copies' strokes may run along one path.

        Lines of grooves run on into the foam that the cut burns away; where two copies lie a kerf apart, they
        have that foam in common. A hole may be cut along the edge of another part which fills it: that takes
        a gap and a kerf of nothing; else the two are too close, which is found where gaps are judged.
        """
        if one.key == other.key or "" in (one.part, other.part):
            return False
        if POCKET.fullmatch(one.layer):
            return self._lies_beside(one, other.key) and self._lies_beside(other, one.key)
        return {one.layer, other.layer} == {CUT_INSIDE, CUT_OUTSIDE}

    def _lies_beside(self, stroke: Stroke, neighbour: Key) -> bool:
        """Whether a stroke lies in the foam neither of its own copy nor of the neighbour."""
        copies = [self.placed.get(key) for key in (stroke.key, neighbour)]
        return all(
            copy is not None
            and stroke.line.intersection(region_of(copy.outline).buffer(-SPACING)).length <= SPACING
            for copy in copies
        )

    def _double(self, stroke: Stroke, first: Stroke) -> None:
        layers = stroke.layer if stroke.layer == first.layer else f"{stroke.layer} and on layer {first.layer}"
        self._fault("doubled", stroke, f"the same path is there twice, on layer {layers}")
        self.spoilt.add(stroke.key)

    def with_known_names(self, strokes: Sequence[Stroke]) -> list[Stroke]:
        """The strokes of copies that the part list has, and those without any name."""
        told: set[Key] = set()
        kept = []
        for stroke in strokes:
            if not stroke.part or self.plan.knows(stroke.key):
                kept.append(stroke)
            elif stroke.key not in told:
                told.add(stroke.key)
                if stroke.part in self.plan.parts:
                    copies = self.plan.parts[stroke.part].copies
                    self._fault("unknown-copy", stroke, f"the part list has {copies} of it")
                else:
                    self._fault("unknown-part", stroke, "the part list has no part of this name")
        return kept

    def outlines(self, strokes: Sequence[Stroke]) -> list[Stroke]:
        """One outline for each copy that has one, nameless ones too (they take room all the same)."""
        named: dict[Key, list[Stroke]] = defaultdict(list)
        for stroke in strokes:
            if stroke.layer == CUT_OUTSIDE:
                named[stroke.key].append(stroke)
        chosen = named.pop(("", 0), [])
        for key, several in named.items():
            placed = self.placed.get(key)
            # The one that lies as planned is the copy; failing that, the largest, since others may be holes.
            several.sort(
                key=lambda stroke: (
                    placed is None or not self._alike(stroke, placed.outline, 1.0),
                    -stroke.region.area,
                )
            )
            for extra in several[1:]:
                if placed is not None and any(self._alike(extra, hole, -1.0) for hole in placed.holes):
                    self._fault("wrong-layer", extra, f"a hole lies on layer {CUT_OUTSIDE}")
                else:
                    self._fault("doubled", extra, "the copy has a second outline in this file")
                    self._extra.add(extra.place)
                    chosen.append(extra)
                self.spoilt.add(key)
            chosen.append(several[0])
        for key, placed in self.placed.items():
            if key in named or key in self.spoilt:
                continue
            for stroke in strokes:
                nameless = not stroke.part and stroke.layer == CUT_OUTSIDE
                if (nameless or stroke.key == key) and self._alike(stroke, placed.outline, 1.0):
                    if not nameless:
                        self._fault("wrong-layer", stroke, f"the outline lies on layer {stroke.layer}")
                    self.spoilt.add(key)
                    break
        return sorted(chosen, key=lambda stroke: stroke.place)

    def _alike(self, stroke: Stroke, planned: NDArray[np.float64], side: float) -> bool:
        grow = side * self.kerf / 2.0
        low, high = planned.min(axis=0) - grow, planned.max(axis=0) + grow
        off = np.abs(np.concatenate((stroke.points.min(axis=0) - low, stroke.points.max(axis=0) - high)))
        return stroke.closed and bool(off.max() < ALIKE_BOUNDS)

    def pieces(self, strokes: Sequence[Stroke], outlines: Sequence[Stroke]) -> tuple[Piece, ...]:
        """The copies, each hole given to the smallest outline around it."""
        holes: dict[int, list[Stroke]] = defaultdict(list)
        explained: set[Key] = set()
        has_outline = {outline.key for outline in outlines}
        inside = [stroke for stroke in strokes if stroke.layer == CUT_INSIDE]
        for hole, host in zip(inside, self._hosts(inside, outlines), strict=True):
            if hole.key not in has_outline and hole.key in self.placed:
                continue  # that its outline is missing is told already
            if host is not None:
                holes[host].append(hole)
                if hole.key == outlines[host].key or not hole.part or not outlines[host].part:
                    continue
            lies = "in no outline" if host is None else "in " + _called(outlines[host])
            self._fault("hole-elsewhere", hole, f"its hole lies {lies}")
            explained.add(hole.key)
            if host is not None:
                explained.add(outlines[host].key)
        lines: dict[Key, list[Stroke]] = defaultdict(list)
        for stroke in lines_of(tuple(strokes)):
            lines[stroke.key].append(stroke)
        # Lines without a name are told already; they count for the part that they lie on.
        nameless = lines.pop(("", 0), [])
        for line, host in zip(nameless, self._hosts(nameless, outlines), strict=True):
            if host is not None:
                lines[outlines[host].key].append(line)
        explained |= self.spoilt
        return tuple(
            Piece(
                outline,
                tuple(holes[k]),
                tuple(lines[outline.key]) if outline.part else (),
                self.kerf,
                outline.place in self._extra,
                outline.key in explained,
            )
            for k, outline in enumerate(outlines)
        )

    @staticmethod
    def _hosts(inside: Sequence[Stroke], outlines: Sequence[Stroke]) -> list[int | None]:
        """For each hole or line the smallest outline that it lies in, by one of its points."""
        hosts: list[int | None] = [None] * len(inside)
        if not inside or not outlines:
            return hosts
        regions = [outline.region for outline in outlines]
        points = [(one.region if one.is_cut else one.line).representative_point() for one in inside]
        found, around = shapely.STRtree(regions).query(points, predicate="within")
        for k, host in zip(found.tolist(), around.tolist(), strict=True):
            best = hosts[k]
            large_enough = not inside[k].is_cut or regions[host].area > inside[k].region.area
            if large_enough and (best is None or regions[host].area < regions[best].area):
                hosts[k] = host
        return hosts


def _pass_of(stroke: Stroke) -> str:
    """The layer of what is etched: passes of bevels all round a part share their outer edge.

    So do a blank that is not cut here and a part as large as it.
    """
    return stroke.layer if POCKET.fullmatch(stroke.layer) or stroke.layer == SHEET else ""


def _called(stroke: Stroke) -> str:
    return f"'{stroke.part}' copy {stroke.copy}" if stroke.part else "an outline without a name"


def _covers(line: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether ``other`` runs along ``line``, never farther off than the spacing tolerance."""
    return bool(line.buffer(SPACING).covers(other))
