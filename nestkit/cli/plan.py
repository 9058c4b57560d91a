"""``nestkit plan``: the main job."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.interrupts import asked_to_stop, held_back
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build
    from nestkit.nesting.model import Plan, Unplaced
    from nestkit.planning import Progress
    from nestkit.units import Unit


class TemplatesFor(StrEnum):
    """Which parts get a paper template."""

    HAND = "hand"
    ALL = "all"
    NONE = "none"


class PaperSize(StrEnum):
    """What templates are printed on."""

    A4 = "A4"
    A3 = "A3"
    LETTER = "letter"


def plan(
    context: typer.Context,
    build_file: Annotated[Path, typer.Argument(metavar="BUILD", help="The build file.")],
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder for the results. Without it: out/ and the build's folder."),
    ] = None,
    seconds: Annotated[float, typer.Option(min=0.0, max=86400.0, help="How long to search, in all.")] = 30.0,
    rounds: Annotated[
        int | None,
        typer.Option(min=1, help="Search this many rounds instead: the same files on every machine."),
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Start of the search's chance.")] = 1,
    scale: Annotated[float | None, typer.Option(min=0.001, max=1000.0, help="Plan at this scale.")] = None,
    templates: Annotated[
        TemplatesFor | None,
        typer.Option(help="Paper templates for the parts cut by hand, for all parts, or none."),
    ] = None,
    paper: Annotated[
        PaperSize | None,
        typer.Option(metavar="A4|A3|letter", case_sensitive=False, help="What templates are printed on."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Nests the build and writes the cutter's files, the lists and the report."""
    from nestkit.cli.check import show_verdict
    from nestkit.cli.parts import show_findings
    from nestkit.cli.summary import plan_summary, show_cautions
    from nestkit.preparing import read_build

    script = script_output(context, as_json)
    build = _with_templates(read_build(build_file, scale), templates, paper)
    from nestkit.checking import check_folder
    from nestkit.errors import Interrupted
    from nestkit.output import write_plan
    from nestkit.output.folder import check_out
    from nestkit.planning import Effort, make_plan

    folder = out if out is not None else _default_out(build_file, build)
    check_out(folder)
    show_findings(build)
    with asked_to_stop() as asked, _shown(build.unit) as progress:
        planned = make_plan(build, Effort(seconds, rounds, seed), asked_to_stop=asked, progress=progress)
    with held_back():
        if planned.stopped and planned.plan.sheets:
            kept = _free_sibling(folder)
            write_plan(build, planned.plan, planned.jobs, kept)
            untouched = f"; {folder} is as it was" if folder.exists() else ""
            raise Interrupted(f"Stopped. The best plan so far is in {kept}{untouched}.", str(kept))
        _show_left_out(planned.plan)
        if not planned.plan.sheets:
            typer.echo("Nothing could be placed; nothing was written.")
            if script is not None:
                print_json(script, plan_summary(build, None, planned.plan.unplaced, None))
            raise typer.Exit(1)
        write_plan(build, planned.plan, planned.jobs, folder)
        verdict = check_folder(folder)
    _show_groups(build, planned.plan)
    _show_hand(planned.plan)
    _show_templates(folder)
    show_cautions(build, folder)
    typer.echo(f"wrote {folder}: open {folder / 'report.html'} first")
    show_verdict(verdict, told="left-out")
    if script is not None:
        print_json(script, plan_summary(build, folder, planned.plan.unplaced, verdict))
    if planned.plan.unplaced or not verdict.ok:
        raise typer.Exit(1)


def _with_templates(build: Build, which: TemplatesFor | None, paper: PaperSize | None) -> Build:
    """The build with what the command line says of templates."""
    settings = build.templates
    return replace(
        build,
        templates=replace(
            settings,
            which=settings.which if which is None else which.value,
            paper=settings.paper if paper is None else paper.value,
        ),
    )


def _default_out(build_file: Path, build: Build) -> Path:
    """``out/FOLDER``, with the file's name behind it when that isn't the usual one.

    Raises
    ------
    InputError
        When another build's plan is there already.
    """
    from nestkit.errors import InputError
    from nestkit.output.folder import earlier_build

    name = build_file.resolve().parent.name or "build"
    folder = Path("out") / (name if build_file.stem == "build" else f"{name}-{build_file.stem}")
    there = earlier_build(folder)
    if there not in (None, build.name):
        raise InputError.one(
            str(folder), f"holds the plan of another build, '{there}'", "Name another folder with --out"
        )
    return folder


def _together(unplaced: Sequence[Unplaced]) -> list[str]:
    """Copies that are left out for the same reason, told together."""
    found: dict[tuple[str, str], list[int]] = {}
    for copy in unplaced:
        found.setdefault((copy.part.name, copy.why), []).append(copy.copy)
    lines = []
    for (name, why), copies in found.items():
        which = f"copy {copies[0]}" if len(copies) == 1 else counted(len(copies), "copy", "copies")
        lines.append(f"{name}, {which}: {why}")
    return lines


def _show_left_out(plan: Plan) -> None:
    from nestkit.cli.tables import bad, say

    for copies in _together(plan.unplaced):
        say(bad("left out: "), copies)
    if plan.unplaced:
        typer.echo(
            "To place them: list more or larger sheets of that thickness ([[sheet]] in_shop, buy, size), or "
            "plan at a smaller --scale."
        )


def _show_hand(plan: Plan) -> None:
    """Names what is cut by hand although there is a cutter."""
    by_hand = [placed.part for sheet in plan.sheets if sheet.how == "hand" for placed in sheet.placed]
    if not by_hand or all(sheet.how == "hand" for sheet in plan.sheets):
        return
    asked = sorted({part.name for part in by_hand if part.by_hand})
    too_large = sorted({part.name for part in by_hand if not part.by_hand})
    if asked:
        typer.echo(f"cut by hand, as asked: {', '.join(asked)}")
    if too_large:
        typer.echo(f"cut by hand, too large for the bed: {', '.join(too_large)}")


def _show_templates(folder: Path) -> None:
    """How many pages of templates there are, and what to mind when they are printed."""
    from nestkit.output.folder import PLAN_FILE

    book = json.loads((folder / PLAN_FILE).read_bytes())["templates"]
    if book is None:
        return
    whose = "all parts" if book["which"] == "all" else "what is cut by hand"
    pages = f"{counted(book['pages'], 'page')} of {book['paper']}"
    typer.echo(f"templates for {whose}: {book['file']}, {pages}; print it at 100 %, not fitted to the page")
    if book["left_out"]:
        typer.echo(f"no template, too large for paper: {', '.join(book['left_out'])}")


@contextmanager
def _shown(unit: Unit) -> Iterator[Callable[[Progress], None] | None]:
    """A line that follows the search; nothing when nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console

    from nestkit.units import show_length

    console = Console(stderr=True)
    with console.status("reading") as status:

        def show(at: Progress) -> None:
            doing = at.note or f"round {at.rounds}, {counted(at.sheets, 'sheet')}"
            foam = f"{at.material} {show_length(at.thickness, unit)}"
            status.update(f"{foam} ({at.number} of {at.groups}): {doing}")

        yield show


def _free_sibling(folder: Path) -> Path:
    """A folder beside the output that is not there yet."""
    number = 1
    while True:
        sibling = folder.with_name(f"{folder.name}-stopped-{number}")
        if not sibling.exists():
            return sibling
        number += 1


def _show_groups(build: Build, plan: Plan) -> None:
    from nestkit.cli.tables import Cell, good, show
    from nestkit.units import show_length

    rows: list[tuple[Cell, ...]] = []
    for group in plan.groups:
        least: Cell = str(group.sheets_at_least)
        if group.proven:
            least = good(f"{least} (no plan can do with fewer)")
        rows.append(
            (
                group.material,
                show_length(group.thickness, build.unit),
                str(group.parts),
                str(group.sheets_used),
                least,
                f"{group.waste:.0%}",
                f"{group.cost:.2f}",
            )
        )
    total = sum(group.cost for group in plan.groups)
    sheets = sum(group.sheets_used for group in plan.groups)
    rows.append(("in all", "", str(sum(g.parts for g in plan.groups)), str(sheets), "", "", f"{total:.2f}"))
    show(
        (
            ("material", "left"),
            ("thickness", "right"),
            ("parts", "right"),
            ("sheets", "right"),
            ("certainly needed", "left"),
            ("waste", "right"),
            ("cost", "right"),
        ),
        rows,
    )
