"""Everything that a plan is written as, put into its folder in one step."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from nestkit.build.model import Build
from nestkit.cutting.model import Job
from nestkit.nesting.model import Plan
from nestkit.output.blank_list import blanks_bytes, blanks_svg_bytes, sheets_to_cut_up
from nestkit.output.dxf import dxf_bytes
from nestkit.output.folder import PLAN_FILE, TEMPLATES_FILE, replace_folder
from nestkit.output.gluing import gluing_bytes
from nestkit.output.grooves import grooves_in
from nestkit.output.jobs_csv import jobs_bytes
from nestkit.output.lists import cutting_bytes, folds_bytes, layers_bytes, shopping_bytes
from nestkit.output.plan_json import job_file, plan_bytes
from nestkit.output.report import report_bytes
from nestkit.output.report_files import template_words
from nestkit.output.svg import svg_bytes
from nestkit.output.template_book import TemplateBook, template_book

_JOB_NAME = re.compile(r"\w[\w.-]*")


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the files, ``plan.json`` first, and what there is to say of the templates, if any."""

    files: tuple[Path, ...]
    templates: str


def plan_files(build: Build, plan: Plan, jobs: tuple[Job, ...]) -> dict[str, bytes]:
    """All files of a plan by their place in the output folder; the same input gives the same bytes.

    Raises
    ------
    ValueError
        When the jobs are not those of the plan's sheets in order, two have the same name, or a name
        is not fit for a file.
    """
    return _files(build, plan, jobs, template_book(build, plan))


def _files(build: Build, plan: Plan, jobs: tuple[Job, ...], book: TemplateBook | None) -> dict[str, bytes]:
    if [job.sheet for job in jobs] != list(plan.sheets):
        raise ValueError("the jobs must be those of the plan's sheets, in order")
    if len({job.name.casefold() for job in jobs}) != len(jobs):
        raise ValueError("two jobs have the same name")
    unfit = [job.name for job in jobs if not _JOB_NAME.fullmatch(job.name)]
    if unfit:
        raise ValueError(f"a job's name is not fit for a file: {unfit[0]!r}")
    files = {
        PLAN_FILE: plan_bytes(build, plan, jobs, None if book is None else book.facts(build.templates)),
        "shopping.csv": shopping_bytes(build, plan),
        "cutting.csv": cutting_bytes(build, plan, jobs),
        "jobs.csv": jobs_bytes(build, plan, jobs),
        "layers.csv": layers_bytes(build, jobs),
        "gluing.csv": gluing_bytes(build, plan, jobs),
    }
    if book is not None:
        files[TEMPLATES_FILE] = book.data
    if sheets_to_cut_up(build, jobs):
        files["blanks.csv"] = blanks_bytes(build, jobs)
        files["blanks.svg"] = blanks_svg_bytes(build, jobs)
    if grooves_in(build, jobs):
        files["folds.csv"] = folds_bytes(build, jobs)
    for job in jobs:
        dxf = job_file(job)
        files[dxf] = dxf_bytes(job, build.cutter.dxf)
        files[f"{dxf.removesuffix('.dxf')}.svg"] = svg_bytes(build, job)
    files["report.html"] = report_bytes(build, plan, jobs, tuple(files), book)
    return files


def write_plan(build: Build, plan: Plan, jobs: tuple[Job, ...], out: Path) -> Written:
    """Write the plan into the folder ``out``, all of it or nothing.

    An earlier output there is replaced; files that the maker added to it stay. What nestkit wrote
    earlier is written anew, edits by hand included.

    Parameters
    ----------
    build, plan
    jobs : tuple of Job
        In the order of ``plan.sheets``.
    out : pathlib.Path
        Missing, empty, or an earlier output.

    Returns
    -------
    Written

    Raises
    ------
    OutputError
        When ``out`` holds something else or cannot be written; then it is as it was before.
    ValueError
        As `plan_files`.
    """
    book = template_book(build, plan)
    files = _files(build, plan, jobs, book)
    replace_folder(out, files)
    return Written(tuple(out / name for name in files), "" if book is None else template_words(build, book))
