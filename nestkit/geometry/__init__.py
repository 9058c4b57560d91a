"""Outlines, arcs, offsets and placements in the plane; no files, no build.

Lengths are millimetres, angles radians, y points up.
"""

from nestkit.geometry.outline import Outline
from nestkit.geometry.path import CURVE_FLATNESS, FLATNESS, Path
from nestkit.geometry.placement import Placement
from nestkit.geometry.shape import Line, LineKind, Shape

__all__ = ["CURVE_FLATNESS", "FLATNESS", "Line", "LineKind", "Outline", "Path", "Placement", "Shape"]

#: Modules that other packages may import from; all else is this package's own.
DOORS = (
    "affine",
    "arcs",
    "clip",
    "convex",
    "curves",
    "fitting",
    "folding",
    "near",
    "offset",
    "rooms",
    "spread",
    "stretch",
    "turned_box",
)
