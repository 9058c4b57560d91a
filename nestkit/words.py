"""Small words for messages."""

from __future__ import annotations


def counted(number: int, one: str, many: str = "") -> str:
    """``1 part``, ``2 parts``; `many` is for plurals that do not end in s."""
    return f"{number} {one if number == 1 else many or one + 's'}"
