"""Whether the order of the paths in a file can be cut: nothing comes loose before it is finished."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely

from nestkit.checking.job_file import POCKET, SHEET, JobFile, Stroke
from nestkit.checking.pieces import Piece
from nestkit.checking.verdict import REWRITE, Fault


def judge_order(job: JobFile, pieces: Sequence[Piece]) -> Iterator[Fault]:
    """Judge the cut order of one file.

    Marks, labels and pockets of a copy come before its cuts, the passes of its pockets widest first, its
    holes before its outline, and what lies in a hole before that hole. The blank's edge, which is not
    cut, comes first of all.
    """
    edges = [stroke.place for stroke in job.strokes if stroke.layer == SHEET]
    others = [stroke.place for stroke in job.strokes if stroke.layer != SHEET]
    if edges and others and max(edges) > min(others):
        yield Fault("order-sheet", job.name, text="the blank's edge is not the first entity", todo=REWRITE)
    for piece in pieces:
        yield from _judge_piece(job, piece)
    yield from _judge_nested(job, pieces)


def _judge_piece(job: JobFile, piece: Piece) -> Iterator[Fault]:
    for hole in piece.holes:
        if hole.place > piece.outline.place:
            yield _late(job, "order-hole", hole, "the hole comes after the outline around it", piece)
    first_cut = min(stroke.place for stroke in (piece.outline, *piece.holes))
    for line in piece.lines:
        if line.place > first_cut:
            text = f"a path on layer {line.layer} comes after a cut of its part"
            yield _late(job, "order-mark", line, text, piece)
    deepest = 0
    for line in sorted(piece.lines, key=lambda line: line.place):
        found = POCKET.fullmatch(line.layer)
        number = int(found[1]) if found else 0
        if found and number < deepest:
            text = f"pass {number} of a pocket comes after pass {deepest}"
            yield _late(job, "order-pocket", line, text, piece)
        deepest = max(deepest, number)


def _judge_nested(job: JobFile, pieces: Sequence[Piece]) -> Iterator[Fault]:
    holes = [(hole, host) for host in pieces for hole in host.holes]
    if not holes:
        return
    points = [piece.outline.region.representative_point() for piece in pieces]
    tree = shapely.STRtree(points)
    for (hole, host), within in zip(
        holes, (tree.query(hole.region, predicate="contains") for hole, _ in holes), strict=True
    ):
        for k in sorted(within.tolist()):
            inner = pieces[k]
            last = max((inner.outline, *inner.holes), key=lambda stroke: stroke.place)
            if inner is not host and inner.outline.region.area < hole.region.area and last.place > hole.place:
                name = f"'{host.key[0]}' copy {host.key[1]}" if host.key[0] else "an outline without a name"
                text = f"the part lies in a hole of {name} and is cut after that hole"
                yield _late(job, "order-nested", last, text, inner)


def _late(job: JobFile, code: str, stroke: Stroke, text: str, piece: Piece) -> Fault:
    part, copy = piece.key
    return Fault(code, job.name, part, copy or None, stroke.at, text)
