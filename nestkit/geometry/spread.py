"""Places spread evenly along a closed path, clear of the stretches where none may be."""

from __future__ import annotations

from collections.abc import Sequence

#: A stretch along a closed path: from, to; `to` may lie beyond the path's length. mm.
Span = tuple[float, float]

#: How many places of the first one are tried.
STARTS = 64


def free_spans(length: float, barred: Sequence[Span]) -> tuple[Span, ...]:
    """What is left of a closed path of this length, in order; (0, length) when nothing is barred.

    Parameters
    ----------
    length : float, mm
    barred : sequence of (float, float), mm
        In any order, overlapping or not, anywhere: places are taken round the path.
    """
    ordered = sorted((start % length, start % length + (end - start)) for start, end in barred)
    if not ordered:
        return ((0.0, length),)
    # Where the last ones reach past the path's start, they bar what comes first there.
    reach = max(end for _, end in ordered) - length
    free: list[Span] = []
    for start, end in ordered:
        if start > reach:
            free.append((reach, start))
        reach = max(reach, end)
    if free and free[0][0] < 0.0:
        # It runs on from before the path's start.
        start, end = free.pop(0)
        free.append((start + length, end + length))
    return tuple(free)


def spread(length: float, count: int, apart: float, free: Sequence[Span]) -> tuple[float, ...] | None:
    """Places along a closed path, as evenly as the free spans allow.

    Each is the free place that is nearest to one of ``count`` even places. These are turned to where the
    shifts are smallest and, among such, where most of the free spans is left on both sides. If two come too
    near to each other that way, the places follow each other as closely as they may, which finds room
    whenever there is any.

    Parameters
    ----------
    length : float, mm
    count : int
        At least 1.
    apart : float, mm
        What neighbouring places keep between them, along the path.
    free : sequence of (float, float), mm
        As `free_spans` gives them.

    Returns
    -------
    tuple of float, mm, or None
        Ascending, the first of them within the path's length; None when there is no room.
    """
    if not free or count * apart > length:
        return None
    even = length / count
    best: tuple[float, ...] | None = None
    least = (float("inf"), 0.0)
    for turn in range(STARTS):
        wanted = [even * (k + turn / STARTS) for k in range(count)]
        places = [_nearest(place, length, free) for place in wanted]
        shifts = sum((place - want) ** 2 for place, want in zip(places, wanted, strict=True))
        cost = (round(shifts, 6), -min(_room(place, length, free) for place in places))
        if cost < least and _keep_apart(places, length, apart):
            best, least = tuple(places), cost
    return _in_order(_packed(length, count, apart, free) if best is None else best, length)


def _nearest(place: float, length: float, free: Sequence[Span]) -> float:
    """The free place that is nearest to another one; it may lie before the path's start or after its end."""
    found, least = place, float("inf")
    for start, end in free:
        for lap in (-length, 0.0, length):
            spot = min(max(place, start + lap), end + lap)
            if abs(spot - place) < least:
                found, least = spot, abs(spot - place)
    return found


def _room(place: float, length: float, free: Sequence[Span]) -> float:
    """How far a free place is from the ends of its span."""
    laps = (-length, 0.0, length)
    return max(min(place - start - lap, end + lap - place) for start, end in free for lap in laps)


def _keep_apart(places: Sequence[float], length: float, apart: float) -> bool:
    following = [*places[1:], places[0] + length]
    return all(after - before >= apart for before, after in zip(places, following, strict=True))


def _packed(length: float, count: int, apart: float, free: Sequence[Span]) -> tuple[float, ...] | None:
    """Places as near to each other as they may be; if there are any, some begin where a span does."""
    laps = [(start + lap, end + lap) for lap in (0.0, length) for start, end in free]
    for first, _ in free:
        places = [first]
        while len(places) < count:
            spots = [max(start, places[-1] + apart) for start, end in laps if end >= places[-1] + apart]
            if not spots:
                break
            places.append(min(spots))
        if len(places) == count and _keep_apart(places, length, apart):
            return tuple(places)
    return None


def _in_order(places: Sequence[float] | None, length: float) -> tuple[float, ...] | None:
    return None if places is None else tuple(sorted(place % length for place in places))
