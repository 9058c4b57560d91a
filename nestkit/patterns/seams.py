"""Which edges of a pattern's pieces are glued to which, and how long they are."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from nestkit.patterns.model import Chain, Laid, Pattern, Piece, Rolled, Spot
from nestkit.patterns.refold import rolled_edges

SeamEdge = tuple[str, tuple[Spot, ...]]


@dataclass(frozen=True, slots=True)
class Seam:
    """Edges that are glued together.

    Parameters
    ----------
    first : str
    second : str or None
        Suffixes of the two pieces; the same twice when copies of one piece, or its two ends, meet.
        None when the piece goes round something that is not of the pattern.
    count : int
        How many such seams there are in one pattern.
    length : float, mm
        Of one of them.
    angle : float, radians, or None
        Fold angle at the seam; None where the foam is rolled or lies flat.
    round_edge : bool
        True when ``first`` is glued in or on with the whole of its edge.
    edges : tuple of (str, points)
        The edges that meet, where they are known: each with the suffix of its piece, in whose coordinates
        (mm) the points are.
    """

    first: str
    second: str | None
    count: int
    length: float
    angle: float | None = None
    round_edge: bool = False
    edges: tuple[SeamEdge, ...] = ()


def seams_of(pattern: Pattern) -> tuple[Seam, ...]:
    """The seams of one closed pattern; equal ones are counted together."""
    found: dict[tuple[object, ...], Seam] = {}
    for seam in _seams(pattern):
        angle = None if seam.angle is None else round(seam.angle, 4)
        pair = (seam.first, seam.second) if seam.round_edge else frozenset((seam.first, seam.second))
        key = (pair, round(seam.length, 2), angle, seam.round_edge)
        known = found.get(key)
        if known is None:
            found[key] = seam
            continue
        # Equal links of a chain have their edges in common.
        edges = tuple(dict.fromkeys((*known.edges, *seam.edges)))
        found[key] = replace(known, count=known.count + seam.count, edges=edges)
    return tuple(found.values())


def _seams(pattern: Pattern) -> Iterator[Seam]:
    suffix = [piece.suffix for piece in pattern.pieces]
    for closing in pattern.closings:
        if isinstance(closing, Rolled):
            slant = math.hypot(closing.height, closing.wide - closing.narrow)
            name = suffix[closing.piece]
            rows = pattern.pieces[closing.piece].shape.outline.exterior.pieces()
            sides = tuple((name, _spots(side.tolist())) for side in rolled_edges(rows))
            yield Seam(name, name, closing.count, slant, edges=sides)
        elif isinstance(closing, Chain):
            for place, link in enumerate(closing.links):
                following = closing.links[(place + 1) % len(closing.links)]
                length = _length(link.right)
                one, other = suffix[link.piece], suffix[following.piece]
                edges = ((one, _spots(link.right)), (other, _spots(following.left)))
                yield Seam(one, other, 1, length, abs(link.angle), edges=edges)
            for cap in closing.caps:
                rim = _length((*cap.corners, cap.corners[0]))
                first = suffix[closing.links[0].piece]
                edges = ((suffix[cap.piece], _spots(cap.corners[:2])), (first, _spots(cap.rim)))
                yield Seam(suffix[cap.piece], first, 1, rim, abs(cap.angle), True, edges)
        elif isinstance(closing, Laid):
            pieces = closing.pieces
            # As many as there are equal openings to line.
            count = pattern.pieces[pieces[0]].quantity
            for place, piece in enumerate(pieces):
                next_piece = pieces[(place + 1) % len(pieces)]
                width = float(min(pattern.pieces[piece].shape.outline.size))
                ends = (
                    (suffix[piece], _end_of(pattern.pieces[piece], 2)),
                    (suffix[next_piece], _end_of(pattern.pieces[next_piece], 0)),
                )
                yield Seam(suffix[piece], suffix[next_piece], count, width, edges=ends)
            yield Seam(suffix[pieces[0]], None, count, float(closing.outline.length), None, True)
    if pattern.kind in ("prism", "box"):
        yield from _lids(pattern)


def _lids(pattern: Pattern) -> Iterator[Seam]:
    """Lids are glued to the wall with the whole of their edge."""
    walls = {
        link.piece for closing in pattern.closings if isinstance(closing, Chain) for link in closing.links
    }
    for place, piece in enumerate(pattern.pieces):
        if walls and place not in walls:
            rim = float(piece.shape.outline.exterior.length)
            first = pattern.pieces[min(walls)].suffix
            yield Seam(piece.suffix, first, piece.quantity, rim, math.pi / 2.0, True)


def _end_of(strip: Piece, side: int) -> tuple[Spot, ...]:
    """A strip's left (0) or right (2) end: it lies along x."""
    box = strip.shape.outline.bounds
    return ((box[side], box[1]), (box[side], box[3]))


def _spots(points: Iterable[Sequence[float]]) -> tuple[Spot, ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _length(points: Sequence[Spot]) -> float:
    return math.fsum(math.dist(a, b) for a, b in pairwise(points))
