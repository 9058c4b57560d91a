"""Watches code: it asks no network, starts no program, writes nothing outside its folder, and never warns."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, ClassVar

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
#: Events of Python's audit hooks (PEP 578) that touch a network or start a program.
_BARRED = ("socket.connect", "socket.getaddrinfo", "socket.bind", "subprocess.Popen", "os.system", "os.exec")
_CHANGING = {
    "os.remove",
    "os.rename",
    "os.mkdir",
    "os.rmdir",
    "os.link",
    "os.symlink",
    "os.truncate",
    "os.chmod",
}


class _Watch:
    """What is watched at the moment; a hook can't be taken away again, so it is told to look away."""

    allowed: Path | None = None
    hooked = False
    noted: ClassVar[list[str]] = []


class ForbiddenError(AssertionError):
    """The code did what no reader may do."""


def _hook(event: str, arguments: tuple[Any, ...]) -> None:
    if _Watch.allowed is None:
        return
    if event.startswith(_BARRED):
        _Watch.noted.append(f"{event} {arguments!r:.200}")
    elif event == "open":
        path, mode, flags = arguments
        writes = any(letter in (mode or "") for letter in "wax+") or bool((flags or 0) & _WRITING)
        if writes and not isinstance(path, int):
            _judge(event, path)
    elif event in _CHANGING:
        for path in arguments[:2]:
            if isinstance(path, str | bytes | os.PathLike):
                _judge(event, path)


def _judge(event: str, path: Any) -> None:
    real = os.path.realpath(os.fsdecode(path))
    # A compiler's cache and Python's own are no output.
    if (
        real != os.devnull
        and "__pycache__" not in real
        and not Path(real).is_relative_to(_Watch.allowed or "/")
    ):
        _Watch.noted.append(f"{event} {real}")


@contextmanager
def watched(folder: Path) -> Iterator[None]:
    """Fail at the end of the block when it wrote outside ``folder``, asked a network or let arithmetic warn.

    Raises
    ------
    ForbiddenError
        With everything that was noted.
    """
    if not _Watch.hooked:
        sys.addaudithook(_hook)
        _Watch.hooked = True
    _Watch.noted.clear()
    _Watch.allowed = Path(os.path.realpath(folder))
    try:
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            yield
    finally:
        _Watch.allowed = None
    # A warning of Python's lands on the maker's terminal, and tells that a number went wrong.
    _Watch.noted.extend(
        f"{one.filename}:{one.lineno} {one.message}" for one in told if "nestkit" in one.filename
    )
    if _Watch.noted:
        raise ForbiddenError("; ".join(_Watch.noted))
