"""``gluing.csv``: what to glue, in which order, and after which sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.cutting.model import Job
from nestkit.nesting.model import Plan
from nestkit.output.gluing import NO_ASSEMBLY_NAME, glue_order, seam_words
from nestkit.output.lists import Cell, csv_bytes
from nestkit.output.text import show_number
from nestkit.units import mm_per


def gluing_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """A row for each seam that is known of; an assembly without one has one row."""
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
