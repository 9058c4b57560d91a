"""Places along a path, and the stretch between two of them; lengths run along the path, arcs as arcs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry.path import Path

Floats = NDArray[np.float64]

#: Places nearer than this to a vertex are taken for it, mm: no crumbs of pieces are made.
NEAR = 1e-6


def piece_lengths(pieces: Floats) -> Floats:
    """True length of each line or arc, mm: (m,) float for ``Path.pieces()``, (m, 5)."""
    x0, y0, x1, y1, bulge = pieces.T
    chords = np.hypot(x1 - x0, y1 - y0)
    angles = 4.0 * np.arctan(bulge)
    bent = np.abs(angles) > 1e-9
    sines = np.where(bent, 2.0 * np.sin(np.abs(angles) / 2.0), 1.0)
    lengths: Floats = np.where(bent, chords * np.abs(angles) / sines, chords)
    return lengths


def points_on(pieces: Floats, shares: Floats) -> Floats:
    """The point at a share of each piece's length: (m, 2) float, mm, for (m, 5) pieces and (m,) shares."""
    x0, y0, x1, y1, bulge = pieces.T
    angles = 4.0 * np.arctan(bulge)
    bent = np.abs(angles) > 1e-9
    # A part of an arc has its chord turned from the whole chord by half of the angle that is left.
    sines = np.where(bent, np.sin(angles / 2.0), 1.0)
    ratio = np.where(bent, np.sin(angles * shares / 2.0) / sines, shares)
    turn = np.where(bent, angles * (shares - 1.0) / 2.0, 0.0)
    cos, sin = np.cos(turn) * ratio, np.sin(turn) * ratio
    dx, dy = x1 - x0, y1 - y0
    return np.column_stack((x0 + cos * dx - sin * dy, y0 + sin * dx + cos * dy))


def stretch(path: Path, start: float, end: float) -> Path:
    """The part of a path between two places, as an open path.

    Parameters
    ----------
    path : Path
    start, end : float, mm
        Along the path from its start. On a closed path the stretch may run on past the start: then
        `end` is larger than the path's length; it may be as long as the whole path.

    Raises
    ------
    ValueError
        When the stretch has no length, is longer than the path, or leaves an open path.
    """
    pieces = path.pieces()
    lengths = piece_lengths(pieces)
    total = float(lengths.sum())
    if not NEAR < end - start <= total + NEAR:
        raise ValueError("a stretch needs a length, no longer than its path's")
    if path.closed:
        shift = np.floor(start / total) * total
        start, end = start - shift, end - shift
        pieces, lengths = np.concatenate((pieces, pieces)), np.concatenate((lengths, lengths))
    elif start < -NEAR or end > total + NEAR:
        raise ValueError("a stretch can't leave an open path")
    ends = np.cumsum(lengths)
    rows: list[tuple[float, float, float]] = []
    last = (0.0, 0.0)
    for k in range(len(pieces)):
        first, final = float(ends[k] - lengths[k]), float(ends[k])
        if final <= start + NEAR or first >= end - NEAR:
            continue
        begin = 0.0 if start <= first + NEAR else (start - first) / lengths[k]
        stop = 1.0 if end >= final - NEAR else (end - first) / lengths[k]
        spots = points_on(np.repeat(pieces[k : k + 1], 2, axis=0), np.array([begin, stop]))
        # Vertices stay the very numbers that they are.
        x, y = pieces[k, :2] if begin == 0.0 else spots[0]
        last = (float(pieces[k, 2]), float(pieces[k, 3])) if stop == 1.0 else tuple(spots[1].tolist())
        rows.append((float(x), float(y), float(np.tan((stop - begin) * np.arctan(pieces[k, 4])))))
    return Path(np.array([*rows, (*last, 0.0)]), False)


def starting_along(path: Path, length: float, near: float = NEAR) -> Path:
    """The same closed path, beginning at a place along it; at a vertex if one is within ``near`` mm.

    Raises
    ------
    ValueError
        When the path is open.
    """
    if not path.closed:
        raise ValueError("only a closed path can start anywhere")
    lengths = piece_lengths(path.pieces())
    total = float(lengths.sum())
    places = np.concatenate(([0.0], np.cumsum(lengths)))
    length %= total
    nearest = int(np.argmin(np.abs(places - length)))
    if abs(places[nearest] - length) <= near:
        return path.starting_at(nearest % len(path.vertices))
    return Path(stretch(path, length, length + total).vertices[:-1], True)


def joined(runs: Sequence[Path]) -> Path:
    """The closed path that open ones follow in turn; straight where one ends and the next begins elsewhere.

    Raises
    ------
    ValueError
        When one of them is closed.
    """
    if any(run.closed for run in runs):
        raise ValueError("a closed path has no ends to be joined at")
    return Path(np.concatenate([run.vertices for run in runs]), True)
