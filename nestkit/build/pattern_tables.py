"""The tables of parts that are developed from finished sizes: ``pattern = "cone"`` and its like."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from nestkit.build.base_tables import (
    NAME_LENGTH,
    NAME_PATTERN,
    Degrees,
    FileName,
    Length,
    LengthOrZero,
    Name,
    PartBase,
    Table,
)


def _check_size(value: Any) -> Any:
    """Stands before the union, whose own errors would be one for each of its branches."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        if 0 <= value <= 100_000:
            return value
    elif isinstance(value, str) and len(value) <= NAME_LENGTH and re.match(NAME_PATTERN, value):
        return value
    raise PydanticCustomError("size", "size")


#: A length, or a piece of hardware whose size it is.
Size = Annotated[LengthOrZero | Name, BeforeValidator(_check_size)]


def _check_start(value: Any) -> Any:
    if value in ("top", "bottom", "left", "right"):
        return value
    if isinstance(value, list) and len(value) == 2:
        numbers = [v for v in value if isinstance(v, int | float) and not isinstance(v, bool)]
        if len(numbers) == 2 and all(abs(v) <= 100_000 for v in numbers):
            return value
    raise PydanticCustomError("start", "start")


def _check_layers(value: Any) -> Any:
    if value in ("inner", "all"):
        return value
    if isinstance(value, list) and 1 <= len(value) <= 500:
        numbers = [v for v in value if isinstance(v, int) and not isinstance(v, bool)]
        if len(numbers) == len(value) and all(1 <= v <= 10_000 for v in numbers):
            return value
    raise PydanticCustomError("open_layers", "open_layers")


Sides = Literal["inside", "outside"]
Spot = Annotated[list[Annotated[float, Field(ge=-100_000, le=100_000)]], Field(min_length=2, max_length=2)]


class PatternBase(PartBase):
    """What all patterns share."""

    fit: LengthOrZero | None = Field(
        None,
        description="Room left round hardware, on the diameter. It never scales. In the build's units. "
        "Left out: 0.",
    )
    neutral: Annotated[float, Field(ge=0, le=1)] = Field(
        0.5, description="Which fibre of the foam keeps its length in a bend: 0 = inside, 1 = outside."
    )


class ConeTable(PatternBase):
    """A cone, frustum or cylinder rolled from sectors."""

    pattern: Literal["cone"] = Field(description="Name of the pattern.")
    lower_diameter: Size = Field(
        description="Diameter of the lower end, or the name of hardware that it goes round; 0 for a point. "
        "In the build's units."
    )
    upper_diameter: Size = Field(0.0, description="Diameter of the upper end, likewise. Left out: a point.")
    height: Length | None = Field(
        None, description="Height along the axis. In the build's units. Give this or slant."
    )
    slant: Length | None = Field(
        None, description="Length along the wall. In the build's units. Give this or height."
    )
    sizes: Sides = Field(
        "outside", description="Which face diameters in numbers are of. Hardware is always inside."
    )
    pieces: Annotated[int, Field(ge=1, le=64)] | None = Field(
        None, description="How many equal pieces go round. Left out: as few as sheet and bed allow."
    )
    bevel: bool = Field(
        False,
        description="Whether the wide end's edge is bevelled to stand flat; what is measured inside there, "
        "hardware too, then fits the bevelled opening.",
    )


class DomeTable(PatternBase):
    """Part of a sphere from gores of flat facets."""

    pattern: Literal["dome"] = Field(description="Name of the pattern.")
    diameter: Size = Field(
        description="Diameter, or the name of the ball that it fits over. In the build's units."
    )
    sizes: Sides = Field(
        "outside",
        description="Whether a diameter in numbers is the ball it fits over (inside) or into (outside).",
    )
    gores: Annotated[int, Field(ge=3, le=64)] = Field(8, description="How many gores go round.")
    bands: Annotated[int, Field(ge=1, le=64)] = Field(3, description="How many facets each gore has.")
    from_latitude: Annotated[float, Field(ge=-90, le=90)] = Field(
        0.0, description="Where it begins: degrees, 0 = equator, 90 = upper pole."
    )
    to_latitude: Annotated[float, Field(ge=-90, le=90)] = Field(90.0, description="Where it ends: degrees.")
    cap: bool = Field(False, description="Whether a flat piece closes the upper opening.")


class RingTable(PatternBase):
    """Flat rings that fill a length."""

    pattern: Literal["ring"] = Field(description="Name of the pattern.")
    outer_diameter: Size = Field(
        description="Outer diameter, or the name of the tube that it sits in. In the build's units."
    )
    inner_diameter: Size = Field(
        0.0, description="Inner diameter, or the name of hardware that goes through. Left out: a disc."
    )
    length: Size | None = Field(
        None,
        description="What the rings together fill, or the name of hardware as long. Left out: one ring.",
    )


class WrapTable(PatternBase):
    """Layers that close round a tube or a cone."""

    pattern: Literal["wrap"] = Field(description="Name of the pattern.")
    around: Size | None = Field(
        None, description="Diameter of the tube, or the name of hardware. In the build's units."
    )
    lower_diameter: Size | None = Field(
        None, description="For a cone in place of around: its diameter below, or the name of hardware."
    )
    upper_diameter: Size | None = Field(
        None, description="For a cone in place of around: its diameter above, or the name of hardware."
    )
    height: Size = Field(
        description="Height along the axis, or the name of hardware as long. In the build's units."
    )
    layers: Annotated[int, Field(ge=1, le=50)] = Field(1, description="How many layers.")
    pieces: Annotated[int, Field(ge=1, le=64)] | None = Field(
        None, description="How many equal pieces go round in each layer. Left out: as few as possible."
    )


class EdgeStripTable(PatternBase):
    """The trim that runs round the edge of an outline or a stack, or lines its openings."""

    pattern: Literal["edge_strip"] = Field(description="Name of the pattern.")
    around: Name | None = Field(None, description="Name of the part whose edge it covers. Give this or from.")
    source: FileName | None = Field(
        None, alias="from", description="The drawn outline that it goes round, in place of around."
    )
    edge: Literal["outer", "inner"] = Field(
        "outer",
        description="Which edge: the outer one, or those of all openings. A drawn outline without openings "
        "is one itself.",
    )
    width: Size | None = Field(
        None,
        description="Width of the strip. In the build's units. Left out: the thickness of the part, or the "
        "height that the stack or its open layers reach; these never scale.",
    )
    hollow: Literal["crease", "split"] = Field(
        "crease",
        description="Hollow corners: crease (a mark, where you slit the strip from its inside down to the "
        "skin, by hand) or split (two strips that meet there).",
    )
    start: Annotated[
        Literal["top", "bottom", "left", "right"] | Spot | None, BeforeValidator(_check_start)
    ] = Field(
        None,
        description="Where the seam lies: top, bottom, left, right, or [x, y] from the lower left corner of "
        "the part's box, at drawn size. Left out: the middle of the longest straight stretch.",
    )
    corner_angle: Annotated[float, Field(ge=1, le=80)] = Field(
        20.0, description="Turns of more degrees than this are corners; gentler ones belong to a curve."
    )


class RidgeTable(PatternBase):
    """A piece with a groove that closes to a peak."""

    pattern: Literal["ridge"] = Field(description="Name of the pattern.")
    source: FileName = Field(
        alias="from",
        description="The closed piece as drawn, seen from outside with the peak towards you: 'file.svg#id'.",
    )
    centre_line: FileName = Field(
        description="Where the ridge runs: 'file.svg#id' of an open line in the same drawing."
    )
    peak: Length | None = Field(
        None, description="Height of the peak over the farthest edge. In the build's units. Or give angle."
    )
    angle: Degrees | None = Field(None, description="Fold angle in degrees, 0 = flat; in place of peak.")


class StackTable(PatternBase):
    """One outline in as many layers as its height takes."""

    pattern: Literal["stack"] = Field(description="Name of the pattern.")
    source: FileName = Field(alias="from", description="The drawn outline of a layer: 'file.svg#id'.")
    height: Size = Field(
        description="Height of the stack, or the name of hardware as long. In the build's units."
    )
    opening: FileName | None = Field(
        None,
        description="Opening in some layers: 'file.svg#id' in the same coordinates, or the name of "
        "hardware that goes through the middle.",
    )
    opening_at: Spot | None = Field(
        None,
        description="Where hardware goes through: [x, y] from the lower left corner of the outline's box, at "
        "drawn size. Left out: the middle of the box.",
    )
    open_layers: Annotated[
        Literal["inner", "all"]
        | Annotated[list[Annotated[int, Field(ge=1, le=10_000)]], Field(min_length=1, max_length=500)],
        BeforeValidator(_check_layers),
    ] = Field("inner", description="Which layers have the opening: inner, all, or their numbers from below.")


class WindowTable(Table):
    """An opening cut into panels."""

    source: FileName = Field(
        alias="from", description="The opening as seen from outside: 'file.svg#id'; it may be several."
    )
    panels: Annotated[list[Annotated[int, Field(ge=1, le=64)]], Field(min_length=1, max_length=64)] | None = (
        Field(
            None,
            description="Which panels have it, counting from 1 at the left, seen from outside. "
            "Left out: all.",
        )
    )
    at: Spot | None = Field(
        None,
        description="Where its middle lies: [x, y] from the panel's lower left corner as seen from outside, "
        "at drawn size. Left out: the panel's middle.",
    )


class PanelsBase(PatternBase):
    """What prism and box share."""

    height: Length = Field(description="Height of the panels. In the build's units.")
    sizes: Sides = Field("outside", description="Which face of the panels sizes in numbers are of.")
    lids: Annotated[int, Field(ge=0, le=2)] = Field(0, description="How many lids.")
    lid: Literal["over", "in"] = Field(
        "over", description="Whether lids lie over the rim or between the panels."
    )
    windows: Annotated[list[WindowTable], Field(max_length=64)] = Field(
        [], description="Openings in the panels."
    )


class PrismTable(PanelsBase):
    """A tube with flat panels and a regular polygon as its section."""

    pattern: Literal["prism"] = Field(description="Name of the pattern.")
    panels: Annotated[int, Field(ge=3, le=64)] = Field(description="How many panels.")
    across_flats: Size = Field(
        description="Distance between opposite panels, or the name of hardware inside. In the build's units."
    )


class BoxTable(PanelsBase):
    """A rectangular tube."""

    pattern: Literal["box"] = Field(description="Name of the pattern.")
    width: Size = Field(
        description="Of panels 1 and 3, or the name of hardware inside. In the build's units."
    )
    depth: Size = Field(
        description="Of panels 2 and 4, or the name of hardware inside. In the build's units."
    )


class PyramidTable(PatternBase):
    """Flat sides that lean to a point or to a smaller rim."""

    pattern: Literal["pyramid"] = Field(description="Name of the pattern.")
    sides: Annotated[int, Field(ge=3, le=64)] = Field(4, description="How many sides go round.")
    across_flats: Size = Field(
        description="Distance between opposite sides at the foot, or the name of hardware inside. "
        "In the build's units."
    )
    top_across_flats: LengthOrZero = Field(
        0.0, description="The same at the upper rim. In the build's units. Left out: a point."
    )
    height: Length = Field(description="From the foot to the point or rim. In the build's units.")
    sizes: Sides = Field("outside", description="Which face of the sides sizes in numbers are of.")


#: By the word that stands behind ``pattern =``.
PATTERN_TABLES: dict[str, type[PatternBase]] = {
    "cone": ConeTable,
    "dome": DomeTable,
    "ring": RingTable,
    "wrap": WrapTable,
    "edge_strip": EdgeStripTable,
    "ridge": RidgeTable,
    "stack": StackTable,
    "prism": PrismTable,
    "box": BoxTable,
    "pyramid": PyramidTable,
}
#: Stand in for required keys that are missing or wrong, so that the rest of the file is still checked.
PATTERN_PLACEHOLDERS: dict[str, dict[str, Any]] = {
    "cone": {"lower_diameter": 1.0},
    "dome": {"diameter": 1.0},
    "ring": {"outer_diameter": 1.0},
    "wrap": {"height": 1.0},
    "edge_strip": {},
    "ridge": {"from": "drawing.svg", "centre_line": "drawing.svg"},
    "stack": {"from": "drawing.svg", "height": 1.0},
    "prism": {"panels": 3, "across_flats": 1.0, "height": 1.0},
    "box": {"width": 1.0, "depth": 1.0, "height": 1.0},
    "pyramid": {"across_flats": 1.0, "height": 1.0},
}
