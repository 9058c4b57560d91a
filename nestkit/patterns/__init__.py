"""Developed flat patterns: cone, dome, ring, wrap, edge strip, ridge, stack, prism, box, pyramid. No files.

Each is a frozen dataclass that refuses sizes no foam can be made to when it is made, and has a
``develop`` that gives a `Pattern`; `refold` closes that again and measures the gap.
"""

from nestkit.patterns.cone import Cone
from nestkit.patterns.dome import Dome
from nestkit.patterns.edge_strip import EdgeStrip
from nestkit.patterns.model import CLOSED, Foam, Measure, Pattern, PatternError, Piece
from nestkit.patterns.openings import line_openings
from nestkit.patterns.prism import Box, Prism
from nestkit.patterns.pyramid import Pyramid
from nestkit.patterns.refold import Refolded, refold
from nestkit.patterns.ridge import Ridge
from nestkit.patterns.ring import Ring
from nestkit.patterns.seams import Seam, seams_of
from nestkit.patterns.stack import Stack
from nestkit.patterns.tube import Window
from nestkit.patterns.wrap import Wrap

__all__ = [
    "CLOSED",
    "Box",
    "Cone",
    "Dome",
    "EdgeStrip",
    "Foam",
    "Measure",
    "Pattern",
    "PatternError",
    "Piece",
    "Prism",
    "Pyramid",
    "Refolded",
    "Ridge",
    "Ring",
    "Seam",
    "Stack",
    "Window",
    "Wrap",
    "line_openings",
    "refold",
    "seams_of",
]
