"""``nestkit plan``: the main job."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from nestkit.build.model import Build
    from nestkit.nesting.model import Plan
    from nestkit.planning import Progress


def plan(
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
) -> None:
    """Nests the build and writes the cutter's files, the lists and the report."""
    from nestkit.cli.check import show_verdict
    from nestkit.cli.parts import read_build, show_findings

    build = read_build(build_file, scale)
    folder = out if out is not None else Path("out") / (build_file.resolve().parent.name or "build")
    from nestkit.checking import check_folder
    from nestkit.errors import Interrupted
    from nestkit.output import write_plan
    from nestkit.output.folder import check_out
    from nestkit.planning import Effort, make_plan

    check_out(folder)
    show_findings(build)
    with _ctrl_c_asks() as asked, _shown() as progress:
        planned = make_plan(build, Effort(seconds, rounds, seed), asked_to_stop=asked, progress=progress)
    if planned.stopped:
        if not planned.plan.sheets:
            raise Interrupted("Stopped before anything was placed; nothing was written.")
        kept = _free_sibling(folder)
        write_plan(build, planned.plan, planned.jobs, kept)
        raise Interrupted(f"Stopped. The best plan so far is in {kept}; {folder} is as it was.", str(kept))
    write_plan(build, planned.plan, planned.jobs, folder)
    _show_groups(build, planned.plan)
    for copy in planned.plan.unplaced:
        typer.echo(f"left out: {copy.part.name} #{copy.copy}: {copy.why}")
    verdict = check_folder(folder)
    typer.echo(f"wrote {folder}: open {folder / 'report.html'} first")
    show_verdict(verdict)
    if planned.plan.unplaced or not verdict.ok:
        raise typer.Exit(1)


@contextmanager
def _ctrl_c_asks() -> Iterator[Callable[[], bool]]:
    """The first Ctrl-C asks the search to stop; a second one stops the program at once."""
    asked = False

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True

    before = signal.signal(signal.SIGINT, note)
    try:
        yield lambda: asked
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _shown() -> Iterator[Callable[[Progress], None] | None]:
    """A line that follows the search; nothing when nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("reading") as status:

        def show(at: Progress) -> None:
            sheets = f"{at.sheets} sheet{'s' if at.sheets != 1 else ''}"
            status.update(
                f"{at.material} {at.thickness:g} mm ({at.number} of {at.groups}): round {at.rounds}, {sheets}"
            )

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
    from nestkit.cli.tables import show
    from nestkit.units import show_length

    rows = []
    for group in plan.groups:
        least = f"{group.sheets_at_least}" + (" (no plan can do with fewer)" if group.proven else "")
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
