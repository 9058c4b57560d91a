"""How the report says what is certain about a group's sheets."""

from __future__ import annotations

from nestkit.nesting.model import Group
from nestkit.nesting.proofs import ProvenBy


def show_proof(group: Group) -> str:
    """What is certain about the number of sheets, and what proves it."""
    why = _WHY[group.proven_by]
    if group.proven and group.at_any_price:
        return f"no plan can do with fewer: {why}"
    if group.proven:
        return f"no plan is cheaper, and none as cheap can do with fewer: {why}"
    least = group.sheets_at_least
    told = f"at least {least} {'is' if least == 1 else 'are'} certainly needed"
    return told if least <= 1 else f"{told}: {why}"


_WHY: dict[ProvenBy, str] = {
    "area": "by the parts' area",
    "widths": "by the parts' widths and heights",
    "sharing": "some parts can't share a sheet",
    "together": "by areas, widths and what can't share a sheet, taken together",
    "rectangles": "the parts are rectangles, and fewer sheets were ruled out one by one",
}
