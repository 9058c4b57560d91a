"""Lengths and angles, in and out. Inside, lengths are millimetres and angles radians.

References
----------
CSS Values and Units Level 4, "Absolute lengths" (W3C): 1 in = 25.4 mm = 96 px = 72 pt = 6 pc = 101.6 Q.
DXF reference (Autodesk), header variable ``$INSUNITS``.
"""

from __future__ import annotations

import re
from typing import Literal

Unit = Literal["mm", "in"]

MM_PER_INCH = 25.4
MM_PER_FOOT = 12 * MM_PER_INCH
#: Exactly (international yard and pound agreement, 1959).
KG_PER_POUND = 0.45359237

#: A length that is typed: a number and perhaps a unit.
_LENGTH = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*(mm|in)?")
#: Nothing in a workshop is longer, mm.
LONGEST = 100_000.0

#: Millimetres in one CSS/SVG unit.
MM_PER_CSS_UNIT: dict[str, float] = {
    "": MM_PER_INCH / 96,
    "px": MM_PER_INCH / 96,
    "pt": MM_PER_INCH / 72,
    "pc": MM_PER_INCH / 6,
    "q": 0.25,
    "mm": 1.0,
    "cm": 10.0,
    "in": MM_PER_INCH,
}

#: Millimetres in one drawing unit by ``$INSUNITS`` code; code 0 means that the drawing names no unit.
MM_PER_INSUNITS: dict[int, float] = {
    1: 25.4,
    2: 304.8,
    3: 1_609_344.0,
    4: 1.0,
    5: 10.0,
    6: 1_000.0,
    7: 1_000_000.0,
    8: 2.54e-5,
    9: 0.0254,
    10: 914.4,
    11: 1e-7,
    12: 1e-6,
    13: 1e-3,
    14: 100.0,
    15: 10_000.0,
    16: 100_000.0,
    17: 1e12,
}


def mm_per(unit: Unit) -> float:
    """Millimetres in one of the build's units."""
    return MM_PER_INCH if unit == "in" else 1.0


def show_length(mm: float, unit: Unit = "mm") -> str:
    """A length as a person writes it.

    Examples
    --------
    >>> show_length(184.52), show_length(184.5, "in")
    ('184.5 mm', '7.264 in')
    """
    value, digits = mm / mm_per(unit), 3 if unit == "in" else 1
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}"
    return f"{'0' if text in ('', '-0') else text} {unit}"


def show_gap(mm: float, unit: Unit = "mm") -> str:
    """A hair's width to its last digit that counts: ``0.04 mm`` or ``0.0016 in``."""
    return f"{mm / mm_per(unit):.{4 if unit == 'in' else 2}f} {unit}"


def show_given(mm: float, unit: Unit = "mm") -> str:
    """A length with all the digits that it was given, up to four: ``0.15 mm`` or ``0.25 in``."""
    text = f"{mm / mm_per(unit):.4f}".rstrip("0").rstrip(".")
    return f"{text} {unit}"


def show_gaps(width_mm: float, height_mm: float, unit: Unit = "mm") -> str:
    """The size of something tiny: ``0.04 x 0.20 mm``."""
    return f"{show_gap(width_mm, unit).removesuffix(f' {unit}')} x {show_gap(height_mm, unit)}"


def show_size(width_mm: float, height_mm: float, unit: Unit = "mm") -> str:
    """A size as a person writes it: ``184.5 x 60 mm``."""
    width = show_length(width_mm, unit).removesuffix(f" {unit}")
    return f"{width} x {show_length(height_mm, unit)}"


def show_area(mm2: float, unit: Unit = "mm") -> str:
    """An area: ``17286 mm2`` or ``26.793 in2``."""
    return f"{mm2 / mm_per(unit) ** 2:.{3 if unit == 'in' else 0}f} {unit}2"


def show_place(at: tuple[float, float], unit: Unit = "mm") -> str:
    """A point as a person writes it: ``(200.0, 4.0) mm`` or ``(7.874, 0.157) in``."""
    x, y = (value / mm_per(unit) for value in at)
    digits = 3 if unit == "in" else 1
    return f"({x:.{digits}f}, {y:.{digits}f}) {unit}"


def read_lengths(text: str, count: int, unit: Unit = "mm") -> tuple[float, ...]:
    """Lengths as a person types them, in mm: ``6``, ``0.25in``, ``400x300``, ``16 x 12 in``.

    A length without a unit has that of the last one, or else ``unit``. All are above 0.

    Raises
    ------
    ValueError
        When the text is anything else, with the reason.

    Examples
    --------
    >>> read_lengths("400x300", 2)
    (400.0, 300.0)
    >>> read_lengths("16 x 12 in", 2)
    (406.4, 304.79999999999995)
    """
    found = [_LENGTH.fullmatch(part.strip()) for part in re.split(r"[xX×]", text)]
    matched = [match for match in found if match is not None]
    if len(found) != count or len(matched) != count:
        raise ValueError(f"'{text}' is no {'length' if count == 1 else 'size'}")
    usual = matched[-1][2] or unit
    lengths = tuple(
        float(match[1]) * (MM_PER_INCH if (match[2] or usual) == "in" else 1.0) for match in matched
    )
    if not all(0.0 < length < LONGEST for length in lengths):
        raise ValueError(f"'{text}' is no size of a sheet")
    return lengths
