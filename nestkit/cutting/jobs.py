"""Makes one job of each planned sheet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from nestkit.build.model import Build, Part
from nestkit.cutting.etching import fold_strokes
from nestkit.cutting.kerf import cut_findings, cut_paths
from nestkit.cutting.labels import label_strokes
from nestkit.cutting.model import CUT_INSIDE_LAYER, CUT_OUTSIDE_LAYER, MARK_LAYER, Job, Stroke, Times
from nestkit.cutting.order import in_cut_order
from nestkit.cutting.tabs import outline_runs
from nestkit.cutting.times import job_times
from nestkit.errors import Finding
from nestkit.geometry import Line, LineKind, Path
from nestkit.geometry.fitting import fitted
from nestkit.nesting.model import PlannedSheet
from nestkit.units import show_length


def make_jobs(build: Build, sheets: Sequence[PlannedSheet], rough: bool = False) -> tuple[Job, ...]:
    """One job for each sheet, in the sheets' order; sheets cut by hand get theirs without kerf.

    ``rough`` jobs go to the nearest next, see `route.shortest`: their times are a little longer.
    """
    rank_of = {assembly.name: rank for rank, assembly in enumerate(build.assemblies)}
    lines: dict[str, tuple[Line, ...]] = {}
    runs: dict[str, tuple[Path, ...]] = {}
    jobs = []
    for sheet in sheets:
        by_hand = sheet.how == "hand"
        cutter = build.cutter_for(sheet.material, sheet.thickness)
        kerf = build.kerf_on(sheet.material, sheet.thickness, sheet.how)
        folds = fold_strokes(build, sheet)
        marks, cuts = list(folds.lips), list[list[Stroke]]()
        for placed in sheet.placed:
            part, matrix = placed.part, placed.placement.matrix
            cut = cut_paths(part.shape.outline, kerf)
            if part.name not in lines:
                lines[part.name] = tuple(_drawn_lines(part))
            for line in lines[part.name]:
                path = line.path.transformed(matrix)
                marks.append(Stroke(MARK_LAYER, path, part.name, placed.copy, line.kind))
            for hole in cut.inside:
                cuts.append([Stroke(CUT_INSIDE_LAYER, hole.transformed(matrix), part.name, placed.copy)])
            if part.name not in runs and not by_hand:
                runs[part.name] = outline_runs(build, part)
            outline = (not by_hand and runs[part.name]) or (cut.outside,)
            cuts.append(
                [
                    Stroke(CUT_OUTSIDE_LAYER, path.transformed(matrix), part.name, placed.copy)
                    for path in outline
                ]
            )
        bundles = [*label_strokes(build, sheet), *([one] for one in marks), *cuts, *folds.pockets]
        route = in_cut_order(bundles, sheet, rank_of, rough)
        etching = 0.0 if folds.etching is None else folds.etching.seconds
        jobs.append(
            Job(
                name=_name(sheet, build),
                sheet=sheet,
                strokes=route.strokes,
                travel=route.travel,
                nearest=route.nearest,
                least=route.bound,
                times=Times() if by_hand else job_times(route.strokes, cutter, etching),
                etching=folds.etching,
            )
        )
    return tuple(jobs)


def _drawn_lines(part: Part) -> Iterator[Line]:
    """A part's lines that are drawn, their curves as arcs."""
    for line in part.shape.lines:
        # A fold that is hardly one has no groove; it is drawn, so that it can be found.
        if line.kind is LineKind.MARK or line.angle == 0.0:
            yield replace(line, path=fitted(line.path))


def kerf_findings(build: Build) -> dict[str, tuple[Finding, ...]]:
    """What the kerf does to each part that it does something to, by the part's name."""
    if build.cutter.kind == "hand":
        return {}
    found = {
        part.name: tuple(
            replace(finding, file=part.source)
            for finding in cut_findings(
                part.shape.outline, build.cutter_for(part.material, part.thickness).kerf, build.unit
            )
        )
        for part in build.parts
        if not part.by_hand
    }
    return {name: findings for name, findings in found.items() if findings}


def _name(sheet: PlannedSheet, build: Build) -> str:
    material = re.sub(r"[^a-z0-9]+", "-", sheet.material.lower()).strip("-") or "foam"
    thickness = show_length(sheet.thickness, build.unit).replace(" ", "")
    return f"job-{sheet.index:02d}-{material}-{thickness}{'-done' if sheet.kept else ''}"
