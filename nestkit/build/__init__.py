"""The build file: its model, its reading, the part list at a scale."""

from nestkit.build.model import Assembly, Build, Cutter, CutterKind, Hardware, Part, Sheet, Turns
from nestkit.build.read import load_build
from nestkit.build.starter import write_starter

__all__ = [
    "Assembly",
    "Build",
    "Cutter",
    "CutterKind",
    "Hardware",
    "Part",
    "Sheet",
    "Turns",
    "load_build",
    "write_starter",
]

#: Modules that other packages may import from; all else is this package's own.
DOORS = (
    "json_schema",
    "model",
    "parts",
    "pattern_info",
    "readings",
    "recut",
    "seam_numbers",
    "settings",
    "starter",
)
