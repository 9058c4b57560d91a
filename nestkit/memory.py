"""How often Python looks for circles of references that nobody needs."""

from __future__ import annotations

import gc

#: New containers between two looks; Python's own 700 are a third of the time of a plan.
CONTAINERS = 50_000


def look_rarely() -> None:
    """Makes looks rarer: the clipper takes and gives millions of small lists, and none of them is a circle.

    For a process that is the program's own, not for one that has nestkit as a library.
    """
    gc.set_threshold(CONTAINERS, 10, 10)
