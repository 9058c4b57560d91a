"""``nestkit schema``: the build file's JSON Schema, for editors that complete it."""

from __future__ import annotations

import typer


def schema() -> None:
    """Prints the JSON Schema of the build file, for editors that complete and check it."""
    import json

    from nestkit.build.json_schema import build_file_schema

    typer.echo(json.dumps(build_file_schema(), indent=2, ensure_ascii=False))
