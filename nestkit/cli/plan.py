"""``nestkit plan``: the main job."""

from __future__ import annotations

import os
import shlex
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
from nestkit.cli.offcuts import ShopFile, pieces_for, shop_file, there
from nestkit.cli.offcuts_use import given_numbers
from nestkit.cli.planning_options import (
    BuildFile,
    Cores,
    Offcuts,
    Out,
    Rounds,
    Scale,
    Seconds,
    Seed,
    default_out,
    free_sibling,
)
from nestkit.cli.values import choice
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build, CutterKind
    from nestkit.nesting.carried import LaidSheet
    from nestkit.nesting.model import Plan, PlannedSheet, Unplaced
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
    build_file: BuildFile,
    out: Out = None,
    seconds: Seconds = 30.0,
    rounds: Rounds = None,
    seed: Seed = 1,
    cores: Cores = None,
    scale: Scale = None,
    templates: Annotated[
        TemplatesFor | None,
        typer.Option(
            parser=choice(TemplatesFor),
            metavar="hand|all|none",
            help="Paper templates for the parts cut by hand, for all parts, or none.",
        ),
    ] = None,
    paper: Annotated[
        PaperSize | None,
        typer.Option(parser=choice(PaperSize), metavar="A4|A3|letter", help="What templates are printed on."),
    ] = None,
    only: Annotated[
        str,
        typer.Option(
            metavar="PART=N,...",
            help="Plan only these again, offcuts first: claw=2 for two claws, claw#4 for copy 4.",
        ),
    ] = "",
    keep: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="An earlier plan of the build whose sheets are cut already."),
    ] = None,
    sheets: Annotated[
        str, typer.Option(metavar="NUMBERS", help="With --keep: only these are cut, for example 1,2.")
    ] = "",
    begin_with: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Begin with what nestkit scales found for this size."),
    ] = None,
    offcuts: Offcuts = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Lays the build out on sheets, and writes the cutter's files, the lists and the report."""
    from nestkit.cli.check import show_verdict
    from nestkit.cli.parts import show_findings
    from nestkit.cli.summary import plan_summary, show_cautions
    from nestkit.preparing import read_build

    script = script_output(context, as_json)
    build = _with_templates(read_build(build_file, scale), templates, paper)
    if only:
        build = _with_only(build, only)
    if offcuts or (only and offcuts is None and shop_file(shop).exists()):
        build = _with_offcuts(build, there(shop))
    build, cut = _kept(build, keep, sheets, bool(only))
    start = _beginning(begin_with, build)
    from nestkit.checking import check_folder
    from nestkit.errors import Interrupted
    from nestkit.output import write_plan
    from nestkit.output.folder import TEMPLATES_FILE, check_out
    from nestkit.planning import Effort, make_plan

    usual = default_out(build_file, "-recut" if only else "")
    folder = out if out is not None else _own_folder(usual, build)
    check_out(folder)
    show_findings(build, mended=False)
    with asked_to_stop() as asked, _shown(build.unit) as progress:
        effort = Effort(seconds, rounds, seed)
        planned = make_plan(
            build,
            effort,
            asked_to_stop=asked,
            progress=progress,
            kept=cut,
            start=start,
            cores=cores or os.cpu_count() or 1,
        )
    with held_back():
        if planned.stopped and planned.plan.sheets:
            kept = free_sibling(folder)
            write_plan(build, planned.plan, planned.jobs, kept)
            untouched = f"; {folder} is as it was" if folder.exists() else ""
            raise Interrupted(f"Stopped. The best plan so far is in {kept}{untouched}.", str(kept))
        _show_left_out(planned.plan)
        if not planned.plan.sheets:
            typer.echo("Nothing could be placed; nothing was written.")
            if script is not None:
                print_json(script, plan_summary(build, None, planned.plan.unplaced, None))
            raise typer.Exit(1)
        written = write_plan(build, planned.plan, planned.jobs, folder)
        verdict = check_folder(folder)
    _show_groups(build, planned.plan)
    _show_hand(build.cutter.kind, planned.plan)
    if written.templates:
        typer.echo(f"{TEMPLATES_FILE}: {written.templates}")
    show_cautions(build, folder)
    typer.echo(f"wrote {folder}: open {folder / 'report.html'} first")
    if build.shop or planned.plan.leftovers:
        typer.echo(f"Once it is cut: nestkit offcuts use {shlex.quote(str(folder))}")
    show_verdict(verdict, told="left-out")
    if script is not None:
        print_json(script, plan_summary(build, folder, planned.plan.unplaced, verdict))
    if planned.plan.unplaced or not verdict.ok:
        raise typer.Exit(1)


def _kept(
    build: Build, folder: Path | None, sheets: str, only: bool
) -> tuple[Build, tuple[PlannedSheet, ...]]:
    """The build, and the sheets of an earlier plan that are cut already.

    Raises
    ------
    InputError
        As `keeping.keep`, and for options that don't go together.
    """
    from nestkit.errors import InputError
    from nestkit.keeping import keep

    if folder is None:
        if sheets:
            raise InputError.one(
                "plan", "--sheets says which sheets of --keep are cut", "Give --keep DIR too"
            )
        return build, ()
    if only:
        raise InputError.one("plan", "--only and --keep exclude each other", "Give one of them")
    found = keep(build, folder, given_numbers("--sheets", sheets) if sheets else ())
    done = sum(len(sheet.placed) for sheet in found.sheets)
    typer.echo(f"kept: {counted(len(found.sheets), 'sheet')} with {counted(done, 'copy', 'copies')}")
    return found.build, found.sheets


def _beginning(folder: Path | None, build: Build) -> tuple[LaidSheet, ...]:
    """What a comparison of sizes found for this one, or for the nearest; nothing without a folder.

    Raises
    ------
    InputError
        As `scales.layouts.read_layouts`.
    """
    if folder is None:
        return ()
    from nestkit.scales.layouts import nearest, read_layouts

    return nearest(read_layouts(folder, build.name), build.scale)


def _with_only(build: Build, text: str) -> Build:
    """The build with the copies alone that are named.

    Raises
    ------
    InputError
        When the text is not understood, or names what the build has not.
    """
    from nestkit.build.recut import only, read_wanted
    from nestkit.errors import InputError

    try:
        wanted = read_wanted(text)
    except ValueError as error:
        raise InputError.one("--only", str(error), "Write for example claw=2,fin#4") from None
    return only(build, wanted)


def _with_offcuts(build: Build, file: Path) -> Build:
    """The build with what lies in the shop among its sheets."""
    from nestkit.stock.shop_sheets import with_pieces

    return with_pieces(build, *pieces_for(build, file))


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


def _own_folder(folder: Path, build: Build) -> Path:
    """The usual folder for results.

    Raises
    ------
    InputError
        When another build's plan is there already.
    """
    from nestkit.errors import InputError
    from nestkit.output.folder import earlier_build

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


def _show_hand(cutter: CutterKind, plan: Plan) -> None:
    """Names what is cut by hand although there is a cutter."""
    from nestkit.nesting.request import why_by_hand

    if cutter == "hand":
        return
    reasons: dict[str, set[str]] = {}
    for sheet in plan.sheets:
        for placed in sheet.placed if sheet.how == "hand" else ():
            reasons.setdefault(why_by_hand(cutter, placed.part), set()).add(placed.part.name)
    for why in sorted(reasons):
        typer.echo(f"cut by hand, {why}: {', '.join(sorted(reasons[why]))}")


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


def _show_groups(build: Build, plan: Plan) -> None:
    from nestkit.cli.tables import Cell, good, show
    from nestkit.units import show_length

    rows: list[tuple[Cell, ...]] = []
    for group in plan.groups:
        least: Cell = str(group.sheets_at_least)
        if group.proven:
            words = (
                "no plan can do with fewer" if group.at_any_price else "no plan as cheap can do with fewer"
            )
            least = good(f"{least} ({words})")
        rows.append(
            (
                group.material,
                show_length(group.thickness, build.unit),
                str(group.parts),
                str(group.sheets_used),
                least,
                f"{group.waste:.0%}",
                f"{group.leftover:.0%}",
                f"{group.cost:.2f}",
            )
        )
    total = sum(group.cost for group in plan.groups)
    sheets = sum(group.sheets_used for group in plan.groups)
    copies = sum(group.parts for group in plan.groups)
    longer = any(not group.proven and group.sheets_at_least < group.sheets_used for group in plan.groups)
    rows.append(("in all", "", str(copies), str(sheets), *[""] * 3, f"{total:.2f}"))
    show(
        (
            ("material", "left"),
            ("thickness", "right"),
            ("copies", "right"),
            ("sheets", "right"),
            ("certainly needed", "left"),
            ("waste", "right"),
            ("worth keeping", "right"),
            ("cost", "right"),
        ),
        rows,
    )
    if longer:
        typer.echo("Where more sheets are used than certainly needed, more --seconds may save one.")
