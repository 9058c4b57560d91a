"""Where a part lies: mirrored or not, turned, moved."""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.geometry.affine import MIRROR_X, Affine, compose, rotation, translation


@dataclass(frozen=True, slots=True)
class Placement:
    """Mirror first (x becomes -x), then turn about the origin, then move.

    Parameters
    ----------
    x, y : float, mm
    turn : float, radians, counter-clockwise
    mirrored : bool
    """

    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0
    mirrored: bool = False

    @property
    def matrix(self) -> Affine:
        """The placement as an affine map."""
        turned = compose(translation(self.x, self.y), rotation(self.turn))
        return compose(turned, MIRROR_X) if self.mirrored else turned
