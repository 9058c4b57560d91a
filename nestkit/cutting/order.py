"""Cut order: what must come first, and within that the shortest way (see `cutting.route`).

Labels come before marks, marks before pockets, pockets before cuts, pass by pass; a hole before the outline
that holds it; a part that lies in a hole before that hole's edge; assemblies in the order the build asks for.
Labels and marks are first because they are light strokes that can shift nothing, drawn while the face is
still smooth: etching roughens it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from nestkit.cutting.model import CUT_INSIDE_LAYER, CUT_OUTSIDE_LAYER, LABEL_LAYER, MARK_LAYER, Stroke
from nestkit.cutting.route import Route, shortest
from nestkit.cutting.route_entries import Task
from nestkit.geometry import LineKind
from nestkit.geometry.stretch import joined
from nestkit.nesting.model import PlannedSheet


def in_cut_order(
    bundles: Sequence[Sequence[Stroke]],
    sheet: PlannedSheet,
    rank_of: Mapping[str, int],
    rough: bool = False,
) -> Route:
    """The strokes of one sheet in the order in which they are run, each from its best starting point.

    Parameters
    ----------
    bundles : sequence of sequences of Stroke
        In any order; the strokes of a bundle stay together and are all on one layer. Cuts stand alone, but
        for the runs between the tabs of one outline, in turn.
    sheet : PlannedSheet
        Where the strokes' parts lie.
    rank_of : mapping of str to int
        Place of each assembly in the build's order; parts without one come last.
    rough : bool
        See `route.shortest`.
    """
    runs = [tuple(bundle) for bundle in bundles if bundle[0].kind is LineKind.CUT]
    cuts = [_whole(bundle) for bundle in runs]
    within = _lies_in(cuts)
    ranks = _ranks(cuts, within, sheet, rank_of)
    layers = sorted({b[0].layer for b in bundles if b[0].kind is not LineKind.CUT}, key=_turn_of)
    tasks = [Task(tuple(b), layers.index(b[0].layer)) for b in bundles if b[0].kind is not LineKind.CUT]
    first = len(tasks)
    outline_of = {_owner(cut): k for k, cut in enumerate(cuts) if cut.layer == CUT_OUTSIDE_LAYER}
    for cut, bundle in zip(cuts, runs, strict=True):
        owner = _owner(cut)
        waits = within.get(owner) if cut.layer == CUT_OUTSIDE_LAYER else outline_of.get(owner)
        tasks.append(
            Task(
                bundle,
                len(layers) + ranks[owner],
                None if waits is None else first + waits,
                round=not bundle[0].path.closed,
            )
        )
    return shortest(tasks, rough=rough)


def _whole(runs: Sequence[Stroke]) -> Stroke:
    """The closed cut of which these are the runs; itself when there are no tabs."""
    if runs[0].path.closed:
        return runs[0]
    return replace(runs[0], path=joined([run.path for run in runs]))


def _turn_of(layer: str) -> tuple[bool, bool, str]:
    return layer != LABEL_LAYER, layer != MARK_LAYER, layer


def _ranks(
    cuts: Sequence[Stroke],
    within: Mapping[tuple[str, int], int],
    sheet: PlannedSheet,
    rank_of: Mapping[str, int],
) -> dict[tuple[str, int], int]:
    """When each copy's turn comes: its assembly's, or that of an earlier one in whose hole it lies."""
    last = len(rank_of)
    rank = {
        (placed.part.name, placed.copy): rank_of.get(placed.part.assembly, last) for placed in sheet.placed
    }
    own = dict(rank)
    for owner in within:
        least, at = own[owner], owner
        # Copies lie in holes of copies in holes: never deeper than there are copies.
        for _ in range(len(within)):
            if at not in within:
                break
            at = _owner(cuts[within[at]])
            least = min(least, own[at])
        rank[owner] = least
    return rank


def _owner(stroke: Stroke) -> tuple[str, int]:
    return stroke.part, stroke.copy


def _lies_in(cuts: Sequence[Stroke]) -> dict[tuple[str, int], int]:
    """For each copy that lies in a hole of another one the number of that hole, the smallest of several."""
    holes = [n for n, s in enumerate(cuts) if s.layer == CUT_INSIDE_LAYER]
    outlines = [n for n, s in enumerate(cuts) if s.layer == CUT_OUTSIDE_LAYER]
    found: dict[tuple[str, int], int] = {}
    if not holes or not outlines:
        return found
    rooms = [shapely.Polygon(cuts[n].path.flatten()) for n in holes]
    # A point within the foam: where the gap is no more than the kerf, cuts touch, and a part's middle may be
    # the window that another part lies in.
    own_holes: dict[tuple[str, int], list[NDArray[np.float64]]] = {}
    for n in holes:
        own_holes.setdefault(_owner(cuts[n]), []).append(cuts[n].path.flatten())
    spots = [
        shapely.Polygon(cuts[n].path.flatten(), own_holes.get(_owner(cuts[n]), [])).representative_point()
        for n in outlines
    ]
    inner, outer = STRtree(rooms).query(spots, predicate="within")
    area: dict[tuple[str, int], float] = {}
    for i, j in zip(inner.tolist(), outer.tolist(), strict=True):
        owner, size = _owner(cuts[outlines[i]]), float(rooms[j].area)
        if owner != _owner(cuts[holes[j]]) and size < area.get(owner, np.inf):
            found[owner], area[owner] = holes[j], size
    return found
