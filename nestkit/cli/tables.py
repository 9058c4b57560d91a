"""Tables and lines for the terminal: aligned, coloured where the terminal can, plain when piped.

A table that is wider than the terminal is folded between words; where that is not enough, each row becomes a
few lines, a cell on each. Nothing is ever cut off, and what goes into a pipe or a file is not folded at all.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence

from rich.cells import cell_len, chop_cells
from rich.console import Console
from rich.text import Text

Cell = str | Text
#: Heading, and "left" or "right".
Column = tuple[str, str]

#: Blanks between two columns.
GAP = 2
#: Where a line may end: at blanks, but not between a number and its unit, and after these, which names of
#: parts are put together with.
_PIECES = re.compile(r"\S+?[-_/,#](?=\S)|\S+(?: (?:mm|in|degrees)(?![^\s,.]))?|\s+")


def console() -> Console:
    """Standard output; no colours when it is not a terminal."""
    return Console(highlight=False)


def good(text: str) -> Text:
    """Words that say that all is well."""
    return Text(text, "green")


def doubtful(text: str) -> Text:
    """Words that ask to be looked at."""
    return Text(text, "yellow")


def bad(text: str) -> Text:
    """Words that say what went wrong."""
    return Text(text, "bold red")


def show(columns: Sequence[Column], rows: Sequence[Sequence[Cell]]) -> None:
    """Prints rows under their columns; each column is a heading and 'left' or 'right'."""
    out = console()
    for line in table_lines(columns, rows, out.width if sys.stdout.isatty() else None):
        line.rstrip()
        out.print(line, soft_wrap=True)


def say(*words: Cell) -> None:
    """Prints a line; it is not folded, so that a file or a search finds it whole."""
    console().print(Text.assemble(*words), soft_wrap=True)


def table_lines(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], width: int | None) -> list[Text]:
    """The lines of a table.

    Parameters
    ----------
    columns : sequence of (str, str)
    rows : sequence of sequence of str or Text
        A Text has one style as a whole.
    width : int, optional
        Of the terminal, characters; as wide as it takes when left out.
    """
    cells = [[cell if isinstance(cell, Text) else Text(cell) for cell in row] for row in rows]
    every = [[Text(heading, "bold") for heading, _ in columns], *cells]
    widths = _widths(columns, every, width)
    if widths is None:
        assert width is not None
        return [line for row in cells for line in _record(columns, row, width)]
    return [line for row in every for line in _row(columns, row, widths)]


def wrapped(text: str, width: int) -> list[str]:
    """``text`` in lines of at most ``width`` characters, ended between words where that is possible."""
    width = max(width, 2)  # the widest letter
    lines, line = [], ""
    for piece in _PIECES.findall(text):
        while cell_len(line + piece.rstrip()) > width:
            if line.strip():
                lines.append(line.rstrip())
                line, piece = "", piece.lstrip()
                continue
            # A word that is longer than the line.
            first, *_ = chop_cells(piece, width)
            lines.append(first)
            piece = piece[len(first) :]
        line += piece if line or piece.strip() else ""
    return [*lines, line.rstrip()] if line.strip() or not lines else lines


def _widths(
    columns: Sequence[Column], every: Sequence[Sequence[Text]], width: int | None
) -> list[int] | None:
    """A width for each column; None when the terminal is too narrow for words that can't be parted."""
    natural = [max(cell_len(row[k].plain) for row in every) for k in range(len(columns))]
    room = None if width is None else width - GAP * (len(columns) - 1)
    if room is None or sum(natural) <= room:
        return natural
    words = [
        max(cell_len(piece.strip()) for row in every for piece in _PIECES.findall(row[k].plain) or [""])
        for k in range(len(columns))
    ]
    # Figures stay on one line where there is room for them.
    whole = [natural[k] if side == "right" else words[k] for k, (_, side) in enumerate(columns)]
    for least in (whole, words):
        if sum(least) <= room:
            return _shared(natural, least, room)
    return None


def _shared(natural: Sequence[int], least: Sequence[int], room: int) -> list[int]:
    """Widths that fill the room: the widest columns give way first, none below its least."""
    widths = list(natural)
    while sum(widths) > room:
        widest = max((k for k in range(len(widths)) if widths[k] > least[k]), key=lambda k: widths[k])
        widths[widest] -= 1
    return widths


def _row(columns: Sequence[Column], row: Sequence[Text], widths: Sequence[int]) -> list[Text]:
    """A row's lines, its cells beside each other."""
    folded = [wrapped(cell.plain, width) for cell, width in zip(row, widths, strict=True)]
    lines = []
    for k in range(max(map(len, folded))):
        line = Text()
        for place, ((_, side), cell, words) in enumerate(zip(columns, row, folded, strict=True)):
            text = words[k] if k < len(words) else ""
            blanks = " " * (widths[place] - cell_len(text))
            line.append(" " * GAP if place else "")
            line.append(blanks if side == "right" else "")
            line.append(text, cell.style)
            line.append("" if side == "right" else blanks)
        lines.append(line)
    return lines


def _record(columns: Sequence[Column], row: Sequence[Text], width: int) -> list[Text]:
    """A row's lines where the terminal is narrow: its first cell, below it the others by their headings."""
    first, *others = row
    lines = [Text(words, "bold") for words in wrapped(first.plain, width)]
    for (heading, _), cell in zip(columns[1:], others, strict=True):
        if not cell.plain:
            continue
        head = f"  {heading}: "
        if cell_len(head) > width // 2:
            lines += [Text(words) for words in wrapped(head.rstrip(), width)]
            head = "    "
        for place, words in enumerate(wrapped(cell.plain, width - cell_len(head))):
            lines.append(Text.assemble(head if place == 0 else " " * cell_len(head), (words, cell.style)))
    return lines
