"""The numbers of seams, which run through the whole build in the order of gluing."""

from __future__ import annotations

from functools import lru_cache

from nestkit.build.model import Build
from nestkit.build.pattern_info import SeamInfo

#: Points along an edge, in the part's coordinates, mm.
Edge = tuple[tuple[float, float], ...]


def assembly_names(build: Build) -> list[str]:
    """The build's assemblies in order, those that only parts name, and an empty name if parts have none."""
    names = [each.name for each in build.assemblies]
    named = {part.assembly for part in build.parts}
    names += sorted(name for name in named.difference(names) if name)
    return [*names, ""] if "" in named else names


@lru_cache(maxsize=32)
def numbered_seams(build: Build) -> dict[str, tuple[tuple[int, SeamInfo], ...]]:
    """For each assembly, in the order of `assembly_names`, its patterns' seams with their numbers."""
    found: dict[str, tuple[tuple[int, SeamInfo], ...]] = {}
    number = 1
    for name in assembly_names(build):
        parts = [part for part in build.parts if part.assembly == name]
        patterns = {part.owner: part.pattern for part in parts if part.pattern is not None}
        seams = [seam for info in patterns.values() for seam in info.seams]
        found[name] = tuple(enumerate(seams, start=number))
        number += len(seams)
    return found


@lru_cache(maxsize=32)
def seam_edges(build: Build) -> dict[str, tuple[tuple[int, Edge], ...]]:
    """For each part the edges at which its seams lie, where patterns say so, with the seams' numbers."""
    found: dict[str, list[tuple[int, Edge]]] = {}
    for seams in numbered_seams(build).values():
        for number, seam in seams:
            for name, edge in seam.edges:
                found.setdefault(name, []).append((number, edge))
    return {name: tuple(edges) for name, edges in found.items()}
