"""``nestkit check``: judges what was written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.checking import Verdict


def check(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'nestkit plan' wrote.")],
    as_json: AsJson = False,
) -> None:
    """Reads the written files back and judges them."""
    script = script_output(context, as_json)
    from nestkit.checking import check_folder
    from nestkit.cli.summary import verdict_data

    verdict = check_folder(folder)
    show_verdict(verdict)
    if script is not None:
        print_json(script, verdict_data(verdict))
    if not verdict.ok:
        raise typer.Exit(1)


def show_verdict(verdict: Verdict, told: str = "") -> None:
    """One line when all is right, else a line for each fault; those with the code `told` are not repeated."""
    from nestkit.cli.tables import bad, good, say

    faults = [fault for fault in verdict.faults if fault.code != told]
    for fault in faults:
        say(bad("fault: "), str(fault))
    files = counted(verdict.files, "cutter file")
    if faults:
        say(
            bad(f"check: {counted(len(faults), 'fault')} in {files}."),
            " Don't cut from these files: run 'nestkit plan' again, and 'nestkit check' on what it writes.",
        )
    else:
        what = "all is right" if verdict.ok else "what was placed is right"
        say(good(f"check: {what}"), f": {counted(verdict.copies, 'copy', 'copies')} in {files}")
