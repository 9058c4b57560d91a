"""Layers and colours of a DXF file: what is visible, and in which colour it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

BYBLOCK, BYLAYER = 0, 256
_WHITE_OR_BLACK = 7


@dataclass(frozen=True, slots=True)
class Layer:
    """What a layer's table entry says; `hidden` when it is off or frozen."""

    colour: str
    off: bool = False
    frozen: bool = False

    @property
    def hidden(self) -> bool:
        """True when nothing on it is seen."""
        return self.off or self.frozen


def colour_name(index: int) -> str:
    """Colour number 1 to 255 as ``#rrggbb``.

    Number 7 shows as white or black, whichever differs from the background; here it is black, as on paper.
    """
    from ezdxf.colors import aci2rgb

    if index == _WHITE_OR_BLACK or not 1 <= index <= 255:
        return "#000000"
    return _hex(tuple(aci2rgb(index)))


def _hex(rgb: tuple[int, ...]) -> str:
    return "#" + "".join(f"{int(part) & 255:02x}" for part in rgb)


def _true_colour(value: int) -> str:
    return f"#{int(value) & 0xFFFFFF:06x}"


class Layers:
    """The layer table; a layer that it does not hold is visible and black."""

    def __init__(self, document: Any) -> None:
        self._layers: dict[str, Layer] = {}
        for entry in document.layers:
            dxf = entry.dxf
            index = int(dxf.get("color", _WHITE_OR_BLACK))
            colour = colour_name(abs(index))
            if dxf.hasattr("true_color"):
                colour = _true_colour(dxf.true_color)
            frozen = bool(int(dxf.get("flags", 0)) & 1)
            self._layers[str(dxf.name).casefold()] = Layer(colour, off=index < 0, frozen=frozen)

    def __getitem__(self, name: str) -> Layer:
        return self._layers.get(name.casefold(), Layer("#000000"))


def colour_of(entity: Any, layer: Layer, block_colour: str) -> str:
    """The entity's colour as ``#rrggbb``; `block_colour` is that of the insert around it."""
    dxf = entity.dxf
    if dxf.hasattr("true_color"):
        return _true_colour(dxf.true_color)
    index = int(dxf.get("color", BYLAYER))
    if index == BYLAYER:
        return layer.colour
    return block_colour if index == BYBLOCK else colour_name(index)
