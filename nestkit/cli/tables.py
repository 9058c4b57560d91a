"""Tables for the terminal: aligned, plain when the output is not a terminal."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

#: Width of tables that go into a file or a pipe, so that nothing is cut off or folded.
WIDE = 240


def console() -> Console:
    """Standard output; no colours and no folding when it is not a terminal."""
    return Console(highlight=False) if sys.stdout.isatty() else Console(highlight=False, width=WIDE)


def show(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]]) -> None:
    """Prints rows under their columns; each column is a heading and 'left' or 'right'."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading, side in columns:
        table.add_column(heading, justify="right" if side == "right" else "left", no_wrap=side == "right")
    for row in rows:
        table.add_row(*(cell.replace("[", r"\[") for cell in row))
    console().print(table)
