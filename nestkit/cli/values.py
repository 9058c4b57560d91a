"""How an option's value is read: choices and numbers, and what is wrong with any other value.

The command line library has messages of its own for these: a programmer's, and others in each version.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from enum import StrEnum
from typing import TypeVar

import typer

Choice = TypeVar("Choice", bound=StrEnum)


def choice(of: type[Choice]) -> Callable[[str], Choice]:
    """A reader of one of these words; upper and lower case are the same.

    Examples
    --------
    >>> from enum import StrEnum
    >>> choice(StrEnum("Foam", {"EVA": "EVA", "XPE": "XPE"}))("eva")
    <Foam.EVA: 'EVA'>
    """

    def read(text: str) -> Choice:
        found = {one.value.lower(): one for one in of}.get(text.strip().lower())
        if found is None:
            raise typer.BadParameter(f"there is no '{text}'. Write {_either(one.value for one in of)}.")
        return found

    return read


def whole(least: int, most: int | None = None) -> Callable[[str], int]:
    """A reader of a whole number within limits, both included."""

    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            raise typer.BadParameter(f"'{text}' is no whole number. {_limits(least, most)}") from None
        return _within(value, text, least, most)

    return read


def number(least: float | None = None, most: float | None = None) -> Callable[[str], float]:
    """A reader of a number within limits, both included."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise typer.BadParameter(f"'{text}' is no number. {_limits(least, most)}")
        return _within(value, text, least, most)

    return read


Number = TypeVar("Number", int, float)


def _within(value: Number, text: str, least: float | None, most: float | None) -> Number:
    if least is not None and value < least:
        raise typer.BadParameter(f"{text} is too small. {_limits(least, most)}")
    if most is not None and value > most:
        raise typer.BadParameter(f"{text} is too large. {_limits(least, most)}")
    return value


def _limits(least: float | None, most: float | None) -> str:
    if least is None:
        return "Write for example 1.5."
    return f"Write {least:g} or more." if most is None else f"Write {least:g} to {most:g}."


def _either(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}"
