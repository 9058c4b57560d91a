"""Stack: one outline in as many layers as its height takes, some of them with an opening."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Polygon

from nestkit.geometry import Outline, Path, Shape
from nestkit.patterns.model import Foam, Measure, Pattern, Piece, need, need_above_zero
from nestkit.patterns.ring import layers_for

MOST_LAYERS = 500


@dataclass(frozen=True, eq=False)
class Stack:
    """Layers of one outline.

    Parameters
    ----------
    foam : Foam
    shape : Shape
        One layer, without the opening.
    height : float, mm
        What the layers are to reach.
    openings : sequence of Path
        Closed; cut out of the open layers, in the shape's coordinates.
    open_layers : "inner", "all" or a tuple of int
        Which layers have the opening, counting from 1 at the bottom; "inner" is all but first and last.

    Raises
    ------
    PatternError
        When the opening isn't inside the outline, or is asked of layers that aren't there.
    """

    foam: Foam
    shape: Shape
    height: float
    openings: Sequence[Path] = ()
    open_layers: str | tuple[int, ...] = "inner"

    def __post_init__(self) -> None:
        need_above_zero("height", self.height)
        need("height", self.count <= MOST_LAYERS, f"takes {self.count} layers; the most is {MOST_LAYERS}")
        foam = self.shape.outline.polygon()
        for opening in self.openings:
            need(
                "opening",
                foam.contains(Polygon(opening.flatten())),
                "reaches out of the outline or over one of its holes",
                "Draw it inside the outline, in the same coordinates",
            )
        if self.openings and not isinstance(self.open_layers, str):
            wrong = [k for k in self.open_layers if not 1 <= k <= self.count]
            need(
                "open_layers",
                not wrong,
                f"there is no layer {wrong[0] if wrong else ''}: {self.count} in all",
            )

    @property
    def count(self) -> int:
        """How many layers."""
        return layers_for(self.height, self.foam.thickness)

    def _open(self) -> int:
        if not self.openings:
            return 0
        if self.open_layers == "all":
            return self.count
        return max(0, self.count - 2) if self.open_layers == "inner" else len(set(self.open_layers))

    def develop(self) -> Pattern:
        """The flat pattern: pieces ``solid`` and ``open``; without a suffix when all layers are alike."""
        opened = self._open()
        outline = self.shape.outline
        with_opening = Shape(Outline(outline.exterior, (*outline.holes, *self.openings)), self.shape.lines)
        both = 0 < opened < self.count
        pieces = []
        if opened < self.count:
            pieces.append(Piece("solid" if both else "", self.shape, self.count - opened))
        if opened:
            pieces.append(Piece("open" if both else "", with_opening, opened))
        reached = self.count * self.foam.thickness
        off = reached - self.height
        how = f"{self.foam.told(off, 3, sign=True)} off what was" if abs(off) > 0.005 else "as"
        notes = [f"{self.count} layers reach {self.foam.told(reached)}, {how} asked"]
        if self.openings and not opened:
            notes.append("no layer has the opening: there is no layer between the first and the last")
        return Pattern(
            "stack", tuple(pieces), (Measure("height", reached),), (), tuple(notes), reached, self.height
        )
