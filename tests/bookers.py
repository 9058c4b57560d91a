"""Programs that book in a shop and are killed in the middle of it.

They are forked from one that has imported everything: tests need dozens of them, and starting each anew takes
longer than all that it does.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from nestkit.booking import book_plan
from nestkit.errors import InputError
from nestkit.stock.blanks import rectangle
from nestkit.stock.pieces import Piece
from nestkit.stock.shop import Shop

Say = Callable[..., None]


@dataclass
class Program:
    """A program that is ready and waits to be let go."""

    process: BaseProcess
    line: Connection

    def let_go(self) -> None:
        """It does what it was started for."""
        self.line.send(None)

    def kill(self) -> None:
        """With SIGKILL, which no program can answer."""
        self.process.kill()
        self.process.join()

    def said(self) -> list[tuple[Any, ...]]:
        """All that it says until its end."""
        found = []
        try:
            while True:
                found.append(self.line.recv())
        except (EOFError, ConnectionResetError):  # the last word may have been cut off
            self.process.join()
            return found


def started(does: Callable[..., None], *arguments: object) -> Program:
    """A program that is ready to do something: ``does(say, *arguments)``."""
    context = multiprocessing.get_context("forkserver")
    # pytest is the main module of the tests, and so of whatever they start.
    context.set_forkserver_preload(["tests.bookers", "pytest"])
    ours, theirs = context.Pipe()
    process = context.Process(target=_live, args=(theirs, does, arguments), daemon=True)
    process.start()
    theirs.close()
    assert ours.recv() == "ready"
    return Program(process, ours)


def _live(line: Connection, does: Callable[..., None], arguments: tuple[object, ...]) -> None:
    line.send("ready")
    line.recv()
    does(lambda *words: line.send(words), *arguments)


def book(say: Say, file: Path, folder: Path) -> None:
    """Books a plan."""
    try:
        with Shop(file) as shop:
            say("booked", *book_plan(shop, folder).booking.went)
    except InputError as error:
        say("told", str(error))


def drop(say: Say, file: Path, number: int, who: str) -> None:
    """Uses one piece up."""
    try:
        with Shop(file) as shop:
            say("won", *shop.drop([number], f"used by {who}").went)
    except InputError as error:
        say("told", str(error))


def open_shop(say: Say, file: Path) -> None:
    """Opens the shop, or makes it."""
    with Shop(file) as shop:
        say(shop.id)


def churn(say: Say, file: Path) -> None:
    """Books and undoes until it is killed; says what was booked to stay."""
    three = [Piece("eva", 6.0, rectangle(100, 100))] * 3
    while True:
        with Shop(file) as shop:
            came = shop.add(three, "three").came
            say("added", *came)
            shop.drop(came[:2], "two of three")
            say("dropped", *came[:2])
            shop.add(three, "three more")
            shop.undo()
