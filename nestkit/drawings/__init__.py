"""SVG and DXF drawings, read into outlines and lines."""

from nestkit.drawings.assemble import Assembled, assemble
from nestkit.drawings.join import JOIN, Joined, join_paths
from nestkit.drawings.kinds import LINE_TODO, NO_RULES, LineRules, kind_of, parse_rule
from nestkit.drawings.loops import Nested, nest_loops
from nestkit.drawings.model import Drawing, DrawnPath
from nestkit.drawings.read import part_shape, read_drawing, select

__all__ = [
    "JOIN",
    "LINE_TODO",
    "NO_RULES",
    "Assembled",
    "Drawing",
    "DrawnPath",
    "Joined",
    "LineRules",
    "Nested",
    "assemble",
    "join_paths",
    "kind_of",
    "nest_loops",
    "parse_rule",
    "part_shape",
    "read_drawing",
    "select",
]
