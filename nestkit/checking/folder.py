"""The check of a whole folder that ``nestkit plan`` wrote."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from nestkit.checking.blanks import NAME, SKETCH, blanks_wanted, judge_blanks
from nestkit.checking.etching import judge_folds, judge_passes
from nestkit.checking.job_file import CUT_OUTSIDE, SHEET, JobFile, read_job
from nestkit.checking.keeping import judge_leftovers
from nestkit.checking.labels import LabelJudge
from nestkit.checking.order import judge_order
from nestkit.checking.pieces import sort_out
from nestkit.checking.plan_entries import Key, PlanFile, SheetEntry
from nestkit.checking.plan_file import read_plan
from nestkit.checking.sizes import SizeJudge, unit_mix_up
from nestkit.checking.spacing import judge_blank, judge_spacing
from nestkit.checking.svg_file import judge_svg, svg_name
from nestkit.checking.tabs import tabbed_parts, with_whole_outlines
from nestkit.checking.templates import judge_templates
from nestkit.checking.totals import judge_copies, judge_groups, judge_length, judge_placed
from nestkit.checking.verdict import Fault, Verdict


def check_folder(folder: Path) -> Verdict:
    """Read back every file that ``nestkit plan`` wrote into a folder, and judge it.

    The DXF files are read with ezdxf and measured with shapely; none of the code that made them is used.
    Whatever their bytes are, what is wrong becomes a fault.

    Parameters
    ----------
    folder : pathlib.Path
        Holds ``plan.json`` and ``jobs/``.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        When there is no plan there, or plan.json is unreadable, not JSON, of another format or version,
        nested too deep, or malformed.
    """
    plan = read_plan(folder)
    check = _Check(folder, plan)
    for sheet in plan.sheets:
        check.sheet(sheet)
    check.whole()
    faults = tuple(replace(fault, unit=plan.unit) for fault in check.faults)
    return Verdict(faults, check.files, check.copies, check.cuts)


#: What is written beside plan.json and jobs/.
BESIDE = ("report.html", "shopping.csv", "cutting.csv", "jobs.csv", "layers.csv", "gluing.csv")
#: Written too when a part on a sheet has a fold or bevel.
FOLDS = "folds.csv"


class _Check:
    def __init__(self, folder: Path, plan: PlanFile) -> None:
        self.folder, self.plan = folder, plan
        self.faults: list[Fault] = []
        self.files = self.copies = self.cuts = 0
        self._found: dict[Key, list[str]] = defaultdict(list)
        self._excused: set[Key] = set()
        self._read: list[tuple[JobFile, SheetEntry]] = []

    def sheet(self, sheet: SheetEntry) -> None:
        """Judge one sheet's files."""
        job = read_job(self.folder, sheet.job, tabbed_parts(self.plan, sheet), self.plan.unit)
        faults = list(job.faults)
        if job.readable:
            self.files += 1
            if job.version and job.version != self.plan.dxf:
                text = f"the file is of version {job.version}, not {self.plan.dxf}"
                faults.append(Fault("version", job.name, text=text))
            faults.extend(self._judge(job, sheet))
        else:
            self._excused.update(placed.key for placed in sheet.placed)
        self._read.append((job, sheet))
        self.faults.extend(faults)

    def _judge(self, written: JobFile, sheet: SheetEntry) -> Iterator[Fault]:
        job, about_tabs = with_whole_outlines(written, sheet, self.plan)
        self.cuts += sum(stroke.is_cut for stroke in job.strokes)
        cutting = sort_out(job, sheet, self.plan)
        yield from cutting.faults
        self._excused |= cutting.spoilt
        for piece in cutting.pieces:
            if piece.key[0] and not piece.extra:
                self._found[piece.key].append(job.name)
                self.copies += 1
        factor = common_factor(job, sheet, self.plan.kerf_on(sheet))
        if factor is not None:
            hint = unit_mix_up(factor)
            text = f"everything is {factor:.4g} times its planned size"
            yield Fault("scale", job.name, text=text + (f"; {hint}" if hint else ""))
            return
        yield from about_tabs
        yield from judge_blank(job, sheet, self.plan)
        yield from judge_spacing(job, sheet, self.plan, cutting.pieces)
        placed = {one.key: one for one in sheet.placed}
        judge = SizeJudge(job)
        labels = LabelJudge(job, sheet, self.plan)
        yield from judge_passes(job, sheet)
        for piece in cutting.pieces:
            if piece.key in placed and not piece.extra:
                listed, planned = self.plan.parts[piece.key[0]], placed[piece.key]
                judge.piece(piece, listed, planned)
                yield from judge_folds(job, sheet, piece, listed, planned)
                yield from labels.piece(piece, planned)
        yield from judge.faults
        yield from judge_order(job, cutting.pieces)

    def whole(self) -> None:
        """Judge what concerns the plan as a whole."""
        self.faults.extend(judge_copies(self.plan, self._found, frozenset(self._excused)))
        # What else is said of a cutter file is compared only where the file itself is right.
        wrong = {fault.file for fault in self.faults}
        right = [(job, sheet) for job, sheet in self._read if job.name not in wrong]
        for job, sheet in right:
            if len(right) == len(self._read):
                self.faults.extend(judge_length(job, sheet))
            if (self.folder / svg_name(job.name)).is_file():
                self.faults.extend(judge_svg(self.folder, job, sheet))
        self.faults.extend(self._missing_files())
        self.faults.extend(judge_templates(self.folder, self.plan))
        self.faults.extend(judge_blanks(self.folder, self.plan))
        self.faults.extend(judge_placed(self.plan))
        self.faults.extend(judge_groups(self.plan))
        self.faults.extend(judge_leftovers(self.plan))
        known = {sheet.job for sheet in self.plan.sheets}
        known |= {svg_name(job) for job in known}
        for name in (*_listing(self.folder, ".dxf"), *_listing(self.folder, ".svg")):
            if name not in known:
                text = "plan.json does not name this file, so it may be from an earlier plan"
                self.faults.append(Fault("stray-file", name, text=text, todo="Move it out of the folder"))

    def _missing_files(self) -> Iterator[Fault]:
        """Files that are always written and are not there; a missing DXF is told where it is read."""
        for sheet in self.plan.sheets:
            name = svg_name(sheet.job)
            if not (self.folder / name).is_file():
                yield Fault("missing-file", name, text="the SVG beside the DXF is not there")
        used = {placed.key[0] for sheet in self.plan.sheets for placed in sheet.placed}
        folded = any(part.folds for name, part in self.plan.parts.items() if name in used)
        # A plan from before there were labels is from before there was a list of blanks.
        listed = any(one.labels is not None for sheet in self.plan.sheets for one in sheet.placed)
        blanks = (NAME, SKETCH) if listed and blanks_wanted(self.plan) else ()
        for name in (*BESIDE, *[FOLDS] * folded, *blanks):
            if not (self.folder / name).is_file():
                todo = "Write the plan again with nestkit plan"
                yield Fault("missing-file", name, text="this file is not there", todo=todo)


def _listing(folder: Path, ending: str) -> list[str]:
    """Files in jobs/ with this ending, sorted."""
    jobs = folder / "jobs"
    if not jobs.is_dir():
        return []
    return sorted(f"jobs/{path.name}" for path in jobs.iterdir() if path.suffix.lower() == ending)


def common_factor(job: JobFile, sheet: SheetEntry, kerf: float) -> float | None:
    """The one factor by which everything in a file is off, or None when there is no such factor."""
    factors = []
    placed = {one.key: one for one in sheet.placed}
    edges = [stroke for stroke in job.strokes if stroke.layer == SHEET]
    if edges:
        largest = max(edges, key=lambda stroke: float(stroke.region.area))
        factors.append(_extent(largest.points) / _extent(sheet.outline))
    for stroke in job.strokes:
        if stroke.layer == CUT_OUTSIDE and stroke.key in placed:
            factors.append(_extent(stroke.points) / (_extent(placed[stroke.key].outline) + 2.0 * kerf))
    if not factors:
        return None
    middle = float(np.median(factors))
    same = max(abs(factor / middle - 1.0) for factor in factors) < 0.02
    return middle if same and abs(middle - 1.0) > 0.04 else None


def _extent(points: NDArray[np.float64]) -> float:
    """Width and height together, mm; never 0."""
    return max(float(np.ptp(points, axis=0).sum()), 1e-9)
