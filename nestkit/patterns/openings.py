"""Strips that line all openings of an outline: one pattern of several edge strips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from nestkit.patterns.edge_strip import EdgeStrip
from nestkit.patterns.model import Closing, Laid, Pattern, Piece, cut_alike


def line_openings(strips: Sequence[EdgeStrip]) -> Pattern:
    """The strips of several openings as one pattern.

    Strips that are cut alike are one piece, cut as often; the openings are numbered where they differ.

    Parameters
    ----------
    strips : sequence of EdgeStrip
        At least one.

    Returns
    -------
    Pattern
        Pieces ``opening-1``, ``opening-2-strip-1``, ...; as `EdgeStrip` names them when all are alike.
    """
    made = [strip.develop() for strip in strips]
    kinds: list[Pattern] = []
    counts: list[int] = []
    for one in made:
        same = next((k for k, other in enumerate(kinds) if _alike(one.pieces, other.pieces)), None)
        if same is None:
            kinds.append(one)
            counts.append(1)
        else:
            counts[same] += 1
    pieces: list[Piece] = []
    closings: list[Closing] = []
    for number, (kind, count) in enumerate(zip(kinds, counts, strict=True), start=1):
        opening = f"opening-{number}" if len(kinds) > 1 else ""
        for closing in kind.closings:
            assert isinstance(closing, Laid)
            closings.append(replace(closing, pieces=tuple(k + len(pieces) for k in closing.pieces)))
        for piece in kind.pieces:
            suffix = "-".join(filter(None, (opening, piece.suffix)))
            pieces.append(Piece(suffix, piece.shape, piece.quantity * count))
    finished = [
        replace(measure, label=f"{measure.label} ({number})" if len(kinds) > 1 else measure.label)
        for number, kind in enumerate(kinds, start=1)
        for measure in kind.finished
    ]
    notes = dict.fromkeys(note for kind in kinds for note in kind.notes)
    if len(made) > 1:
        notes = {f"lines {len(made)} openings": None, **notes}
    return Pattern("edge_strip", tuple(pieces), tuple(finished), tuple(closings), tuple(notes))


def _alike(first: Sequence[Piece], second: Sequence[Piece]) -> bool:
    return len(first) == len(second) and all(
        cut_alike(one.shape, other.shape) for one, other in zip(first, second, strict=True)
    )
