"""Pieces: whole sheets and offcuts that lie in the shop, and how their outlines are kept as text."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import numpy as np

from nestkit.geometry import Outline, Path
from nestkit.geometry.affine import translation

#: No sheet of foam is larger, mm.
FARTHEST = 1e6


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of foam in the shop.

    Parameters
    ----------
    material : str
        Lower case, as in a build file.
    thickness : float, mm
    outline : Outline
        Its true edge, arcs and holes included; the bounding box starts at (0, 0).
    whole : bool
        True for a sheet as it was bought.
    place, photo, note : str
        Where it lies, a picture of it, what else there is to say; empty when nothing was said.
    number : int
        By which the shop knows it; 0 before it is there. No number is ever given twice.
    since : str
        When it came, UTC, ISO 8601.
    gone : str
        When and why it went; empty as long as it is there.

    Raises
    ------
    ValueError
        When thickness or area is not above 0, the outline crosses itself, or no material is named.
    """

    material: str
    thickness: float
    outline: Outline
    whole: bool = False
    place: str = ""
    photo: str = ""
    note: str = ""
    number: int = 0
    since: str = ""
    gone: str = ""

    def __post_init__(self) -> None:
        if not self.material.strip():
            raise ValueError("a piece has a material")
        if not 0.0 < self.thickness < float("inf"):
            raise ValueError("a piece's thickness is above 0")
        polygon = self.outline.polygon()
        if not polygon.is_valid or polygon.area <= 0.0:
            raise ValueError("a piece's edge may not cross itself, and its holes lie within it")
        object.__setattr__(self, "material", self.material.strip().lower())

    @property
    def name(self) -> str:
        """How lists and plans call it."""
        return f"{'sheet' if self.whole else 'offcut'} {self.number}"

    @property
    def is_rectangle(self) -> bool:
        """True when its outline is its bounding box."""
        width, height = self.outline.size
        plain = not self.outline.holes and not self.outline.exterior.has_arcs
        return plain and abs(self.outline.area - width * height) <= 1e-6 * width * height

    def at_origin(self) -> Piece:
        """The same piece with its bounding box moved to (0, 0)."""
        x0, y0, _, _ = self.outline.bounds
        return replace(self, outline=self.outline.transformed(translation(-x0, -y0)))


def outline_text(outline: Outline) -> str:
    """An outline as JSON: rings of [x, y, bulge], the exterior first, every digit kept."""
    return json.dumps([ring.vertices.tolist() for ring in outline.rings()], separators=(",", ":"))


def outline_from(text: str) -> Outline:
    """The outline that `outline_text` wrote.

    Raises
    ------
    ValueError
        When the text is anything else.
    """
    try:
        rows = [np.array(ring, dtype=np.float64) for ring in json.loads(text)]
        paths = [Path(ring, True) for ring in rows]
    except (ValueError, TypeError, OverflowError, RecursionError):
        paths = []
    if not paths:
        raise ValueError("its outline is no list of rings of x, y, bulge")
    if any(np.abs(ring).max() > FARTHEST for ring in rows):
        raise ValueError(f"its outline reaches farther than {FARTHEST:,.0f} mm")
    return Outline(paths[0], tuple(paths[1:]))
