"""Options and the folder for results that `plan` and `scales` share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from nestkit.cli.values import number, whole

BuildFile = Annotated[Path, typer.Argument(metavar="BUILD", help="The build file.")]
Out = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="Folder for the results. Without it: out/ and the build's folder."),
]
Seconds = Annotated[
    float, typer.Option(parser=number(0.0, 86400.0), metavar="SECONDS", help="How long to search, in all.")
]
Rounds = Annotated[
    int | None,
    typer.Option(
        parser=whole(1),
        metavar="ROUNDS",
        help="Search this many rounds instead, for each size: the same files on every machine.",
    ),
]
Seed = Annotated[int, typer.Option(parser=whole(0), metavar="NUMBER", help="Start of the search's chance.")]
Offcuts = Annotated[
    bool | None,
    typer.Option(
        "--offcuts/--no-offcuts",
        help="Use up what lies in the shop ('nestkit offcuts list') before sheets are bought.",
        show_default=False,
    ),
]
Scale = Annotated[
    float | None, typer.Option(parser=number(0.001, 1000.0), metavar="SCALE", help="Plan at this scale.")
]
Cores = Annotated[
    int | None,
    typer.Option(
        "--cores",
        "--jobs",
        parser=whole(1, 256),
        metavar="NUMBER",
        help="Cores that work at once. Without it: all of them.",
    ),
]


def default_out(build_file: Path, ending: str = "") -> Path:
    """``out/FOLDER``, with the file's name behind it when that isn't the usual one, and an ending."""
    name = build_file.resolve().parent.name or "build"
    return Path("out") / f"{name if build_file.stem == 'build' else f'{name}-{build_file.stem}'}{ending}"


def free_sibling(folder: Path) -> Path:
    """A folder beside the output that is not there yet."""
    number = 1
    while True:
        sibling = folder.with_name(f"{folder.name}-stopped-{number}")
        if not sibling.exists():
            return sibling
        number += 1
