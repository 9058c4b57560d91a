"""Colours: of the layers of a job, and of the assemblies in pictures.

References
----------
M. Okabe, K. Ito: Color Universal Design, how to make figures and presentations that are friendly to
colour-blind people, 2008: the eight colours named below.
"""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.cutting.model import (
    CUT_INSIDE_LAYER,
    CUT_OUTSIDE_LAYER,
    LABEL_LAYER,
    MARK_LAYER,
    SHEET_LAYER,
    Job,
    is_pocket_layer,
    pocket_layer,
)

Rgb = tuple[int, int, int]

BLACK: Rgb = (0, 0, 0)
ORANGE: Rgb = (230, 159, 0)
SKY_BLUE: Rgb = (86, 180, 233)
BLUISH_GREEN: Rgb = (0, 158, 115)
YELLOW: Rgb = (240, 228, 66)
BLUE: Rgb = (0, 114, 178)
VERMILLION: Rgb = (213, 94, 0)
REDDISH_PURPLE: Rgb = (204, 121, 167)
#: Not of the palette: for what belongs to nothing.
GREY: Rgb = (150, 150, 150)


@dataclass(frozen=True, slots=True)
class LayerColour:
    """A true colour, and the indexed colour (DXF group 62) for programs that know no other."""

    rgb: Rgb
    indexed: int


_LAYERS = {
    LABEL_LAYER: LayerColour(BLUISH_GREEN, 3),
    MARK_LAYER: LayerColour(SKY_BLUE, 4),
    CUT_INSIDE_LAYER: LayerColour(ORANGE, 30),
    CUT_OUTSIDE_LAYER: LayerColour(VERMILLION, 1),
    SHEET_LAYER: LayerColour(GREY, 8),
}
# Every pass has an indexed colour of its own, since some cutters tell passes apart by colour alone.
_POCKETS = ((BLUE, 5), (REDDISH_PURPLE, 6), (YELLOW, 2))
_FIRST_SPARE_INDEX = 40
_POCKET_PREFIX = pocket_layer(0).rstrip("0123456789")


def layer_colour(layer: str) -> LayerColour:
    """The colour of one of a job's layers.

    Raises
    ------
    ValueError
        When no job has such a layer.
    """
    if layer in _LAYERS:
        return _LAYERS[layer]
    if not is_pocket_layer(layer):
        raise ValueError(f"no job has a layer '{layer}'")
    place = int(layer.removeprefix(_POCKET_PREFIX)) - 1
    rgb, indexed = _POCKETS[place % len(_POCKETS)]
    turn = place // len(_POCKETS)
    if turn:
        rgb = mixed(rgb, BLACK, min(0.25 * turn, 0.75))
        indexed = _FIRST_SPARE_INDEX + (place - len(_POCKETS)) * 10 % 210
    return LayerColour(rgb, indexed)


def layer_task(layer: str) -> str:
    """What is done with a layer's paths, in a few words.

    Raises
    ------
    ValueError
        When no job has such a layer.
    """
    if layer in _TASKS:
        return _TASKS[layer]
    layer_colour(layer)
    return f"etch, pass {int(layer.removeprefix(_POCKET_PREFIX))}"


_TASKS = {
    LABEL_LAYER: "write, not through",
    MARK_LAYER: "draw, not through",
    CUT_INSIDE_LAYER: "cut holes through",
    CUT_OUTSIDE_LAYER: "cut outlines through",
    SHEET_LAYER: "the sheet's edge, not cut",
}


def running_order(job: Job) -> tuple[str, ...]:
    """The job's layers in the order they are to run, SHEET last: it is not run at all.

    Raises
    ------
    ValueError
        When a stroke lies on a layer that no job has.
    """
    used = {stroke.layer for stroke in job.strokes}
    if job.etching is not None:
        used |= {pocket_layer(place) for place in range(1, job.etching.steps.count + 1)}
    pockets = sorted(layer for layer in used if is_pocket_layer(layer))
    order = (LABEL_LAYER, MARK_LAYER, *pockets, CUT_INSIDE_LAYER, CUT_OUTSIDE_LAYER, SHEET_LAYER)
    strange = used.difference(order)
    if strange:
        raise ValueError(f"no job has a layer '{min(strange)}'")
    return order


def mixed(rgb: Rgb, other: Rgb, share: float) -> Rgb:
    """``rgb`` with a share (0..1) of another colour in it."""
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(rgb, other, strict=True))
    return red, green, blue


def css(rgb: Rgb) -> str:
    """The colour as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio, 1..21 (WCAG 2, relative luminance)."""

    def luminance(rgb: Rgb) -> float:
        linear = [c / 255 / 12.92 if c <= 10 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in rgb]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


_ASSEMBLIES = (SKY_BLUE, ORANGE, BLUISH_GREEN, REDDISH_PURPLE, YELLOW, BLUE, VERMILLION)
_WHITE: Rgb = (255, 255, 255)

# What tells assemblies apart in black and white: path data on a tile of 10 x 10, and whether it is filled.
# All can be told apart whichever way a part is turned, and they are one more than the colours, so that
# colour and motif together repeat after 56 assemblies only.
_MOTIFS: tuple[tuple[str, bool], ...] = (
    ("", False),
    ("M3.8,5a1.2,1.2 0 1 0 2.4,0a1.2,1.2 0 1 0 -2.4,0z", True),
    ("M0,5H10", False),
    ("M2.6,5a2.4,2.4 0 1 0 4.8,0a2.4,2.4 0 1 0 -4.8,0z", False),
    ("M0,5H10M5,0V10", False),
    ("M0,2.5H10M0,5H10", False),
    ("M5,3V7M3,5H7", False),
    ("M0,7L5,3L10,7", False),
)


@dataclass(frozen=True, slots=True)
class Swatch:
    """How an assembly's parts are filled; dark text can be read on it.

    Parameters
    ----------
    fill, edge : (int, int, int)
    motif : str
        SVG path data on a tile of 10 x 10 that repeats; empty for a plain fill.
    solid : bool
        True when the motif is filled, not drawn as lines.
    """

    fill: Rgb
    edge: Rgb
    motif: str = ""
    solid: bool = False

    @property
    def line(self) -> Rgb:
        """Colour of the motif."""
        return mixed(self.fill, self.edge, 0.62)


NO_ASSEMBLY = Swatch(mixed(GREY, _WHITE, 0.6), mixed(GREY, BLACK, 0.45))


def assembly_swatch(place: int) -> Swatch:
    """Colours and motif of the assembly at a place (from 0) in the build's order."""
    rgb = _ASSEMBLIES[place % len(_ASSEMBLIES)]
    motif, solid = _MOTIFS[place % len(_MOTIFS)]
    return Swatch(mixed(rgb, _WHITE, 0.45), mixed(rgb, BLACK, 0.45), motif, solid)
