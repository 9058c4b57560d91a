"""Letters and digits as single strokes, for what is written on foam. Our own shapes, on a grid of 4 by 6."""

from __future__ import annotations

from nestkit.geometry import Path

#: Each sign as lines of grid points: x from 0 to 4, y from 0 to 6.
_SIGNS: dict[str, tuple[tuple[tuple[int, int], ...], ...]] = {
    "0": (((1, 0), (0, 1), (0, 5), (1, 6), (3, 6), (4, 5), (4, 1), (3, 0), (1, 0)),),
    "1": (((1, 5), (2, 6), (2, 0)),),
    "2": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (0, 0), (4, 0)),),
    "3": (((0, 6), (4, 6), (2, 4), (3, 4), (4, 3), (4, 1), (3, 0), (1, 0), (0, 1)),),
    "4": (((3, 0), (3, 6), (0, 2), (4, 2)),),
    "5": (((4, 6), (0, 6), (0, 4), (3, 4), (4, 3), (4, 1), (3, 0), (0, 0)),),
    "6": (((4, 6), (2, 6), (0, 4), (0, 1), (1, 0), (3, 0), (4, 1), (4, 2), (3, 3), (0, 3)),),
    "7": (((0, 6), (4, 6), (1, 0)),),
    "8": (
        ((1, 3), (0, 4), (0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (3, 3), (1, 3)),
        ((1, 3), (0, 2), (0, 1), (1, 0), (3, 0), (4, 1), (4, 2), (3, 3)),
    ),
    "9": (((0, 0), (2, 0), (4, 2), (4, 5), (3, 6), (1, 6), (0, 5), (0, 4), (1, 3), (4, 3)),),
    "D": (((0, 0), (0, 6), (2, 6), (4, 4), (4, 2), (2, 0), (0, 0)),),
    "K": (((0, 0), (0, 6)), ((4, 6), (0, 3), (4, 0))),
    "S": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 4), (4, 2), (4, 1), (3, 0), (1, 0), (0, 1)),),
    "W": (((0, 6), (1, 0), (2, 4), (3, 0), (4, 6)),),
}


def figures(text: str, x: float, y: float, height: float) -> list[Path]:
    """The text as open paths, its lower left corner at (x, y), mm.

    Raises
    ------
    ValueError
        When a sign is not among the ones that coupons use.
    """
    unit = height / 6.0
    paths = []
    for place, sign in enumerate(text):
        if sign not in _SIGNS:
            raise ValueError(f"there is no stroke for '{sign}'")
        left = x + place * 5.5 * unit
        paths += [
            Path.polyline([(left + px * unit, y + py * unit) for px, py in line], False)
            for line in _SIGNS[sign]
        ]
    return paths


def figures_width(text: str, height: float) -> float:
    """Width of the text, mm."""
    return (5.5 * len(text) - 1.5) * height / 6.0
