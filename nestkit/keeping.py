"""Part-way: sheets of an earlier plan that are cut already stay as they are, whatever became of the build."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Polygon

from nestkit.booking import uses_of
from nestkit.build.model import Build, CutterKind, Part, same_thickness
from nestkit.checking import ListedPart, PlacedCopy, PlanFile, SheetEntry, read_plan
from nestkit.errors import Finding, InputError
from nestkit.geometry import LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.words import counted

#: Outlines of the same part differ by no more than flattening and rounding, mm.
SAME = 0.15
#: Fold angles that differ by less are the same, radians.
SAME_ANGLE = 1e-3

_CUTTERS: dict[str, CutterKind] = {"laser": "laser", "knife": "knife", "hand": "hand"}


@dataclass(frozen=True, eq=False)
class Kept:
    """What is cut already.

    Parameters
    ----------
    build : Build
        With what is cut and is no longer asked for as parts of their own, named as such; what was found
        is with its findings.
    sheets : tuple of PlannedSheet
        Those that are cut, their indices from 1.
    """

    build: Build
    sheets: tuple[PlannedSheet, ...]


def keep(build: Build, folder: FilePath, wanted: Sequence[int] = ()) -> Kept:
    """The sheets of an earlier plan that are cut, as parts of a new plan of the build.

    A copy on them counts if the build still asks for it and it would be cut the same today. Others are
    told: those that the build no longer has, has no more so many of, or has changed since.

    Parameters
    ----------
    build : Build
    folder : pathlib.Path
        What ``nestkit plan`` wrote before the build was changed.
    wanted : sequence of int
        Numbers of the sheets that are cut; empty for all. Blanks of one sheet go together.

    Raises
    ------
    InputError
        When the folder holds no plan, has no such sheet, or is of another shop than the build's pieces.
    """
    plan = read_plan(folder)
    if plan.shop and build.shop and plan.shop != build.shop:
        raise InputError.one(
            str(folder), "its pieces are of another shop", "Name that shop's file with --shop"
        )
    strange = sorted(set(wanted) - set(range(1, len(plan.sheets) + 1)))
    if strange:
        todo = f"It has {counted(len(plan.sheets), 'sheet')}, counted from 1"
        raise InputError.one(str(folder), f"the plan has no sheet {strange[0]}", todo)
    parts = _Parts(build, plan, folder)
    sheets = []
    for use in uses_of(plan):
        if not wanted or set(use.sheets) & set(wanted):
            sheets += [
                (number, _sheet(plan.sheets[number - 1], number, use.digest, parts)) for number in use.sheets
            ]
    sheets.sort(key=lambda each: each[0])
    changed = replace(
        build,
        parts=(*build.parts, *parts.as_cut),
        findings=(*build.findings, *parts.findings()),
        shop=build.shop or plan.shop,
    )
    return Kept(changed, tuple(replace(sheet, index=k) for k, (_, sheet) in enumerate(sheets, start=1)))


def _sheet(entry: SheetEntry, number: int, digest: str, parts: _Parts) -> PlannedSheet:
    rings = [Path.polyline(ring, True) for ring in (entry.outline, *entry.holes)]
    material, thickness = parts.foam(entry)
    return PlannedSheet(
        index=number,
        stock=entry.stock,
        stock_number=entry.stock_number,
        bought=entry.bought,
        blank_origin=entry.blank_origin,
        material=material,
        thickness=thickness,
        outline=Outline(rings[0], tuple(rings[1:])),
        how=_CUTTERS[entry.how],
        placed=tuple(parts.placed(copy, number, entry) for copy in entry.placed),
        piece=entry.piece or 0,
        kept=digest,
    )


class _Parts:
    """The build's parts, and what was cut that is none of them."""

    def __init__(self, build: Build, plan: PlanFile, folder: FilePath) -> None:
        self.as_cut: list[Part] = []
        self._build, self._plan, self._folder = build, plan, folder
        self._named = {part.name: part for part in build.parts}
        self._told: dict[tuple[str, str], list[int]] = defaultdict(list)

    def foam(self, entry: SheetEntry) -> tuple[str, float]:
        """Material and thickness, the latter exactly as the build has it."""
        for sheet in self._build.sheets:
            if sheet.material == entry.material and same_thickness(sheet.thickness, entry.thickness):
                return entry.material, sheet.thickness
        return entry.material, entry.thickness

    def placed(self, copy: PlacedCopy, number: int, entry: SheetEntry) -> PlacedPart:
        """The copy as one of the build, or else as a part of its own."""
        part = self._named.get(copy.part)
        at = Placement(copy.x, copy.y, copy.turn, copy.mirrored)
        why = self._why_not(part, copy, entry, at)
        if part is not None and not why:
            return PlacedPart(part, copy.copy, at)
        self._told[why, copy.part].append(copy.copy)
        rings = [Path.polyline(ring, True) for ring in (copy.outline, *copy.holes)]
        outline = Outline(rings[0], tuple(rings[1:]))
        x, y, _, _ = outline.bounds
        material, thickness = self.foam(entry)
        name = f"{copy.part} {copy.copy}, cut already"
        while name in self._named:
            name += "'"
        old = Part(name, Shape(outline).at_origin(), material, thickness, source=f"sheet {number}")
        self._named[name] = old
        self.as_cut.append(old)
        return PlacedPart(old, 1, Placement(x, y))

    def _why_not(self, part: Part | None, copy: PlacedCopy, entry: SheetEntry, at: Placement) -> str:
        """Why the copy is none of the build's; empty when it is."""
        if part is None:
            return "kept-gone"
        if copy.copy > part.copies:
            return "kept-surplus"
        foam = part.material, part.thickness
        if foam != self.foam(entry) or part.is_mirrored(copy.copy) != copy.mirrored:
            return "kept-changed"
        now = part.shape.transformed(at.matrix).outline.polygon()
        listed = self._plan.parts.get(copy.part)
        if not _alike(now, Polygon(copy.outline, copy.holes)) or not _folded_alike(part, listed):
            return "kept-changed"
        return ""

    def findings(self) -> list[Finding]:
        """What was cut that the build does not ask for, in the order in which it was met."""
        words = {
            "kept-gone": ("which the build no longer has", "What is cut stays; use it elsewhere"),
            "kept-surplus": ("more than the build asks for", "What is cut stays as a spare"),
            "kept-changed": ("as it was before it changed", "It is planned anew"),
        }
        return [
            Finding(
                why,
                f"cut already: {part} {', '.join(map(str, copies))}, {words[why][0]}",
                words[why][1],
                file=str(self._folder),
            )
            for (why, part), copies in self._told.items()
        ]


def _alike(one: Polygon, other: Polygon) -> bool:
    if not (one.is_valid and other.is_valid) or len(one.interiors) != len(other.interiors):
        return False
    return bool(one.buffer(SAME).covers(other) and other.buffer(SAME).covers(one))


def _folded_alike(part: Part, listed: ListedPart | None) -> bool:
    """Whether the part's lines are those that it was cut with, as far as the plan tells."""
    if listed is None:
        return False
    if len(part.shape.lines) != listed.lines:
        return False
    now = [line for line in part.shape.lines if line.kind is not LineKind.MARK and line.angle > 0.0]
    if len(now) != len(listed.folds):
        return False
    for kind in ("fold", "bevel"):
        mine = sorted(line.angle for line in now if line.kind.value == kind)
        theirs = sorted(fold.angle for fold in listed.folds if fold.kind == kind)
        if len(mine) != len(theirs) or not np.allclose(mine, theirs, atol=SAME_ANGLE):
            return False
    if not now:
        return True
    lines = MultiLineString([_line(line.path.flatten(), line.path.closed) for line in now])
    before = MultiLineString([_line(fold.points, fold.closed) for fold in listed.folds])
    return bool(shapely.hausdorff_distance(lines, before) <= SAME)


def _line(points: NDArray[np.float64], closed: bool) -> LineString:
    return LineString(np.vstack((points, points[:1])) if closed else points)
