"""An outline: a closed boundary with its holes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import Polygon

from nestkit.geometry.affine import Affine
from nestkit.geometry.path import FLATNESS, Path


@dataclass(frozen=True, eq=False)
class Outline:
    """A part's closed boundary with its holes.

    Parameters
    ----------
    exterior : Path
        Closed; kept counter-clockwise.
    holes : tuple of Path
        Closed; kept clockwise.

    Raises
    ------
    ValueError
        When one of the paths is open.
    """

    exterior: Path
    holes: tuple[Path, ...] = ()

    def __post_init__(self) -> None:
        if not all(path.closed for path in self.rings()):
            raise ValueError("an outline is made of closed paths")
        if self.exterior.signed_area < 0.0:
            object.__setattr__(self, "exterior", self.exterior.reversed())
        object.__setattr__(
            self, "holes", tuple(hole if hole.signed_area < 0.0 else hole.reversed() for hole in self.holes)
        )

    def rings(self) -> Iterator[Path]:
        """The boundary, then each hole."""
        yield self.exterior
        yield from self.holes

    @property
    def area(self) -> float:
        """Area of foam, mm^2, holes left out."""
        return sum(ring.signed_area for ring in self.rings())

    @property
    def cut_length(self) -> float:
        """Length of all cuts, mm."""
        return sum(ring.length for ring in self.rings())

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest x, smallest y, largest x, largest y, mm."""
        return self.exterior.bounds

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the bounding box, mm."""
        x0, y0, x1, y1 = self.bounds
        return x1 - x0, y1 - y0

    def polygon(self, tolerance: float = FLATNESS) -> Polygon:
        """The outline as a shapely polygon, arcs flattened within ``tolerance`` mm."""
        return Polygon(self.exterior.flatten(tolerance), [hole.flatten(tolerance) for hole in self.holes])

    def transformed(self, matrix: Affine, tolerance: float = FLATNESS) -> Outline:
        """The outline mapped by ``matrix``; see `Path.transformed`."""
        return Outline(
            self.exterior.transformed(matrix, tolerance),
            tuple(hole.transformed(matrix, tolerance) for hole in self.holes),
        )
