"""What can go wrong, and how it is told.

Two kinds of things are told to the maker. A `Finding` is about a drawing or a part: it was read,
and something in it was mended or left out. A `Problem` is about the input as a whole: work cannot
go on, and an `InputError` carries all problems at once. Both say where and what to do next.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from nestkit.units import Unit, show_place

Point = tuple[float, float]


#: Names from drawings are told up to this long in a message; all else up to the second number.
LONGEST_NAME, LONGEST_TEXT = 80, 1000


def printable(text: str, most: int = LONGEST_TEXT) -> str:
    """``text`` fit for a terminal, which obeys control characters; the middle is left out of a long one."""
    text = text if text.isprintable() else "".join(char if char.isprintable() else "?" for char in text)
    if len(text) <= most:
        return text
    return f"{text[: most // 2]}...{text[len(text) - (most - 3 - most // 2) :]}"


def _at(at: Point | None, unit: Unit) -> str:
    return "" if at is None else f" at {show_place(at, unit)}"


def _tail(todo: str) -> str:
    """What to do as a closed sentence; a question such as "Did you mean 'blade'?" has its own mark."""
    return f" {todo}" if todo.endswith((".", "?")) else f" {todo}." if todo else ""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something noticed while a drawing or a part was worked on.

    Parameters
    ----------
    code : str
        Stable short name, for example ``open-outline``; tests and scripts may rely on it.
    text : str
        What is the matter, in the maker's words.
    todo : str
        What the maker can do about it; empty when nothing is needed.
    mended : bool
        True when the result is as if the flaw had not been there.
    file, layer, id : str
        Where it is; empty when it does not apply. ``id`` is the id or handle in the drawing.
    at : (float, float), mm, optional
        A point in the drawing's coordinates, with y upward.
    unit : "mm" or "in"
        In which ``at`` is told.
    """

    code: str
    text: str
    todo: str = ""
    mended: bool = False
    file: str = ""
    layer: str = ""
    id: str = ""
    at: Point | None = None
    unit: Unit = "mm"

    def __str__(self) -> str:
        names = [
            printable(self.file),
            self.layer and f"layer '{printable(self.layer, LONGEST_NAME)}'",
            self.id and f"id '{printable(self.id, LONGEST_NAME)}'",
        ]
        where = ", ".join(name for name in names if name)
        head = f"{where}{_at(self.at, self.unit)}: ".lstrip() if where or self.at else ""
        text, todo = printable(self.text), printable(self.todo)
        return f"{head}{text}{' (mended)' if self.mended else ''}.{_tail(todo)}"


@dataclass(frozen=True, slots=True)
class Problem:
    """Something in the input that work cannot go on with.

    Parameters
    ----------
    where : str
        Path to the culprit, for example ``build.toml: part[7] 'blade': quantity``.
    what : str
        What is wrong, without a full stop at the end.
    todo : str
        What to do about it, a sentence or question without a full stop at the end.

    Examples
    --------
    >>> print(Problem("build.toml: part[7] 'blade'", "its outline is open", "Join its ends"))
    build.toml: part[7] 'blade': its outline is open. Join its ends.
    """

    where: str
    what: str
    todo: str = ""

    def __str__(self) -> str:
        return f"{printable(self.where)}: {printable(self.what)}.{_tail(printable(self.todo))}"


class NestkitError(Exception):
    """Base of everything that nestkit raises on purpose; `problems` holds all of it, not the first alone.

    Parameters
    ----------
    problems : iterable of Problem
        Each with its place, and what to do about it.
    """

    exit_code = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def one(cls, where: str, what: str, todo: str = "") -> Self:
        """An error with a single problem."""
        return cls([Problem(where, what, todo)])

    def __reduce__(self) -> tuple[object, ...]:
        # Errors come back from worker processes; an exception's own way would hand on its text alone.
        return type(self), (self.problems,)


class InputError(NestkitError, ValueError):
    """The input is wrong."""


class DrawingError(InputError):
    """A drawing of which nothing can be used."""


class OutputError(NestkitError, OSError):
    """The output can't be written: disk full, no permission, a file in the folder's place."""


class Interrupted(NestkitError):  # noqa: N818 - it is no error: the maker asked for it
    """The maker pressed Ctrl-C; what was found so far is kept where `kept` says."""

    exit_code = 130

    def __init__(self, message: str, kept: str = "") -> None:
        super().__init__(())
        self.args = (message,)
        self.kept = kept

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (*self.args, self.kept)
