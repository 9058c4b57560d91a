"""What ``nestkit scales`` shows: each size while it is planned, then the table and the cliffs."""

from __future__ import annotations

import sys
import threading
from concurrent.futures import Future
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import typer

from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.scales.model import Comparison
    from nestkit.scales.runner import Event


class Shown:
    """Lines that follow the work: one for all of it, one for each size at work; nothing when nobody watches.

    Parameters
    ----------
    sizes : int
        How many sizes are compared.
    """

    def __init__(self, sizes: int) -> None:
        self._sizes = sizes
        self._done = 0
        self._more = 0
        self._lines: dict[int, str] = {}
        self._lock = threading.Lock()
        self._status: Any = None

    def __enter__(self) -> Self:
        if sys.stderr.isatty():
            from rich.console import Console

            self._status = Console(stderr=True).status("getting ready; the first time this takes a while")
            self._status.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._status is not None:
            self._status.stop()

    def heard(self, event: Event, future: Future[Any] | None) -> None:
        """Takes note of what happens to a size."""
        from nestkit.scales.runner import What
        from nestkit.scales.words import show_scale

        with self._lock:
            if event.what is What.ASKED and future is not None:
                self._lines[id(future)] = f"{show_scale(event.task.scale)}: waiting"
            else:
                self._lines.pop(id(future), None)
                if event.task.only is None and self._done < self._sizes:
                    self._done += 1
                else:
                    self._more += 1
            self._update()

    def note(self, future: Future[Any], words: str) -> None:
        """Takes what a worker says of its size; called from the worker's thread."""
        with self._lock:
            line = self._lines.get(id(future))
            if line is not None:
                self._lines[id(future)] = f"{line.split(':')[0]}: {words}"
                self._update()

    def _update(self) -> None:
        if self._status is None:
            return
        head = f"{self._done} of {counted(self._sizes, 'size')}"
        if self._more:
            head += f", {counted(self._more, 'try', 'tries')} between them"
        working = [line for line in self._lines.values() if not line.endswith(": waiting")]
        self._status.update("\n".join([head, *(f"  {line}" for line in working)]))


def show_comparison(found: Comparison) -> None:
    """The table of sizes, what is missing, the cliffs, and the largest sizes."""
    from nestkit.cli.tables import Cell, bad, doubtful, good, say, show
    from nestkit.scales.table import size_rows
    from nestkit.scales.words import cliff_sentence, foam_name, largest_sentences, show_scale

    foams = [foam_name(found, key) for key in found.groups]
    rows: list[tuple[Cell, ...]] = []
    for row in size_rows(found):
        sheets: list[Cell] = []
        for number, sure in row.groups:
            words = f"{number} ({sure})" if sure else number
            sheets.append(good(words) if sure.startswith("no") else words)
        rows.append((row.scale, row.size, *sheets, row.money, row.waste, row.leftover, row.time))
    if rows:
        show(
            (
                ("scale", "right"),
                (found.reference or "size", "right"),
                *((foam, "left") for foam in foams),
                ("money", "right"),
                ("waste", "right"),
                ("largest leftover", "right"),
                ("cutting", "right"),
            ),
            rows,
        )
    for row in size_rows(found):
        for note in row.notes:
            say((bad if note.startswith("left out") else doubtful)(f"{row.scale}: "), note)
    for gap in found.missing:
        say(bad(f"{show_scale(gap.scale)}: "), gap.why)
    for cliff in found.cliffs:
        typer.echo(cliff_sentence(found, cliff))
    if len(found.sizes) > 1 and not found.cliffs:
        typer.echo("No size takes other sheets than its neighbours.")
    for largest in found.largest:
        for sentence in largest_sentences(found, largest):
            typer.echo(sentence)
