"""How exact the written files have to be, in millimetres."""

from __future__ import annotations

#: Sizes and places must be right within this.
SIZE = 0.05

#: Gap and margin may fall short by this much.
SPACING = 0.02

#: Arcs of the files are flattened within this before they are measured.
FLATNESS = 0.005

#: Curves in plan.json's outlines are flattened within this; their points lie on the true curve.
PLAN_FLATNESS = 0.05

#: What flattening and rounded digits may add to a measured length.
SLACK = FLATNESS + 0.001

#: Lengths beyond this are no place on any sheet.
FARTHEST = 1e6

#: A narrow slit that the kerf closes is told when it goes deeper than this.
LOST_DEPTH = 1.0

#: Shares (fill, waste) and lengths in plan.json may be rounded: share, share of a length.
SHARE = 0.002
LENGTH_SHARE = 0.005

#: Larger files are not read, bytes.
LARGEST_FILE = 256 * 1024 * 1024
