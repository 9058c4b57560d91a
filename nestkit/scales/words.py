"""How sizes, cliffs and largest sizes are said, wherever they are shown."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.output.report_words import show_money
from nestkit.output.text import show_number
from nestkit.scales.model import Cliff, Comparison, GroupKey, Largest, SizeResult
from nestkit.units import Unit, show_length
from nestkit.words import counted


def unit_of(comparison: Comparison) -> Unit:
    """The build's unit."""
    return "in" if comparison.unit == "in" else "mm"


def show_scale(scale: float) -> str:
    """``0.95``, to four digits after the point."""
    return show_number(scale, 4)


def size_name(comparison: Comparison, scale: float) -> str:
    """A size as its maker thinks of it: the length of the named part, or the scale."""
    if not comparison.reference:
        return f"scale {show_scale(scale)}"
    return show_length(scale * comparison.drawn_length, unit_of(comparison))


def foam_name(comparison: Comparison, key: GroupKey) -> str:
    """``eva 6 mm``."""
    return f"{key[0]} {show_length(key[1], unit_of(comparison))}"


def cliff_sentence(comparison: Comparison, cliff: Cliff) -> str:
    """Where sheets or money change, and by how much."""
    low, high = (size_name(comparison, scale) for scale, _ in (cliff.below, cliff.above))
    below, above = cliff.below[1], cliff.above[1]
    if below.rank[0] != above.rank[0]:
        before, after = _places(below.rank[0]), _places(above.rank[0])
    elif below.sheets != above.sheets:
        before = f"it is {counted(below.sheets, 'sheet')} ({show_money(below.cost)} to pay)"
        after = f"{above.sheets} ({show_money(above.cost)})"
    else:
        before = f"its {counted(below.sheets, 'sheet')} cost {show_money(below.cost)}"
        after = show_money(above.cost)
    foam = foam_name(comparison, (below.material, below.thickness))
    scales = f"scale {show_scale(cliff.below[0])}"
    if not cliff.is_close:
        return (
            f"{foam}: at {low} ({scales}) {before}; at {high} (scale {show_scale(cliff.above[0])}) {after}. "
            "Between them it was not looked to the end."
        )
    where = f"up to {low}" + (f" ({scales})" if comparison.reference else "")
    if cliff.certain:
        return f"{foam}: {where} {before}; above that {after}. That is proven."
    # What finds no place mostly fits no sheet at all, which no search would change.
    searched = ", as far as was searched" if below.rank[0] == above.rank[0] else ""
    return f"{foam}: {where} {before}; above that {after}{searched}."


def _places(left_out: int) -> str:
    if not left_out:
        return "everything has a place"
    return f"{counted(left_out, 'copy', 'copies')} find none" if left_out > 1 else "one copy finds none"


def largest_sentences(comparison: Comparison, largest: Largest) -> list[str]:
    """The largest size, and what stops it from being larger."""
    goal = (
        "fits what is in the shop"
        if largest.budget is None
        else f"costs {show_money(largest.budget)} at most"
    )
    if largest.best is None:
        tried = "" if largest.over is None else f" down to {_with_scale(comparison, largest.over)}"
        first = f"No size{tried} {goal}."
    else:
        first = f"The largest size that {goal} is {_with_scale(comparison, largest.best.scale)}."
        if largest.budget is not None:
            first += f" It costs {show_money(largest.best.cost)}."
    said = [first]
    if largest.over is None:
        said.append("Nothing larger was tried that does not fit.")
    elif largest.best is not None or largest.stops:
        how = "What stops it" if largest.best is not None else "What is in the way"
        sure = "certain" if largest.certain else "found, not proven"
        at = _with_scale(comparison, largest.over)
        said.append(f"{how} at {at} ({sure}): {'; '.join(largest.stops)}.")
    if largest.best is None:
        said.append(
            "Put more in: in_shop under [[sheet]], or nestkit offcuts add. To buy sheets, give a --budget."
            if largest.budget is None
            else "Give a larger --budget, or begin at a smaller size."
        )
    return said


def _with_scale(comparison: Comparison, scale: float) -> str:
    if not comparison.reference:
        return size_name(comparison, scale)
    return f"{size_name(comparison, scale)} (scale {show_scale(scale)})"


def notes(comparison: Comparison, place: int) -> list[str]:
    """What is to be minded at one of the comparison's sizes."""
    size = comparison.sizes[place]
    before = comparison.sizes[place - 1] if place else None
    unit = unit_of(comparison)
    said = []
    if size.left_out:
        copies = sum(each.copies for each in size.left_out)
        names = list(dict.fromkeys(each.part for each in size.left_out))
        said.append(f"left out: {counted(copies, 'copy', 'copies')} ({_some(names)})")
    by_hand = hand_parts(size)
    if by_hand:
        said.append(f"too large for the bed, cut by hand: {_some(by_hand)}")
    if size.slim:
        names = [each.part for each in size.slim]
        said.append(f"too slim for the cutter: {_some(names)}")
    said += layer_notes(size, before, unit)
    return said


def hand_parts(size: SizeResult) -> list[str]:
    """Parts that go to hand cutting because of their size."""
    return [name for group in size.groups for name in group.by_hand]


def layer_notes(size: SizeResult, before: SizeResult | None, unit: Unit) -> list[str]:
    """Stacks that have another number of layers than at the next smaller size."""
    counts = {} if before is None else {each.part: each.layers.count for each in before.layers}
    said = []
    for each in size.layers:
        old = counts.get(each.part)
        if old is None or old == each.layers.count:
            continue
        error = each.layers.error
        off = f", {show_length(abs(error), unit)} too {'high' if error > 0.0 else 'low'}"
        layers = counted(each.layers.count, "layer")
        said.append(f"{each.part}: {layers} in place of {old}{off if abs(error) > 0.05 else ''}")
    return said


def layer_errors(size: SizeResult, unit: Unit) -> str:
    """Every stack with its layers and how much it misses its height, for a spreadsheet."""
    said = []
    for each in size.layers:
        error = show_length(abs(each.layers.error), unit)
        sign = "-" if each.layers.error < -0.005 else "+" if each.layers.error > 0.005 else ""
        said.append(f"{each.part} {each.layers.count} ({sign}{error})")
    return "; ".join(said)


def _some(names: Sequence[str], most: int = 3) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {counted(len(names) - most, 'other')}"
