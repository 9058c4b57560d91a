"""Wrap: layers of foam that close round a tube or a cone, each longer than the one below.

References
----------
The flat length is that of the neutral fibre, as in the bend allowance of sheet metal: angle times
(inside radius + K thickness).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from nestkit.patterns.cone import Cone
from nestkit.patterns.model import Foam, Measure, Pattern, Rolled, need


@dataclass(frozen=True, slots=True)
class Wrap:
    """Layers round a tube or cone.

    Parameters
    ----------
    foam : Foam
    lower_diameter, upper_diameter : float, mm
        Of what is wrapped; equal for a tube.
    height : float, mm
        Of the wrap, along the axis.
    layers : int
    pieces : int, optional
        Into how many each layer is cut round the axis; left out, as few as sheet and bed allow.

    Raises
    ------
    PatternError
        As `Cone`.
    """

    foam: Foam
    lower_diameter: float
    upper_diameter: float
    height: float
    layers: int = 1
    pieces: int | None = None

    def __post_init__(self) -> None:
        need("layers", 1 <= self.layers <= 50, f"{self.layers} is not from 1 to 50")
        for k in range(self.layers):
            self._layer(k)

    def _lean(self) -> float:
        return math.atan2(abs(self.lower_diameter - self.upper_diameter) / 2.0, self.height)

    def _layer(self, number: int) -> Cone:
        lean = self._lean()
        # The next layer lies on this one's outside: one thickness off, square to the wall.
        off = 2.0 * number * self.foam.thickness * math.cos(lean)
        return Cone(
            self.foam,
            self.lower_diameter + off,
            self.upper_diameter + off,
            height=self.height,
            lower_side="inside",
            upper_side="inside",
            pieces=self.pieces,
        )

    def develop(self) -> Pattern:
        """The flat pattern: pieces ``layer-1`` (the inner one), ``layer-2``, ...; one has no suffix."""
        made = [self._layer(k).develop() for k in range(self.layers)]
        pieces, closings = [], []
        for k, layer in enumerate(made):
            pieces.append(replace(layer.pieces[0], suffix=f"layer-{k + 1}" if self.layers > 1 else ""))
            (closing,) = layer.closings
            assert isinstance(closing, Rolled)
            closings.append(replace(closing, piece=k))
        inner, outer = made[0].finished, made[-1].finished
        finished = [
            *(m for m in inner if m.label.endswith("inside")),
            *(m for m in outer if "outside" in m.label),
        ]
        finished.append(Measure("height", self.height))
        told = [[note for note in layer.notes if "stand flat" not in note] for layer in made]
        notes: dict[str, None] = {}
        for k, own in enumerate(told):
            for note in own:
                notes[note if all(note in other for other in told) else f"layer {k + 1}: {note}"] = None
        climb = self.foam.thickness * math.sin(self._lean())
        if self.layers > 1 and climb >= 0.05:
            by = self.foam.told(climb, 2)
            notes[f"each layer lies {by} nearer to the narrow end than the one under it"] = None
        if self.layers > 1:
            notes["wrap layer 1 first, and turn the seams away from each other"] = None
        return Pattern("wrap", tuple(pieces), tuple(finished), tuple(closings), tuple(notes))
