"""Copies that are interchangeable, counted instead of listed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nestkit.nesting.problem import Item


@dataclass(frozen=True, eq=False)
class Alike:
    """Items that are interchangeable.

    Parameters
    ----------
    item : Item
        The first of them.
    numbers : tuple of int
        Their places in the sequence that was sorted.
    """

    item: Item
    numbers: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.numbers)


def alike(items: Sequence[Item]) -> list[Alike]:
    """The items by outline, mirroring and turns, in the order in which they first appear."""
    found: dict[tuple[int, bool, tuple[float, ...] | None], list[int]] = {}
    for number, item in enumerate(items):
        key = (id(item.outline), item.mirrored, item.turns.angles)
        found.setdefault(key, []).append(number)
    return [Alike(items[numbers[0]], tuple(numbers)) for numbers in found.values()]
