"""The order of gluing: after which sheet an assembly can be glued, its seams, and ``gluing.csv``."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from nestkit.build.model import Build, Part
from nestkit.build.pattern_info import PatternInfo, SeamInfo
from nestkit.build.seam_numbers import assembly_names, numbered_seams
from nestkit.cutting.model import Job
from nestkit.nesting.model import Plan
from nestkit.output.lists import Cell, csv_bytes, is_spare
from nestkit.output.text import show_number
from nestkit.units import mm_per

#: What the parts that belong to no assembly are called.
NO_ASSEMBLY_NAME = "no assembly"


@dataclass(frozen=True, eq=False)
class Gluing:
    """An assembly to glue.

    Parameters
    ----------
    name : str
        Empty for the parts that belong to none.
    parts : tuple of Part
    after : int or None
        The sheet after which all of it is cut, spares aside; None when there is none.
    copies, missing : int
        Copies that it takes, and how many of them the plan leaves out.
    patterns : tuple of PatternInfo
        Of its parts, each once.
    seams : tuple of (int, SeamInfo)
        With their numbers, which run through the whole build.
    """

    name: str
    parts: tuple[Part, ...]
    after: int | None
    copies: int
    missing: int
    patterns: tuple[PatternInfo, ...]
    seams: tuple[tuple[int, SeamInfo], ...]

    @property
    def ready(self) -> str:
        """When it can be glued, in words."""
        if self.missing:
            return f"not complete: {self.missing} {'copy' if self.missing == 1 else 'copies'} left out"
        if self.after is not None:
            return f"after sheet {self.after}"
        return "only spares" if self.parts else "has no parts"


def glue_order(build: Build, plan: Plan, jobs: Sequence[Job]) -> tuple[Gluing, ...]:
    """The assemblies in the order in which they are glued."""
    found: list[Gluing] = []
    for name, after in ready_after(build, plan, jobs).items():
        parts = tuple(part for part in build.parts if part.assembly == name)
        patterns = tuple({p.owner: p.pattern for p in parts if p.pattern is not None}.values())
        missing = sum(left.part.assembly == name and _needed(left.part, left.copy) for left in plan.unplaced)
        copies = sum(part.copies - part.spares for part in parts)
        seams = numbered_seams(build)[name]
        found.append(Gluing(name, parts, after, copies, missing, patterns, seams))
    return tuple(found)


def gluing_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """``gluing.csv``: a row for each seam that is known of; an assembly without one has one row."""
    unit, per = build.unit, mm_per(build.unit)
    head = ("order", "assembly", "can be glued", "parts", "seam number", "what is glued to what", "count")
    rows: list[Sequence[Cell]] = [(*head, f"length of each ({unit})", "angle (deg)")]
    for place, each in enumerate(glue_order(build, plan, jobs), start=1):
        start: tuple[Cell, ...] = (place, each.name or NO_ASSEMBLY_NAME, each.ready, each.copies)
        if not each.seams:
            rows.append((*start, *[""] * 5))
        for number, seam in each.seams:
            length = show_number(seam.length / per, 1 if unit == "mm" else 3)
            angle = "" if seam.angle is None else show_number(math.degrees(seam.angle), 1)
            rows.append((*start, number, seam_words(seam), seam.count, length, angle))
    return csv_bytes(rows)


def seam_words(seam: SeamInfo) -> str:
    """What a seam glues to what."""
    if not seam.second:
        trim = re.sub(r"-strip-\d+$", "", seam.first)
        return f"{trim}: all along, round what it trims"
    if seam.round_edge:
        return f"{seam.first}, all round its edge, to {seam.second}"
    if seam.first == seam.second:
        return f"{seam.first}: edge to edge, notch to notch"
    return f"{seam.first} to {seam.second}, end to end"


def ready_after(build: Build, plan: Plan, jobs: Sequence[Job]) -> dict[str, int | None]:
    """After which sheet all of each assembly is cut, spares aside; None when a copy of it is left out.

    Assemblies in the build's order, the parts of none at the end under the empty name.
    """
    last: dict[str, int] = {}
    for job in jobs:
        for placed in job.sheet.placed:
            if not is_spare(placed):
                last[placed.part.assembly] = max(job.sheet.index, last.get(placed.part.assembly, 0))
    missing = {left.part.assembly for left in plan.unplaced if _needed(left.part, left.copy)}
    return {name: None if name in missing else last.get(name) for name in assembly_names(build)}


def _needed(part: Part, copy: int) -> bool:
    return copy <= part.copies - part.spares
