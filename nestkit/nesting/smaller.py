"""What lies on a large sheet of the shop is moved to a smaller piece that holds it: the large one stays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from nestkit.nesting.problem import Item, Layout, Seat, Spacing
from nestkit.nesting.search import STARTS, search
from nestkit.nesting.stops import AfterRounds
from nestkit.nesting.supply import Supply

#: Smaller pieces tried for each that is used.
TRIES = 8


def on_smaller_pieces(items: Sequence[Item], row: Supply, layout: Layout, spacing: Spacing) -> Layout:
    """A layout of the same items on as many sheets, offcuts of the shop's list in place of larger ones.

    Sheets to buy stay as they are. A smaller piece must hold all that lies on the larger one.

    Parameters
    ----------
    items : sequence of Item
    row : Supply
        What the layout's bins are.
    layout : Layout
        Sound.
    spacing : Spacing
    """
    seats: dict[tuple[str, int], list[Seat]] = {}
    for seat in layout.seats:
        seats.setdefault(row.meaning[seat.bin].which, []).append(seat)
    bins: dict[tuple[str, int], list[int]] = {}
    for number, meaning in enumerate(row.meaning):
        bins.setdefault(meaning.which, []).append(number)
    areas = {meaning.which: meaning.sheet.area for meaning in row.meaning}
    listed = {meaning.which for meaning in row.meaning if meaning.sheet.piece}
    bought = {meaning.which for meaning in row.meaning if meaning.bought}
    for which in sorted(seats, key=lambda each: (-areas[each], each)):
        if which in bought:
            continue
        members = [seat.item for seat in seats[which]]
        foam = sum(items[item].outline.area for item in members)
        smaller = [each for each in listed - set(seats) if foam <= areas[each] < areas[which] - 1.0]
        for other in sorted(smaller, key=lambda each: (areas[each], each))[:TRIES]:
            found = _on(items, members, row, bins[other], spacing)
            if found is not None:
                seats[other] = found
                del seats[which]
                break
    kept = sorted((seat for each in seats.values() for seat in each), key=lambda seat: seat.item)
    return Layout(tuple(kept), layout.left_out)


def _on(
    items: Sequence[Item], members: Sequence[int], row: Supply, bins: Sequence[int], spacing: Spacing
) -> list[Seat] | None:
    """Seats of these items in these bins; None when no place was found for all."""
    layout = search(
        [items[item] for item in members],
        [row.bins[bin] for bin in bins],
        spacing,
        score=lambda tried: (float(len(tried.left_out)),),
        enough=lambda score: score[0] == 0,
        seed=0,
        stop=AfterRounds(len(STARTS)),
    ).layout
    if layout.left_out:
        return None
    return [replace(seat, item=members[seat.item], bin=bins[seat.bin]) for seat in layout.seats]
