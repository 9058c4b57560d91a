"""Colours, and what an element inherits from those around it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from tinycss2.color3 import parse_color

_SPACED = re.compile(r"(rgb|hsl)a?\(([^(),]*+)\)", re.IGNORECASE)
_URL = re.compile(r"url\((?:\"[^\"]*+\"|'[^']*+'|[^)]*+)\)(.*)", re.IGNORECASE | re.DOTALL)


#: Named by CSS Color Level 4, which the parser does not know yet.
_LATER = {"rebeccapurple": "#663399"}


@lru_cache(maxsize=4096)
def colour_of(text: str) -> str | None:
    """A CSS colour as ``#rrggbb``; empty when it is fully transparent, None when it is no colour."""
    spaced = _SPACED.fullmatch(text.strip())
    if spaced:
        # How much shines through is no matter here, and may be written in ways the parser does not know.
        text = f"{spaced[1]}({','.join(spaced[2].partition('/')[0].split())})"
    value = parse_color(_LATER.get(text.strip().lower(), text))
    if value is None or isinstance(value, str):
        return None
    if value.alpha <= 0.0:
        return ""
    parts = (value.red, value.green, value.blue)
    return "#" + "".join(f"{round(255.0 * min(max(part, 0.0), 1.0)):02x}" for part in parts)


@dataclass(frozen=True, slots=True)
class Look:
    """The inherited properties, as keywords or colours still to be resolved.

    Parameters
    ----------
    visible : bool
        False under ``visibility`` hidden or collapse.
    stroke, fill : str
        A paint as CSS writes it.
    colour : str
        The property ``color``, as ``#rrggbb``.
    """

    visible: bool = True
    stroke: str = "none"
    fill: str = "#000000"
    colour: str = "#000000"

    def of(self, properties: Mapping[str, str]) -> Look:
        """The look of an element with these properties of its own."""
        if properties.keys().isdisjoint(("visibility", "stroke", "fill", "color")):
            return self
        visible = self.visible
        visibility = properties.get("visibility", "").strip().lower()
        if visibility in ("visible", "initial"):
            visible = True
        elif visibility in ("hidden", "collapse"):
            visible = False
        colour = properties.get("color", "")
        colour = "#000000" if colour.strip().lower() == "initial" else colour_of(colour) or self.colour
        return Look(
            visible,
            _paint(properties.get("stroke"), self.stroke, "none"),
            _paint(properties.get("fill"), self.fill, "#000000"),
            colour,
        )

    def painted(self) -> str | None:
        """The stroke's colour, or the fill's when there is no stroke; None when there is neither.

        A paint that has no single colour, such as a gradient, gives an empty text.
        """
        for paint in (self.stroke, self.fill):
            if paint == "currentcolor":
                return self.colour
            if paint.startswith("url(") or paint.startswith("context-"):
                return _fallback(paint, self.colour)
            colour = "" if paint == "none" else colour_of(paint)
            if colour:
                return colour
        return None


def _paint(text: str | None, inherited: str, initial: str) -> str:
    """The paint that applies; one that can't be understood is as if it were not written."""
    word = "inherit" if text is None else text.strip()
    lower = word.lower()
    if lower == "initial":
        return initial
    if lower in ("none", "currentcolor") or lower.startswith("context-"):
        return lower
    if lower.startswith("url("):
        return "url(" + word[4:]
    return inherited if colour_of(word) is None else word


def _fallback(paint: str, current: str) -> str:
    """Colour of ``url(#gradient) red``; empty when no colour is named."""
    match = _URL.fullmatch(paint)
    word = match[1].strip() if match else ""
    return current if word.lower() == "currentcolor" else colour_of(word) or ""
