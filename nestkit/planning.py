"""The main job: from a build to a plan and its jobs. No files here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from nestkit.build.model import Build, same_thickness
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import Job
from nestkit.cutting.route import is_compiled
from nestkit.nesting.carried import LaidSheet
from nestkit.nesting.kept import beside_kept, with_kept, without_used
from nestkit.nesting.master import Worth
from nestkit.nesting.model import Plan, PlannedSheet
from nestkit.nesting.problem import Spacing
from nestkit.nesting.remains import remains, with_leftovers
from nestkit.nesting.request import GroupRequest
from nestkit.searching import Effort, GroupSearches, Progress

__all__ = ["Effort", "JobDetail", "Planned", "Progress", "make_plan", "requests", "spacing_of"]

#: Jobs with the shortest order, jobs that go to the nearest next, or none.
JobDetail = Literal["whole", "rough", "none"]


@dataclass(frozen=True, eq=False)
class Planned:
    """A plan with its jobs; `stopped` is True when the maker ended the search early."""

    plan: Plan
    jobs: tuple[Job, ...]
    stopped: bool
    rounds: int


def spacing_of(build: Build) -> Spacing:
    """Gap and margin as they are kept: a cut may neither burn the next part nor leave the sheet."""
    kerfs = [build.cutter_for(part.material, part.thickness).kerf for part in build.parts]
    kerf = 0.0 if build.cutter.kind == "hand" else max([build.cutter.kerf, *kerfs])
    return Spacing(max(build.gap, kerf), max(build.margin, kerf / 2.0))


def requests(build: Build, kept: Sequence[PlannedSheet] = ()) -> list[GroupRequest]:
    """The build's groups: one for each material and thickness that has parts, thinnest first.

    What lies on `kept` sheets is cut already.
    """
    done = frozenset((placed.part.name, placed.copy) for sheet in kept for placed in sheet.placed)
    kinds = without_used(build.sheets, kept)
    keys: list[tuple[str, float]] = []
    for part in build.parts:
        if not any(_same(key, part.material, part.thickness) for key in keys):
            keys.append((part.material, part.thickness))
    return [
        GroupRequest(
            material=material,
            thickness=thickness,
            parts=[p for p in build.parts if _same((material, thickness), p.material, p.thickness)],
            sheets=[s for s in kinds if _same((material, thickness), s.material, s.thickness)],
            cutter=build.cutter.kind,
            bed=build.cutter.bed,
            spacing=spacing_of(build),
            done=done,
            unit=build.unit,
            most_cuts=build.cutter.most_cuts,
        )
        for material, thickness in sorted(keys, key=lambda key: (key[1], key[0]))
    ]


def _group(sheet: LaidSheet | PlannedSheet) -> tuple[str, float]:
    return sheet.material, sheet.thickness


def _same(key: tuple[str, float], material: str, thickness: float) -> bool:
    return key[0] == material and same_thickness(key[1], thickness)


def make_plan(
    build: Build,
    effort: Effort,
    *,
    asked_to_stop: Callable[[], bool] = lambda: False,
    progress: Callable[[Progress], None] | None = None,
    only: Collection[tuple[str, float]] | None = None,
    start: Sequence[LaidSheet] = (),
    otherwise: Sequence[LaidSheet] = (),
    kept: Sequence[PlannedSheet] = (),
    jobs: JobDetail = "whole",
    content: Worth | None = None,
    take_start: bool = False,
    proofs: bool = True,
    cores: int = 1,
) -> Planned:
    """Plans every group and makes the jobs.

    Parameters
    ----------
    build : Build
    effort : Effort
        Each group gets a first plan. Then the seconds that are left are shared out among those whose plan
        may be bettered, by copies and by how likely that is; what one leaves over goes to the next.
    asked_to_stop : callable
        When it says so, the best found so far is returned; a group that has no layout yet gets a first
        one, so that the plan is whole.
    progress : callable, optional
        Called after each round, and before what takes a while besides.
    only : collection of (str, float), optional
        Materials and thicknesses that are planned; the others are left away.
    start : sequence of LaidSheet
        A plan of another size to begin with; see `nesting.carried`.
    otherwise : sequence of LaidSheet
        One that takes its place where it can't be made sound.
    kept : sequence of PlannedSheet
        Sheets that are cut already: they stay as they are and come first.
    jobs : JobDetail
        How far the jobs are worked out, where only sheets or times are asked for; with "none" it is not
        worked out either what is left of the sheets.
    content, take_start, proofs
        See `nesting.course.Course`.
    cores : int
        Above 1 groups are searched side by side in processes of their own, and cores that are left try other
        seeds. A script that asks for it needs ``if __name__ == "__main__":`` round its own work.
    """
    wanted = [
        each for each in requests(build, kept) if only is None or (each.material, each.thickness) in only
    ]
    searches = GroupSearches(wanted, effort, asked_to_stop, progress, cores)
    found = searches.plans(start, otherwise, content=content, take_start=take_start, proofs=proofs)
    new = beside_kept(
        _numbered([sheet for group in found for sheet in group.sheets], build), kept, build.sheets
    )
    sheets = tuple(replace(sheet, index=number) for number, sheet in enumerate([*kept, *new], start=1))
    left = (
        ()
        if jobs == "none"
        else remains(
            sheets,
            build.sheets,
            build.cutter.bed,
            lambda sheet: build.kerf_on(sheet.material, sheet.thickness, sheet.how),
        )
    )
    groups = [
        with_kept(
            group.group,
            [sheet for sheet in new if _group(sheet) == (group.group.material, group.group.thickness)],
            [sheet for sheet in kept if _group(sheet) == (group.group.material, group.group.thickness)],
            build.sheets,
        )
        for group in found
    ]
    plan = Plan(
        build=build.name,
        scale=build.scale,
        seed=effort.seed,
        groups=tuple(with_leftovers(group, left, sheets, build.sheets) for group in groups),
        sheets=sheets,
        unplaced=tuple(copy for group in found for copy in group.unplaced),
        leftovers=left,
    )
    if progress is not None and wanted and sheets and jobs != "none":
        last = wanted[-1]
        words = "putting the cuts in order" + ("" if is_compiled() else "; the first time this takes a while")
        progress(Progress(last.material, last.thickness, len(wanted), len(wanted), note=words))
    return Planned(
        plan=plan,
        jobs=() if jobs == "none" else make_jobs(build, sheets, rough=jobs == "rough"),
        stopped=any(group.stopped for group in found),
        rounds=sum(group.rounds for group in found),
    )


def _numbered(sheets: list[PlannedSheet], build: Build) -> tuple[PlannedSheet, ...]:
    """Sheets in cutting order: those for the cutter first, then by the earliest assembly on them.

    So each assembly can be glued as early as the build's order allows; spares are not waited for.
    """
    rank = {assembly.name: place for place, assembly in enumerate(build.assemblies)}

    def earliest(sheet: PlannedSheet) -> int:
        needed = [each for each in sheet.placed if each.copy <= each.part.copies - each.part.spares]
        return min((rank.get(placed.part.assembly, len(rank)) for placed in needed), default=len(rank) + 1)

    ordered = sorted(sheets, key=lambda sheet: (sheet.how == "hand", earliest(sheet)))
    return tuple(replace(sheet, index=number) for number, sheet in enumerate(ordered, start=1))
