"""The ``transform`` attribute and the CSS property of the same name.

References
----------
CSS Transforms Module Level 1: "The transform attribute" and "Two-dimensional transform functions".
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

from nestkit.drawings.svg_lengths import NUMBER, SEPARATOR, SPACE, Length, parse_length
from nestkit.geometry.affine import IDENTITY, Affine, affine, compose, rotation, scaling, translation

_FUNCTION = re.compile(rf"{SEPARATOR}([a-zA-Z]++){SPACE}*+\(([^()]*+)\)")
_ARGUMENT = re.compile(rf"{SEPARATOR}({NUMBER}(?:[a-zA-Z]++|%)?+)")
_REST = re.compile(rf"{SEPARATOR}")

#: Radians in one angle unit; a bare number is degrees.
_ANGLES = {
    "": math.pi / 180.0,
    "deg": math.pi / 180.0,
    "rad": 1.0,
    "grad": math.pi / 200.0,
    "turn": math.tau,
}


def _arguments(text: str) -> list[Length]:
    found: list[Length] = []
    position = 0
    while match := _ARGUMENT.match(text, position):
        length = parse_length(match[1])
        if length is None:
            raise ValueError(f"{match[1]} is out of range")
        found.append(length)
        position = match.end()
    if _REST.fullmatch(text, position) is None:
        raise ValueError(f"'{text}' is no list of numbers")
    return found


def _number(argument: Length) -> float:
    if argument.unit:
        raise ValueError(f"a number must have no unit, and has '{argument.unit}'")
    return argument.value


def _angle(argument: Length) -> float:
    if argument.unit not in _ANGLES:
        raise ValueError(f"'{argument.unit}' is no unit of an angle")
    return argument.value * _ANGLES[argument.unit]


def _distance(argument: Length) -> float:
    pixels = argument.pixels(0.0)
    if pixels is None or argument.unit == "%":
        raise ValueError(f"a shift in '{argument.unit}' is not understood")
    return pixels


def _rotate(a: Sequence[Length]) -> Affine:
    turned = rotation(_angle(a[0]))
    if len(a) == 1:
        return turned
    x, y = _distance(a[1]), _distance(a[2])
    return compose(translation(x, y), compose(turned, translation(-x, -y)))


def _shear(x: float, y: float) -> Affine:
    return affine(1, math.tan(y), math.tan(x), 1, 0, 0)


_FUNCTIONS: dict[str, tuple[tuple[int, ...], Callable[[Sequence[Length]], Affine]]] = {
    "matrix": ((6,), lambda a: affine(*map(_number, a))),
    "translate": ((1, 2), lambda a: translation(_distance(a[0]), _distance(a[1]) if len(a) > 1 else 0.0)),
    "translatex": ((1,), lambda a: translation(_distance(a[0]), 0.0)),
    "translatey": ((1,), lambda a: translation(0.0, _distance(a[0]))),
    "scale": ((1, 2), lambda a: scaling(*map(_number, a))),
    "scalex": ((1,), lambda a: scaling(_number(a[0]), 1.0)),
    "scaley": ((1,), lambda a: scaling(1.0, _number(a[0]))),
    "rotate": ((1, 3), _rotate),
    "skew": ((1, 2), lambda a: _shear(_angle(a[0]), _angle(a[1]) if len(a) > 1 else 0.0)),
    "skewx": ((1,), lambda a: _shear(_angle(a[0]), 0.0)),
    "skewy": ((1,), lambda a: _shear(0.0, _angle(a[0]))),
}


def parse_transform(text: str) -> Affine:
    """The map that a list of transform functions stands for; the identity for ``none`` and for nothing.

    Raises
    ------
    ValueError
        When any of it can't be understood: then none of it may be used.
    """
    if text.strip().lower() in ("", "none"):
        return IDENTITY
    result = IDENTITY
    position = 0
    while match := _FUNCTION.match(text, position):
        counts, function = _FUNCTIONS.get(match[1].lower(), ((), _rotate))
        arguments = _arguments(match[2])
        if len(arguments) not in counts:
            raise ValueError(f"'{match[1]}' with {len(arguments)} values is not understood")
        result = compose(result, function(arguments))
        position = match.end()
    if _REST.fullmatch(text, position) is None:
        raise ValueError(f"'{text[position:]}' is no transform")
    return result


_ORIGIN_WORDS = {"left": 0.0, "top": 0.0, "center": 50.0, "right": 100.0, "bottom": 100.0}


def parse_origin(text: str, width: float, height: float) -> tuple[float, float]:
    """The point about which a transform turns (``transform-origin``), per cent taken of the view.

    Raises
    ------
    ValueError
        When it can't be understood.
    """
    words = text.replace(",", " ").lower().split()[:2]
    if words[:1] and words[0] in ("top", "bottom"):
        words = [*(words[1:] or ["center"]), words[0]]
    if len(words) == 1:
        words.append("center")
    found: list[float] = []
    for word, whole in zip(words, (width, height), strict=False):
        share = _ORIGIN_WORDS.get(word)
        length = Length(share, "%") if share is not None else parse_length(word)
        pixels = length.pixels(whole) if length else None
        if pixels is None:
            raise ValueError(f"'{text}' is no point")
        found.append(pixels)
    if len(found) != 2:
        raise ValueError(f"'{text}' is no point")
    return found[0], found[1]
