"""``nestkit new``: files to start from."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write into; made when missing.")],
) -> None:
    """Writes a commented build file and a small drawing to start from."""
    from nestkit.build.starter import write_starter

    for file in write_starter(folder):
        typer.echo(f"wrote {file}")
    typer.echo(f"Next: nestkit parts {shlex.quote(str(folder / 'build.toml'))}")
