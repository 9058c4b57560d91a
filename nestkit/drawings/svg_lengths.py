"""Numbers and lengths as SVG and CSS write them."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from nestkit.units import MM_PER_CSS_UNIT

#: White space between values, as a regular expression's character class.
SPACE = r"[ \t\r\n\f]"

#: One number. Atomic, so that "12" is never taken for "1" and "2".
NUMBER = r"(?>[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)"

#: What may stand between two numbers: white space and at most one comma.
SEPARATOR = rf"{SPACE}*+,?+{SPACE}*+"

_LENGTH = re.compile(rf"{SPACE}*+({NUMBER}){SPACE}*+([a-zA-Z]*+|%){SPACE}*+")
_FIRST = re.compile(rf"{SPACE}*+({NUMBER})")
_NEXT = re.compile(rf"{SEPARATOR}({NUMBER})")
_BLANK = re.compile(rf"{SPACE}*+")

#: Pixels in one font-relative unit at the usual font size of 16 px. Geometry seldom uses them.
_FONT_UNITS = {"em": 16.0, "rem": 16.0, "ex": 8.0, "ch": 8.0}


class Length(NamedTuple):
    """A value and its unit in lower case: empty for user units, ``%`` for per cent."""

    value: float
    unit: str

    @property
    def mm(self) -> float | None:
        """Millimetres, or None when the unit names no absolute length."""
        factor = MM_PER_CSS_UNIT.get(self.unit)
        return None if factor is None else self.value * factor

    def pixels(self, whole: float) -> float | None:
        """User units (px), per cent taken of ``whole``; None when the unit is unknown."""
        if self.unit in ("", "px"):
            return self.value
        if self.unit == "%":
            return self.value / 100.0 * whole
        if self.unit in _FONT_UNITS:
            return self.value * _FONT_UNITS[self.unit]
        mm = self.mm
        return None if mm is None else mm / MM_PER_CSS_UNIT["px"]


def parse_length(text: str) -> Length | None:
    """A length, or None when the text is none or its number is not finite."""
    match = _LENGTH.fullmatch(text)
    if match is None or not math.isfinite(value := float(match[1])):
        return None
    return Length(value, match[2].lower())


def parse_numbers(text: str, most: int) -> tuple[list[float], bool]:
    """Numbers parted by white space or commas, and whether the text holds nothing else.

    Reading stops at the first that can't be read, or when there are ``most``.
    """
    numbers: list[float] = []
    position = 0
    match = _FIRST.match(text)
    while match and len(numbers) < most:
        numbers.append(float(match[1]))
        position = match.end()
        match = _NEXT.match(text, position)
    return numbers, _BLANK.fullmatch(text, position) is not None


def diagonal(width: float, height: float) -> float:
    """What a per cent of neither width nor height is taken of (SVG 2, "Units")."""
    return math.hypot(width, height) / math.sqrt(2.0)
