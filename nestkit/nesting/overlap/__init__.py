"""The overlap engine: minimises overlap by guided local search on convex covers, then compacts.

Parts may overlap while the search goes on; how deep they do is measured, and one part at a time is moved
to where it overlaps less, with weights that grow where overlap persists. See DEVELOPERS.md.
"""

from nestkit.nesting.overlap.engine import pack_strip, prepare, search
from nestkit.nesting.overlap.result import Improvement, NestResult, Score

__all__ = ["Improvement", "NestResult", "Score", "pack_strip", "prepare", "search"]
