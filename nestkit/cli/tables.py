"""Tables and lines for the terminal: aligned, coloured where the terminal can, plain when piped."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

#: Width of tables that go into a file or a pipe, so that nothing is cut off or folded.
WIDE = 240

Cell = str | Text


def console() -> Console:
    """Standard output; no colours and no folding when it is not a terminal."""
    return Console(highlight=False) if sys.stdout.isatty() else Console(highlight=False, width=WIDE)


def good(text: str) -> Text:
    """Words that say that all is well."""
    return Text(text, "green")


def doubtful(text: str) -> Text:
    """Words that ask to be looked at."""
    return Text(text, "yellow")


def bad(text: str) -> Text:
    """Words that say what went wrong."""
    return Text(text, "bold red")


def show(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[Cell]]) -> None:
    """Prints rows under their columns; each column is a heading and 'left' or 'right'."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading, side in columns:
        table.add_column(heading, justify="right" if side == "right" else "left", no_wrap=side == "right")
    for row in rows:
        table.add_row(*(Text(cell) if isinstance(cell, str) else cell for cell in row))
    out = console()
    if out.is_terminal:
        out.print(table)
        return
    with out.capture() as printed:
        out.print(table)
    out.out("\n".join(line.rstrip() for line in printed.get().splitlines()), highlight=False)


def say(*words: Cell) -> None:
    """Prints a line; it is not folded, so that a file or a search finds it whole."""
    console().print(Text.assemble(*words), soft_wrap=True)
