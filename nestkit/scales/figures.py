"""The figures of one size: taken from its build and its plan."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.cutting.model import Job
from nestkit.cutting.smallest import slim_parts
from nestkit.geometry import Outline
from nestkit.nesting.carried import laid
from nestkit.nesting.model import Group, Plan, PlannedSheet
from nestkit.planning import Planned
from nestkit.scales.model import (
    GroupResult,
    LayerCount,
    LeftOut,
    Leftover,
    SizeResult,
    SlimPart,
)
from nestkit.stock.leftovers import leftovers


def size_result(build: Build, planned: Planned, reference: str, for_a_try: bool = False) -> SizeResult:
    """What a size comes to.

    Parameters
    ----------
    build : Build
        At that size.
    planned : Planned
        Without jobs no time for cutting is told.
    reference : str
        The part by which the size is told; see `Build.measured`.
    for_a_try : bool
        Whether only sheets and money are asked for: not what is worth keeping, what is too slim, nor layers.
    """
    part = build.measured(reference)
    jobs = {job.sheet.index: job for job in planned.jobs}
    return SizeResult(
        scale=build.scale,
        length=None if part is None else max(part.shape.outline.size),
        height=None if part is None else min(part.shape.outline.size),
        groups=tuple(_group(build, planned.plan, group, jobs, for_a_try) for group in planned.plan.groups),
        slim=() if for_a_try else _slim(build),
        layers=() if for_a_try else layer_counts(build),
    )


def _slim(build: Build) -> tuple[SlimPart, ...]:
    """Parts with places too slim for the cutter."""
    return tuple(
        SlimPart(name, len(places), slimmest.what, slimmest.width)
        for name, places in slim_parts(build).items()
        for slimmest in (min(places, key=lambda place: place.width),)
    )


def layer_counts(build: Build) -> tuple[LayerCount, ...]:
    """Layers of each pattern that is made of some, by its name in the build file."""
    found = {
        part.owner: part.pattern.layers
        for part in build.parts
        if part.pattern is not None and part.pattern.layers is not None
    }
    return tuple(LayerCount(name, layers) for name, layers in found.items())


def _group(build: Build, plan: Plan, group: Group, jobs: dict[int, Job], for_a_try: bool) -> GroupResult:
    key = (group.material, group.thickness)
    sheets = [sheet for sheet in plan.sheets if (sheet.material, sheet.thickness) == key]
    foam = math.fsum(placed.part.shape.outline.area for sheet in sheets for placed in sheet.placed)
    left = Counter(
        (each.part.name, each.why)
        for each in plan.unplaced
        if (each.part.material, each.part.thickness) == key
    )
    by_hand = {
        placed.part.name: None
        for sheet in sheets
        if sheet.how == "hand" and build.cutter.kind != "hand"
        for placed in sheet.placed
        if not placed.part.by_hand
    }
    return GroupResult(
        material=group.material,
        thickness=group.thickness,
        copies=group.parts,
        sheets=group.sheets_used,
        sheets_at_least=group.sheets_at_least,
        proven=group.proven,
        cost=float(group.cost),
        sheet_area=foam / (1.0 - group.waste) if foam else 0.0,
        foam_area=foam,
        seconds=math.fsum(jobs[sheet.index].seconds for sheet in sheets if sheet.index in jobs),
        by_hand=tuple(by_hand),
        left_out=tuple(LeftOut(name, count, why) for (name, why), count in left.items()),
        leftover=Leftover() if for_a_try else _leftover(build, sheets),
        laid=laid(sheets),
        cost_at_least=group.cost_at_least,
        at_any_price=group.at_any_price,
    )


def _leftover(build: Build, sheets: Sequence[PlannedSheet]) -> Leftover:
    """What of the used sheets and blanks is worth keeping."""
    pieces: list[Outline] = []
    for sheet in sheets:
        kerf = build.kerf_on(sheet.material, sheet.thickness, sheet.how)
        pieces += leftovers(sheet.outline, [placed.shape.outline for placed in sheet.placed], kerf)
    if not pieces:
        return Leftover()
    largest = max(pieces, key=lambda piece: piece.area)
    width, height = largest.size
    return Leftover(
        len(pieces), sum(piece.area for piece in pieces), (max(width, height), min(width, height))
    )
