"""The command line in the tests' own process: what it says and its exit code, as those of a program.

Starting a program and importing its libraries takes a second or two each time, far longer than most
commands do. What needs a program of its own starts one: signals, kills, hash seeds, terminals, limits, the
entry point.
"""

from __future__ import annotations

import os
import signal
import sys
import traceback
import warnings
from collections.abc import Iterator
from contextlib import chdir, contextmanager
from pathlib import Path
from subprocess import CompletedProcess
from tempfile import TemporaryFile
from typing import IO, TextIO
from unittest.mock import patch

from nestkit.cli import main


class TookTooLongError(BaseException):
    """No kind of error that a command may catch."""


def nestkit(
    *words: object, cwd: Path | None = None, seconds: int = 300, **environment: str
) -> CompletedProcess[str]:
    """Run a command to its end.

    Parameters
    ----------
    *words : object
        The command without the program's name.
    cwd : Path, optional
        Where it is typed.
    seconds : int
        So long it may take; more is a `TookTooLongError`.
    **environment : str
        More variables of the environment.
    """
    asked = ["nestkit", *map(str, words)]
    with TemporaryFile() as out, TemporaryFile() as err:
        with (
            chdir(cwd or Path.cwd()),
            patch.dict(os.environ, environment),
            patch.object(sys, "argv", asked),
            patch.object(sys, "excepthook", sys.excepthook),
            _caught(1, "stdout", out),
            _caught(2, "stderr", err),
            _warned(),
            _signals_as_before(),
            _in_time(seconds),
        ):
            code = _exit_code()
        return CompletedProcess(asked, code, _read(out), _read(err))


def _exit_code() -> int:
    """What a program's end would give: an error that nobody catches is a traceback, as it is there."""
    try:
        main()
    except SystemExit as end:
        if isinstance(end.code, str):
            print(end.code, file=sys.stderr)
            return 1
        return end.code or 0
    except Exception:
        traceback.print_exc()
        return 1
    return 0


@contextmanager
def _caught(number: int, name: str, file: IO[bytes]) -> Iterator[None]:
    """By the descriptor, so that libraries in C and processes that are started are heard too."""
    before: TextIO = getattr(sys, name)
    before.flush()
    kept = os.dup(number)
    os.dup2(file.fileno(), number)
    try:
        errors = "strict" if number == 1 else "backslashreplace"
        with open(os.dup(file.fileno()), "w", encoding="utf-8", errors=errors) as stream:
            setattr(sys, name, stream)
            yield
    finally:
        setattr(sys, name, before)
        os.dup2(kept, number)
        os.close(kept)


@contextmanager
def _warned() -> Iterator[None]:
    """Warnings are shown as a program shows them, not kept for the end of the tests."""

    def show(message, category, filename, lineno, file=None, line=None) -> None:
        print(warnings.formatwarning(message, category, filename, lineno, line), end="", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.resetwarnings()
        for hidden in (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning):
            warnings.simplefilter("ignore", hidden)
        warnings.showwarning = show
        yield


@contextmanager
def _signals_as_before() -> Iterator[None]:
    before = signal.getsignal(signal.SIGINT)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _in_time(seconds: int) -> Iterator[None]:
    """What hangs is ended, where there is such an alarm."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def over(*_: object) -> None:
        raise TookTooLongError(f"the command took more than {seconds} s")

    before = signal.signal(signal.SIGALRM, over)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def _read(file: IO[bytes]) -> str:
    file.seek(0)
    return file.read().decode("utf-8", errors="replace").replace("\r\n", "\n")
