"""Folds and bevels of the parts as strokes: areas to etch for a laser, lips to follow for a blade."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nestkit.build.model import Build, Cutter, Part
from nestkit.cutting.model import MARK_LAYER, Etching, Stroke, pocket_layer
from nestkit.cutting.times import etching_seconds
from nestkit.errors import Finding, Problem
from nestkit.folds.ends import short_folds
from nestkit.folds.groove import named
from nestkit.folds.grooves import PartGrooves, part_grooves, rings_of
from nestkit.folds.steps import Steps, steps_for
from nestkit.geometry import Line, LineKind, Path, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.units import Unit, show_gap, show_place

#: A groove that lines make this much larger or smaller than its V is told, as a share of the V.
SURPLUS = 0.05


def has_folds(part: Part) -> bool:
    """Whether a part has a fold or bevel that needs a groove."""
    return any(line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0 for line in part.shape.lines)


def grooves_of(build: Build, part: Part) -> PartGrooves:
    """The grooves of a part.

    Raises
    ------
    ValueError
        With a message for the maker, when the cutter can't leave the skin in this foam.
    """
    cutter = build.cutter_for(part.material, part.thickness)
    return _grooves(part.shape, part_steps(cutter, part.thickness, build.unit), cutter.kerf, build.unit)


@lru_cache(maxsize=1024)
def _grooves(shape: Shape, steps: Steps, kerf: float, unit: Unit) -> PartGrooves:
    return part_grooves(shape, steps, kerf, unit)


def part_steps(cutter: Cutter, thickness: float, unit: Unit) -> Steps:
    """The passes for a foam; a blade takes the whole depth in one.

    Raises
    ------
    ValueError
        As `folds.steps_for`.
    """
    settings = cutter.folds
    if cutter.kind != "laser":
        settings = replace(settings, pass_depth=max(thickness, settings.pass_depth), falloff=0.0, spot=0.0)
    return steps_for(thickness, settings, unit)


def fold_problems(build: Build) -> tuple[Problem, ...]:
    """Folds and bevels that can't be made, each by name."""
    return tuple(_problems(build))


def _problems(build: Build) -> Iterable[Problem]:
    for part in build.parts:
        if not has_folds(part):
            continue
        where = f"{build.file.name}: part[{build.number_of(part)}] '{part.name}'"
        try:
            grooves = grooves_of(build, part)
        except ValueError as error:
            for line in part.shape.lines:
                if line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0:
                    todo = "Set another skin or pass_depth for this foam, under [cutter] or [[foam]]"
                    yield Problem(f"{where}: {named(line, build.unit)}", str(error), todo)
            continue
        for flaw in grooves.flaws:
            what = f"{flaw.what}, at {show_place(flaw.at, build.unit)}"
            yield Problem(f"{where}: {flaw.groove}", what, flaw.todo)


def fold_findings(build: Build) -> dict[str, tuple[Finding, ...]]:
    """What is to be noticed about each part's grooves, by the part's name; call `fold_problems` first."""
    found = {part.name: tuple(_findings(build, part)) for part in build.parts if has_folds(part)}
    return {name: findings for name, findings in found.items() if findings}


def _findings(build: Build, part: Part) -> Iterable[Finding]:
    grooves, cutter = grooves_of(build, part), build.cutter_for(part.material, part.thickness)
    yield from grooves.findings
    yield from short_folds(part.shape, build.unit)
    if cutter.kind != "laser" or cutter.area_mode:
        return
    for groove, band in zip(grooves.grooves, grooves.bands, strict=True):
        # Parts may be turned on the sheet: lines along the groove are the worst that can come.
        surplus = band.surplus(grooves.steps.rises, cutter.pitch, _direction(groove.path))
        if abs(surplus) <= SURPLUS:
            continue
        name = named(Line(groove.kind, groove.path, groove.angle), build.unit)
        amount = f"{surplus:.0%} more" if surplus > 0.0 else f"{-surplus:.0%} less"
        yield Finding(
            "groove-lines",
            f"{name}: lines at a pitch of {show_gap(cutter.pitch, build.unit)} "
            f"are too coarse for it and take away {amount} than its V; "
            f"its last pass is {show_gap(groove.drawn[-1], build.unit)} wide",
            "Set a smaller pitch under [cutter], or make the fold by heat alone.",
            at=groove.path.start,
            unit=build.unit,
        )


def _direction(path: Path) -> float:
    (x0, y0), (x1, y1) = path.flatten()[:2]
    return math.atan2(y1 - y0, x1 - x0)


@dataclass(frozen=True, eq=False)
class FoldStrokes:
    """What the folds of one sheet come to.

    Parameters
    ----------
    lips : tuple of Stroke
        Marks to follow with a blade.
    pockets : tuple of tuples of Stroke
        Areas or lines to etch, pass by pass; what stays together is in one.
    etching : Etching or None
        None when nothing is etched.
    """

    lips: tuple[Stroke, ...]
    pockets: tuple[tuple[Stroke, ...], ...]
    etching: Etching | None


def fold_strokes(build: Build, sheet: PlannedSheet) -> FoldStrokes:
    """The folds and bevels of the parts on a sheet.

    A laser etches pass by pass, all copies before the next pass, so that the foam cools in between and
    a cutter's program that runs layer by layer does the same. A blade gets the lips as marks.

    Raises
    ------
    ValueError
        When a fold can't be made; see `fold_problems`.
    """
    folded = [placed for placed in sheet.placed if has_folds(placed.part)]
    if sheet.how != "laser" or not folded:
        return FoldStrokes(tuple(stroke for placed in folded for stroke in _lips(build, placed)), (), None)
    cutter = build.cutter_for(sheet.material, sheet.thickness)
    steps = part_steps(cutter, sheet.thickness, build.unit)
    pockets: list[tuple[Stroke, ...]] = []
    areas: list[float] = []
    for number in range(1, steps.count + 1):
        bundles = [bundle for placed in folded for bundle in _bundles(build, placed, number, cutter)]
        pockets += bundles
        areas.append(sum(grooves_of(build, placed.part).areas[number - 1].area for placed in folded))
    seconds = etching_seconds(pockets, sum(areas), cutter)
    etching = Etching(steps, tuple(areas), seconds, not cutter.area_mode, cutter.pitch)
    return FoldStrokes((), tuple(pockets), etching)


def _lips(build: Build, placed: PlacedPart) -> Iterable[Stroke]:
    matrix = placed.placement.matrix
    kinds = {line.kind for line in placed.part.shape.lines if line.angle > 0.0}
    kind = LineKind.FOLD if LineKind.FOLD in kinds else LineKind.BEVEL
    for lip in grooves_of(build, placed.part).lips:
        yield Stroke(MARK_LAYER, lip.transformed(matrix), placed.part.name, placed.copy, kind)


def _bundles(build: Build, placed: PlacedPart, number: int, cutter: Cutter) -> list[tuple[Stroke, ...]]:
    """The strokes of one pass of one copy, those of each area together."""
    grooves, matrix = grooves_of(build, placed.part), placed.placement.matrix
    bundles: list[tuple[LineKind, Sequence[Path]]] = []
    if cutter.area_mode:
        bundles += [(grooves.kind_of(area), rings) for area, rings in rings_of(grooves.areas[number - 1])]
    else:
        angle = _turned_back(cutter.hatch_angle, matrix)
        for band in grooves.bands:
            bundles += [
                (band.kind, paths)
                for paths in band.lines(number, grooves.steps.rises, cutter.pitch, angle)
                if paths
            ]
    layer, name = pocket_layer(number), placed.part.name
    return [
        tuple(Stroke(layer, path.transformed(matrix), name, placed.copy, kind) for path in paths)
        for kind, paths in bundles
    ]


def _turned_back(angle: float, matrix: NDArray[np.float64]) -> float:
    """The direction in a part's coordinates that has this angle on the sheet."""
    x, y = np.linalg.solve(matrix[:2, :2], [math.cos(angle), math.sin(angle)])
    return math.atan2(y, x)
