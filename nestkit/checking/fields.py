"""A JSON object whose fields are taken out one by one; what is wrong is noted, so that all is told."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nestkit.checking.limits import FARTHEST
from nestkit.errors import Problem

TODO = "Write the plan again with nestkit plan"


class Fields:
    """The fields of one JSON object of plan.json.

    A field that is missing or wrong adds a `Problem` and gives a harmless value in its place, so that
    the reading goes on; who reads must look at the problems before using any value.

    Parameters
    ----------
    value : object
        What should be a JSON object.
    where : str
        Path to it, for example ``sheets[0].parts[3]``; empty for the whole file.
    problems : list of Problem
        Problems are added here.
    """

    def __init__(self, value: object, where: str, problems: list[Problem]) -> None:
        self._where = where
        self._problems = problems
        self._lost = not isinstance(value, dict)
        self._fields: dict[str, object] = value if isinstance(value, dict) else {}
        if self._lost:
            self._add(where, "this should be an object")

    def note(self, key: str, what: str) -> None:
        """Add a problem with field ``key``."""
        self._add(f"{self._where}.{key}" if self._where else key, what)

    def _add(self, where: str, what: str) -> None:
        self._problems.append(Problem(f"plan.json: {where}", what, TODO))

    def _take(self, key: str) -> object:
        if key not in self._fields and not self._lost:
            self.note(key, "this is missing")
        return self._fields.get(key)

    def _wrong(self, key: str, what: str) -> None:
        if key in self._fields:
            self.note(key, what)

    def text(self, key: str) -> str:
        """A text."""
        value = self._take(key)
        if isinstance(value, str):
            return value
        self._wrong(key, "this should be a text")
        return ""

    def choice(self, key: str, choices: tuple[str, ...]) -> str:
        """One of some words."""
        value = self.text(key)
        if value not in choices and isinstance(self._fields.get(key), str):
            self.note(key, f"'{value[:40]}' is none of {', '.join(choices)}")
        return value

    def flag(self, key: str) -> bool:
        """True or false."""
        value = self._take(key)
        if isinstance(value, bool):
            return value
        self._wrong(key, "this should be true or false")
        return False

    def number(self, key: str, at_least: float = -(FARTHEST**2)) -> float:
        """A number, ``at_least`` or more; lengths and areas beyond any workshop are refused."""
        value = self._take(key)
        if isinstance(value, (int, float)) and is_number(value, FARTHEST**2) and value >= at_least:
            return float(value)
        limit = "" if at_least < 0.0 else f", {at_least:g} or more"
        self._wrong(key, f"this should be a number{limit}")
        return 0.0

    def whole(self, key: str, at_least: int = 0) -> int:
        """A whole number, ``at_least`` or more."""
        value = self._take(key)
        if type(value) is int and at_least <= value <= FARTHEST:
            return value
        self._wrong(key, f"this should be a whole number, {at_least} or more")
        return at_least

    def pair_or_null(self, key: str) -> tuple[float, float] | None:
        """Two numbers, or None."""
        value = self._take(key)
        if value is None:
            return None
        if isinstance(value, list) and len(value) == 2 and all(is_number(one) for one in value):
            return float(value[0]), float(value[1])
        self._wrong(key, "this should be two numbers, or null")
        return None

    def has(self, key: str) -> bool:
        """Whether the field is there and not null."""
        return self._fields.get(key) is not None

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of numbers, none below 0."""
        found = []
        for k, value in enumerate(self._list(key)):
            if isinstance(value, (int, float)) and is_number(value) and value >= 0.0:
                found.append(float(value))
            else:
                self.note(f"{key}[{k}]", "this should be a number, 0 or more")
        return tuple(found)

    def wholes(self, key: str) -> tuple[int, ...]:
        """A list of whole numbers, none below 0."""
        found = []
        for k, value in enumerate(self._list(key)):
            if type(value) is int and 0 <= value <= FARTHEST:
                found.append(value)
            else:
                self.note(f"{key}[{k}]", "this should be a whole number, 0 or more")
        return tuple(found)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts."""
        found = []
        for k, value in enumerate(self._list(key)):
            if isinstance(value, str):
                found.append(value)
            else:
                self.note(f"{key}[{k}]", "this should be a text")
        return tuple(found)

    def line(self, key: str) -> NDArray[np.float64]:
        """An open line of two points or more, (n, 2) float."""
        value = self._list(key)
        if len(value) >= 2 and all(_is_point(point) for point in value):
            return np.array(value, dtype=np.float64)
        self._wrong(key, "this should be a list of two or more points [x, y]")
        return np.array([(0.0, 0.0), (1.0, 0.0)])

    def inner(self, key: str) -> Fields:
        """An object inside this one."""
        if key not in self._fields:
            self._take(key)
            inner = Fields({}, "", [])
            inner._lost = True
            return inner
        return Fields(self._fields[key], f"{self._where}.{key}" if self._where else key, self._problems)

    def objects(self, key: str) -> list[Fields]:
        """A list of objects."""
        where = f"{self._where}.{key}" if self._where else key
        return [Fields(one, f"{where}[{k}]", self._problems) for k, one in enumerate(self._list(key))]

    def _list(self, key: str) -> list[object]:
        value = self._take(key)
        if isinstance(value, list):
            return value
        self._wrong(key, "this should be a list")
        return []

    def points(self, key: str) -> NDArray[np.float64]:
        """A closed ring of three points or more, (n, 2) float."""
        value = self._take(key)
        return self._ring(key, value) if key in self._fields else np.zeros((3, 2))

    def rings(self, key: str) -> tuple[NDArray[np.float64], ...]:
        """A list of closed rings."""
        return tuple(self._ring(f"{key}[{k}]", one) for k, one in enumerate(self._list(key)))

    def _ring(self, key: str, value: object) -> NDArray[np.float64]:
        if isinstance(value, list) and len(value) >= 3 and all(_is_point(point) for point in value):
            return np.array(value, dtype=np.float64)
        self.note(key, "this should be a list of three or more points [x, y]")
        return np.zeros((3, 2))


def is_number(value: object, largest: float = FARTHEST) -> bool:
    """Whether a JSON value is a number (true and false are none) not larger than ``largest``."""
    return isinstance(value, (int, float)) and type(value) is not bool and -largest <= value <= largest


def _is_point(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and is_number(value[0]) and is_number(value[1])
