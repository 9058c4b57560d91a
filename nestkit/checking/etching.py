"""Folds and bevels as etched: passes inside each other, the skin left, the areas where the plan has folds."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.checking.job_file import MARK, POCKET, JobFile, Stroke
from nestkit.checking.limits import SIZE, SLACK
from nestkit.checking.pieces import Piece, grown
from nestkit.checking.plan_entries import Etching, Key, ListedFold, ListedPart, PlacedCopy, SheetEntry
from nestkit.checking.verdict import Fault
from nestkit.errors import Point
from nestkit.units import show_gap, show_given

#: A skin may come out thinner than asked by this, mm: rounded digits.
SKIN = 0.01
#: The pitch that a file names is the plan's within this, mm.
PITCH = 1e-3
#: Areas smaller than this are what flattening and rounding leave, mm^2.
CRUMB = 0.05
#: Share by which a groove's passes may miss the area of its V.
V_SHARE = 0.001
#: Share by which lines, where they run out at a groove's edges and ends, may miss its area.
AMOUNT = 0.03
#: Grooves run on beyond the end of their line where an edge meets it no sharper than this.
SHARPEST = math.radians(19.0)

_MITRE = 5.0


def judge_passes(job: JobFile, sheet: SheetEntry | None) -> Iterator[Fault]:
    """What the layers of one file say of their depths, by itself and against the plan."""
    unit = job.unit
    used = sorted({s.layer for s in job.strokes if POCKET.fullmatch(s.layer)})
    numbers = [int(layer[-2:]) for layer in used]
    if numbers and numbers != list(range(1, len(numbers) + 1)):
        yield Fault("pass", job.name, text=f"the passes are {', '.join(used)}: one is missing")
    depths = [job.depths[layer] for layer in used if layer in job.depths]
    if any(deeper <= depth for depth, deeper in pairwise(depths)):
        yield Fault("pass", job.name, text="a pass does not go deeper than the one before")
    if depths and job.thickness is not None and job.skin is not None:
        left = job.thickness - max(depths)
        if left < job.skin - SKIN:
            text = (
                f"{show_gap(left, unit)} of foam are left under the grooves, not {show_gap(job.skin, unit)}"
            )
            yield Fault("skin", job.name, text=text)
    plan = None if sheet is None else sheet.etching
    if plan is None or sheet is None:
        return
    if not used:
        yield Fault("pass", job.name, text="the plan etches this sheet, and the file etches nothing")
        return
    if job.thickness is None or job.skin is None or len(depths) < len(used):
        yield Fault("pass", job.name, text="the file does not say how deep its passes go")
        return
    if abs(job.thickness - sheet.thickness) > SKIN or abs(job.skin - plan.skin) > SKIN:
        text = (
            f"the file is for foam of {show_gap(job.thickness, unit)} with a skin of "
            f"{show_gap(job.skin, unit)}, the plan for {show_gap(sheet.thickness, unit)} and "
            f"{show_gap(plan.skin, unit)}"
        )
        yield Fault("skin", job.name, text=text)
    told = dict(plan.passes)
    if set(told) != set(used) or any(abs(told[layer] - job.depths[layer]) > SKIN for layer in used):
        yield Fault("pass", job.name, text="the file's passes and their depths are not those of the plan")
    asked = plan.pitch if plan.hatched else None
    if (asked is None) != (job.pitch is None) or abs((asked or 0.0) - (job.pitch or 0.0)) > PITCH:
        is_pitch, meant = (
            "areas" if pitch is None else f"lines at a pitch of {show_given(pitch, unit)}"
            for pitch in (job.pitch, asked)
        )
        yield Fault("pass", job.name, text=f"the file says that it etches {is_pitch}, the plan says {meant}")


def judge_folds(
    job: JobFile, sheet: SheetEntry, piece: Piece, listed: ListedPart, placed: PlacedCopy
) -> Iterator[Fault]:
    """The folds and bevels of one copy, etched or marked."""
    pockets = _by_pass(piece.lines)
    plan = sheet.etching
    judge = _FoldJudge(job, piece.key, plan.pitch if plan is not None and plan.hatched else None)
    yield from judge.nesting(pockets, piece.foam)
    if not listed.folds:
        if pockets and listed.marks is not None:
            yield judge.fault("pocket-wrong", pockets[min(pockets)][0].at, "the part has no fold or bevel")
        return
    lines = [(fold, placed_line(fold, placed)) for fold in listed.folds]
    if sheet.etching is None:
        yield from judge.lips(piece, lines)
        return
    yield from judge.widths(piece.outline.at, listed.folds, sheet.etching)
    etched = _Etched(piece.foam, pockets, lines, sheet.etching)
    yield from judge.areas(etched)
    if sheet.etching.hatched:
        yield from judge.amounts(etched)


def judge_nesting(job: JobFile) -> Iterator[Fault]:
    """The passes of every name in a file, without any plan: each inside the one before."""
    named: dict[Key, list[Stroke]] = defaultdict(list)
    for stroke in job.strokes:
        named[stroke.key].append(stroke)
    for key, strokes in named.items():
        yield from _FoldJudge(job, key, job.pitch).nesting(_by_pass(strokes))


def etched_region(strokes: Sequence[Stroke], pitch: float) -> BaseGeometry:
    """What is etched in one pass: inside an odd number of the closed paths, or along lines at their pitch."""
    region: BaseGeometry = Polygon()
    for stroke in strokes:
        if stroke.closed:
            region = region.symmetric_difference(stroke.region)
    lines = [stroke.line for stroke in strokes if not stroke.closed]
    if lines:
        width = max(pitch / 2.0, 1e-3)
        filled = shapely.union_all(shapely.buffer(lines, width, cap_style="flat"))
        region = region.union(filled.buffer(1e-3).buffer(-1e-3))
    return region


def _by_pass(strokes: Sequence[Stroke]) -> dict[int, list[Stroke]]:
    pockets: dict[int, list[Stroke]] = defaultdict(list)
    for stroke in strokes:
        found = POCKET.fullmatch(stroke.layer)
        if found:
            pockets[int(found[1])].append(stroke)
    return pockets


class _Etched(NamedTuple):
    """What is etched into one copy: its foam, each pass's strokes, the folds where they lie, the plan's."""

    foam: BaseGeometry
    pockets: dict[int, list[Stroke]]
    lines: Sequence[tuple[ListedFold, LineString]]
    plan: Etching


class _FoldJudge:
    """The judge of one name's folds; ``pitch`` is that of the lines which fill areas, None without any."""

    def __init__(self, job: JobFile, key: Key, pitch: float | None) -> None:
        self._job, self._key = job, key
        self._hatched, self._pitch = pitch is not None, pitch or 0.0
        self._regions: dict[int, BaseGeometry] = {}

    def fault(self, code: str, at: Point | None, text: str) -> Fault:
        return Fault(code, self._job.name, *self._key, at, text)

    def _region(self, number: int, strokes: Sequence[Stroke]) -> BaseGeometry:
        """What one pass etches; thousands of lines are put together once."""
        if number not in self._regions:
            self._regions[number] = etched_region(strokes, self._pitch)
        return self._regions[number]

    def nesting(self, pockets: dict[int, list[Stroke]], body: BaseGeometry | None = None) -> Iterator[Fault]:
        """Each pass inside the one before and smaller, and no place twice in one pass.

        Lines are only looked at within the piece: what they etch past its edge, the cut burns away.
        """
        slack = SLACK + (self._pitch if self._hatched else 0.0)
        before: BaseGeometry | None = None
        for number in sorted(pockets):
            strokes = pockets[number]
            opened = [stroke for stroke in strokes if not stroke.closed]
            if opened and not self._hatched and any(stroke.closed for stroke in strokes):
                yield self.fault("pocket-open", opened[0].at, f"an area of pass {number} is open")
            closed = [stroke.region for stroke in strokes if stroke.closed]
            for i, k in _touching(closed):
                shared = closed[i].intersection(closed[k]).area
                if shared > CRUMB and shared < min(closed[i].area, closed[k].area) - CRUMB:
                    spot = closed[i].intersection(closed[k]).representative_point()
                    yield self.fault(
                        "pocket-twice", (spot.x, spot.y), f"pass {number} has areas that overlap"
                    )
            region = self._region(number, strokes)
            if before is not None:
                out = region.difference(before.buffer(slack, join_style="mitre"))
                if self._hatched and body is not None:
                    out = out.intersection(body)
                if out.area > 1e-3:
                    spot = out.representative_point()
                    text = f"pass {number} reaches beyond pass {number - 1}"
                    yield self.fault("pocket-nesting", (spot.x, spot.y), text)
                elif not self._hatched and region.area >= before.area:
                    text = f"pass {number} is no smaller than pass {number - 1}"
                    yield self.fault("pocket-nesting", strokes[0].at, text)
            before = region

    def widths(self, at: Point, folds: Sequence[ListedFold], plan: Etching) -> Iterator[Fault]:
        """Whether mouth and passes of each groove make its angle."""
        unit = self._job.unit
        tops = [0.0, *(depth for _, depth in plan.passes)]
        rises = np.diff(tops)
        for fold in folds:
            half = math.tan(fold.angle if fold.kind == "bevel" else fold.angle / 2.0)
            mouth = fold.halves * half * plan.depth * plan.width_factor
            name = f"the {_called(fold)}"
            if abs(fold.mouth - mouth) > V_SHARE * mouth + 1e-3:
                text = f"{name} has a groove of {show_gap(fold.mouth, unit)}, not {show_gap(mouth, unit)}"
                yield self.fault("groove", at, text)
            elif len(fold.widths) != len(rises):
                yield self.fault(
                    "groove", at, f"{name} has {len(fold.widths)} widths for {len(rises)} passes"
                )
            elif plan.spot == 0.0:
                away = float(np.dot(fold.widths, rises))
                if abs(away - mouth * plan.depth / 2.0) > V_SHARE * away + 2e-3:
                    yield self.fault("groove", at, f"{name} does not take away the V that it needs")

    def areas(self, etched: _Etched) -> Iterator[Fault]:
        """Each pass where the plan has folds, as wide as it says, and nowhere else."""
        body, pockets, lines, plan = etched
        core = grown(body, -SIZE)
        slack = SIZE + (plan.pitch if plan.hatched else 0.0)
        for number in range(1, len(plan.passes) + 1):
            region = self._region(number, pockets.get(number, []))
            reaches = [
                fold.widths[number - 1] / fold.halves if len(fold.widths) >= number else 0.0
                for fold, _ in lines
            ]
            reached = region.buffer(slack)
            shapely.prepare(reached)
            for (fold, line), reach in zip(lines, reaches, strict=True):
                inner = line.buffer(max(reach - slack, 0.2 * reach), cap_style="flat", join_style="mitre")
                wanted = _near(inner.intersection(core), line)
                if reached.covers(wanted):
                    continue
                missing = wanted.difference(reached)
                if missing.area > CRUMB * (1.0 + line.length / 100.0):
                    spot = missing.representative_point()
                    text = f"pass {number} of a {_called(fold)} is missing here"
                    yield self.fault("pocket-missing", (spot.x, spot.y), text)
            outer = [
                _longer(line, reach / math.tan(SHARPEST)).buffer(reach + slack, cap_style="square")
                for (_, line), reach in zip(lines, reaches, strict=True)
            ]
            extra = region.difference(shapely.union_all(outer)).intersection(body)
            if extra.area > CRUMB:
                spot = extra.representative_point()
                yield self.fault("pocket-wrong", (spot.x, spot.y), f"pass {number} etches where no fold is")

    def amounts(self, etched: _Etched) -> Iterator[Fault]:
        """Whether the lines in each groove, a pitch wide, take away what its passes should.

        Looked at where no other groove is near. Only whole lines fit along a groove, and at least one in each
        pass: by that the groove may differ.
        """
        body, pockets, lines, plan = etched
        rises = np.diff([0.0, *(depth for _, depth in plan.passes)])
        drawn = [
            shapely.multilinestrings([s.line.coords for s in pockets.get(k + 1, [])])
            for k in range(len(rises))
        ]
        reaches = [max(fold.widths, default=0.0) / fold.halves for fold, _ in lines]
        near = [
            line.buffer(reach + plan.pitch + SIZE) for (_, line), reach in zip(lines, reaches, strict=True)
        ]
        for i, (fold, line) in enumerate(lines):
            if len(fold.widths) != len(rises):
                continue
            zone = line.buffer(reaches[i] + SIZE, cap_style="flat", join_style="mitre").intersection(body)
            zone = _near(zone.difference(shapely.union_all(near[:i] + near[i + 1 :])), line)
            length = (
                line.intersection(zone).length if fold.kind == "fold" else zone.area / (reaches[i] + SIZE)
            )
            if length < 4.0 * plan.pitch:
                continue
            away = wanted = fewest = 0.0
            for k, rise in enumerate(rises):
                band = line.buffer(fold.widths[k] / fold.halves, cap_style="flat", join_style="mitre")
                area = band.intersection(zone).area
                away += rise * plan.pitch * drawn[k].intersection(zone).length
                wanted += rise * area
                fewest += rise * max(area, plan.pitch * length)
            slack = AMOUNT * wanted + 0.6 * plan.pitch * length * float(rises.max())
            if not wanted - slack <= away <= max(wanted, fewest) + slack:
                spot = zone.representative_point()
                text = f"the lines of a {_called(fold)} take away {away / wanted:.0%} of what they should"
                yield self.fault("groove", (spot.x, spot.y), text)

    def lips(self, piece: Piece, lines: Sequence[tuple[ListedFold, LineString]]) -> Iterator[Fault]:
        """Whether both lips of each groove are marked, looked at in the middle of its line."""
        marks = [stroke.line for stroke in piece.lines if stroke.layer == MARK]
        drawn = shapely.union_all(marks) if marks else Polygon()
        inside = grown(piece.foam, -SIZE)
        mouths = [line.buffer(fold.mouth / fold.halves - SIZE, cap_style="flat") for fold, line in lines]
        for k, (fold, line) in enumerate(lines):
            others = shapely.union_all([mouth for i, mouth in enumerate(mouths) if i != k])
            for side in (1.0, -1.0):
                lip = line.offset_curve(side * fold.mouth / fold.halves, join_style="mitre")
                for share in (0.35, 0.5, 0.65):
                    spot = lip.interpolate(share, normalized=True)
                    if not inside.contains(spot) or others.contains(spot):
                        continue
                    if drawn.is_empty or drawn.distance(spot) > SIZE + SLACK:
                        text = f"a lip of a {_called(fold)} is not marked here"
                        yield self.fault("pocket-missing", (spot.x, spot.y), text)
                        break


def _touching(regions: Sequence[BaseGeometry]) -> list[tuple[int, int]]:
    """Pairs of regions that touch or overlap, by their places."""
    if len(regions) < 2:
        return []
    first, second = shapely.STRtree(regions).query(regions, predicate="intersects")
    return [(i, k) for i, k in zip(first.tolist(), second.tolist(), strict=True) if i < k]


def _called(fold: ListedFold) -> str:
    return f"{fold.kind} of {round(math.degrees(fold.angle), 2):g} degrees"


def placed_line(fold: ListedFold, placed: PlacedCopy) -> LineString:
    """The fold's line on the sheet: mirrored, turned, moved."""
    x, y = fold.points.T
    x = -x if placed.mirrored else x
    cos, sin = math.cos(placed.turn), math.sin(placed.turn)
    points = np.column_stack((cos * x - sin * y + placed.x, sin * x + cos * y + placed.y))
    return LineString(np.vstack((points, points[:1])) if fold.closed else points)


def _near(region: BaseGeometry, line: LineString) -> BaseGeometry:
    """Those pieces of a region that the line runs through or along."""
    pieces = [piece for piece in shapely.get_parts(region) if piece.distance(line) < 2.0 * SIZE]
    return shapely.union_all(pieces)


def _longer(line: LineString, by: float) -> LineString:
    if line.is_ring:
        return line
    points = shapely.get_coordinates(line)
    first, last = points[0] - points[1], points[-1] - points[-2]
    return LineString(
        np.vstack(
            (
                points[0] + first * by / max(math.hypot(*first), 1e-9),
                points,
                points[-1] + last * by / max(math.hypot(*last), 1e-9),
            )
        )
    )
