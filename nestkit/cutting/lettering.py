"""Single-stroke letters: text as lines that a cutter can draw, from the Hershey fonts.

References
----------
A. V. Hershey: Calligraphy for computers, U.S. Naval Weapons Laboratory, report 2101, 1967: the letters, which
the package Hershey-Fonts carries.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from HersheyFonts import HersheyFonts
from numpy.typing import NDArray

Strokes = tuple[NDArray[np.float64], ...]

_FONT = "futural"
#: Digits that read as digits when they are turned by half.
_TURNED = str.maketrans("01689", "01986")
#: How far under its digits a number is underlined, over their height.
_UNDER = 0.3


def is_ambiguous(text: str) -> bool:
    """Whether a number reads as another one when it is turned by half: 6 and 9, 18 and 81."""
    digits = text.strip("()")
    turned = digits[::-1].translate(_TURNED)
    return not set(digits) - set("01689") and turned != digits and not turned.startswith("0")


@lru_cache(maxsize=1024)
def text_strokes(text: str) -> Strokes:
    """A line of text, its digits 1 high, the base line's start at (0, 0) and y upward.

    Numbers that read as others when turned by half are underlined.

    Returns
    -------
    tuple of (n, 2) float
        Open lines.

    Raises
    ------
    ValueError
        When the font lacks a letter, or there is none to draw.
    """
    font = HersheyFonts()
    font.load_default_font(_FONT)
    lacking = set(text) - set(font.all_glyphs)
    if lacking:
        raise ValueError(f"the stroke font has no {sorted(lacking)[0]!r}")
    options = font.render_options
    high = float(options["base_line"] - options["cap_line"])
    base = float(options["base_line"])
    strokes = [
        np.array([(x / high, (base - y) / high) for x, y in stroke], dtype=np.float64)
        for stroke in font.strokes_for_text(text)
        if len(stroke) > 1
    ]
    if not strokes:
        raise ValueError("there is nothing to draw")
    if is_ambiguous(text):
        points = np.concatenate(strokes)
        left, right = points[:, 0].min(), points[:, 0].max()
        strokes.append(np.array([(left, -_UNDER), (right, -_UNDER)]))
    return tuple(strokes)


def ink_box(text: str) -> tuple[float, float, float, float]:
    """What `text_strokes` fills: smallest x and y, largest x and y."""
    points = np.concatenate(text_strokes(text))
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)
