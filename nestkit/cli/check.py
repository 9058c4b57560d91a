"""``nestkit check``: judges what was written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from nestkit.checking import Verdict


def check(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'nestkit plan' wrote.")],
) -> None:
    """Reads the written files back and judges them."""
    from nestkit.checking import check_folder

    verdict = check_folder(folder)
    show_verdict(verdict)
    if not verdict.ok:
        raise typer.Exit(1)


def show_verdict(verdict: Verdict) -> None:
    """One line when all is right, else a line for each fault."""
    for fault in verdict.faults:
        typer.echo(str(fault))
    if verdict.ok:
        typer.echo(f"check: all is right: {verdict.copies} copies in {verdict.files} cutter files")
    else:
        count = len(verdict.faults)
        typer.echo(f"check: {count} fault{'s' if count != 1 else ''} in {verdict.files} cutter files")
