"""What Ctrl-C does in each phase of a command.

Before the search there is nothing to lose: the program ends at once. During the search the first
Ctrl-C asks for the best plan so far, a second one ends the program. While files are being written and
judged, which takes a moment and can't stop half-way, Ctrl-C waits.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

EXIT_CODE = 130

Handler = Callable[[int, FrameType | None], None]


def end_at_once_on_ctrl_c() -> None:
    """From here on Ctrl-C ends the program with a message, even inside a library's import."""
    signal.signal(signal.SIGINT, _end)


def _end(number: int, frame: FrameType | None) -> NoReturn:
    # No exception: a library that is being imported would turn it into an error of its own.
    _say("Stopped; nothing was written.")
    sys.stdout.flush()
    os._exit(EXIT_CODE)


def _say(words: str) -> None:
    """Straight to the terminal: a handler may have interrupted a write to the buffered stream."""
    os.write(2, f"\n{words}\n".encode())


@contextmanager
def asked_to_stop(kept: str = "the best plan so far") -> Iterator[Callable[[], bool]]:
    """Gives a callable that says whether Ctrl-C was pressed; a second one ends the program.

    `kept` is what there will be nevertheless.
    """
    asked = False

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            _end(number, frame)
        asked = True
        _say(f"Stopping with {kept}; press Ctrl-C again to give it up.")

    with _handled_by(note):
        yield lambda: asked


@contextmanager
def held_back() -> Iterator[None]:
    """Ctrl-C waits: nothing that is written here is left half-done."""
    with _handled_by(lambda number, frame: None):
        yield


@contextmanager
def _handled_by(handler: Handler) -> Iterator[None]:
    before = signal.signal(signal.SIGINT, handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
