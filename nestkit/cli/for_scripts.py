"""``--json``: what a command has to say, as data for scripts."""

from __future__ import annotations

import json
import sys
from contextlib import redirect_stdout
from typing import Annotated, Any, TextIO

import typer

AsJson = Annotated[
    bool, typer.Option("--json", help="Print JSON for scripts (lengths in mm); words go to standard error.")
]


def script_output(context: typer.Context, wanted: bool) -> TextIO | None:
    """Where JSON goes, with all words turned to standard error until the command ends; None if unwanted."""
    if not wanted:
        return None
    output = sys.stdout
    context.with_resource(redirect_stdout(sys.stderr))
    return output


def print_json(output: TextIO, data: dict[str, Any]) -> None:
    """Prints one object."""
    output.write(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    output.flush()
