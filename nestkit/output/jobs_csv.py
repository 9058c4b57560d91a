"""``jobs.csv``: a line for each bed load in the order in which they are cut, with its travel and its time."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.cutting.model import Job, Times
from nestkit.nesting.model import Plan
from nestkit.output.gluing import NO_ASSEMBLY_NAME, ready_after
from nestkit.output.lists import Cell, csv_bytes
from nestkit.output.plan_json import job_file
from nestkit.output.text import plain, show_number
from nestkit.units import mm_per


def jobs_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """A row for each job, and one for all that the cutter does."""
    unit, per = build.unit, mm_per(build.unit)
    ready = ready_after(build, plan, jobs)
    rows: list[Sequence[Cell]] = [
        (
            "sheet of the plan",
            "job",
            "cut by",
            "material",
            f"thickness ({unit})",
            "parts",
            "paths",
            "holding tabs",
            f"cut length ({unit})",
            f"travel ({unit})",
            f"no order travels less than ({unit})",
            f"travel if always to the nearest ({unit})",
            *(f"{what} (s)" for what in ("cutting", "marking", "travel", "etching", "starts", "in all")),
            "can be glued after it",
        )
    ]
    for job in jobs:
        sheet = job.sheet
        freed = [plain(name) or NO_ASSEMBLY_NAME for name, after in ready.items() if after == sheet.index]
        lengths = (job.cut_length, job.travel, job.least, job.nearest)
        by_hand = sheet.how == "hand"
        rows.append(
            (
                sheet.index,
                job_file(job),
                sheet.how,
                plain(sheet.material),
                show_number(sheet.thickness / per, 1 if unit == "mm" else 3),
                len(sheet.placed),
                len(job.strokes),
                sum(job.tabs.values()),
                show_number(job.cut_length / per, 0 if unit == "mm" else 1),
                *("" if by_hand else show_number(mm / per, 0 if unit == "mm" else 1) for mm in lengths[1:]),
                *([""] * 6 if by_hand else _times(job.times)),
                "; ".join(freed),
            )
        )
    on_cutter = [job for job in jobs if job.sheet.how != "hand"]
    if on_cutter:
        sums = [
            sum(each)
            for each in zip(*((j.cut_length, j.travel, j.least, j.nearest) for j in on_cutter), strict=True)
        ]
        rows.append(
            (
                "on the cutter in all",
                *[""] * 4,
                sum(len(job.sheet.placed) for job in on_cutter),
                sum(len(job.strokes) for job in on_cutter),
                sum(sum(job.tabs.values()) for job in on_cutter),
                *(show_number(mm / per, 0 if unit == "mm" else 1) for mm in sums),
                *_times(sum((job.times for job in on_cutter), Times())),
                "",
            )
        )
    return csv_bytes(rows)


def _times(times: Times) -> list[str]:
    parts = (times.cutting, times.marking, times.travel, times.etching, times.starts, times.total)
    return [show_number(seconds, 1) for seconds in parts]
