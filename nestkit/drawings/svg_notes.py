"""What is noticed while an SVG drawing is read, and how much of one is read at all."""

from __future__ import annotations

from collections import Counter

from nestkit.errors import DrawingError, Finding, Point, Problem

#: So many findings of one code are told one by one; the others are counted.
MOST_FINDINGS = 50

#: A drawing with more than this is refused.
MOST_ELEMENTS = 300_000
MOST_PATHS = 100_000
MOST_POINTS = 2_000_000

#: So much may be drawn through 'use', which can multiply a few lines without end.
MOST_COPIES = 50_000
MOST_COPIED_CHARACTERS = 50_000_000


def shorten(text: str, most: int = 40) -> str:
    """A piece of the drawing as it can be quoted in a message: one line, not too long."""
    line = " ".join(text[: 4 * most].split())
    return line if len(line) <= most and len(text) <= 4 * most else f"{line[: most - 3]}..."


class Notes:
    """Gathers the findings of one drawing and counts what was read of it.

    Parameters
    ----------
    file : str
        The drawing's name, for messages.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self._findings: list[Finding] = []
        self._counts: Counter[str] = Counter()
        self._amounts: Counter[str] = Counter()

    def add(
        self,
        code: str,
        text: str,
        todo: str = "",
        *,
        mended: bool = False,
        layer: str = "",
        id: str = "",
        at: Point | None = None,
    ) -> None:
        """Keep a finding, or only count it when there are many with this code."""
        self._counts[code] += 1
        if self._counts[code] <= MOST_FINDINGS:
            self._findings.append(Finding(code, text, todo, mended, self.file, layer, id, at))

    def findings(self) -> tuple[Finding, ...]:
        """All findings in the drawing's order, then how many were left untold."""
        rest = [
            Finding(code, f"{count - MOST_FINDINGS} more findings like those named '{code}'", file=self.file)
            for code, count in self._counts.items()
            if count > MOST_FINDINGS
        ]
        return (*self._findings, *rest)

    def room(self, what: str, most: int) -> int:
        """How many more of ``what`` may be read when ``most`` is the limit."""
        return most - self._amounts[what]

    def count(self, what: str, number: int, most: int) -> None:
        """Count ``number`` more of ``what``.

        Raises
        ------
        DrawingError
            When there are more than ``most``: a drawing read in part would be cut in part.
        """
        self._amounts[what] += number
        if self._amounts[what] > most:
            raise self.too_many(what, most)

    def too_many(self, what: str, most: int) -> DrawingError:
        """The error that refuses a drawing with more than ``most`` of ``what``."""
        return DrawingError(
            [
                Problem(
                    self.file,
                    f"the drawing holds more than {most:,} {what}",
                    "Simplify it, or split it into several drawings",
                )
            ]
        )
