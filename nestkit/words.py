"""Small words for messages."""

from __future__ import annotations


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its word; `many` is for plurals that do not end in s.

    Examples
    --------
    >>> counted(1, "part"), counted(2, "part"), counted(2, "copy", "copies")
    ('1 part', '2 parts', '2 copies')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def read_numbers(text: str) -> tuple[int, ...]:
    """Numbers from 1 as a person lists them, each once, in order.

    Raises
    ------
    ValueError
        When the text is anything else.

    Examples
    --------
    >>> read_numbers("5, 1-3")
    (1, 2, 3, 5)
    """
    found: set[int] = set()
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        if not first.isdecimal() or (dash and not last.isdecimal()):
            raise ValueError(f"'{text}' is no list of numbers")
        low, high = int(first), int(last or first)
        if not 1 <= low <= high <= 100_000:
            raise ValueError(f"'{text}' is no list of numbers")
        found.update(range(low, high + 1))
    return tuple(sorted(found))
