"""One try of the overlap engine at placing everything: when it is over."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from nestkit.nesting.stops import Stop

if TYPE_CHECKING:
    from nestkit.nesting.overlap import Score


class Attempt:
    """Over when the time is, as soon as everything has a place, or after long without progress.

    Parameters
    ----------
    stop : Stop
        Asked with the rounds of all attempts.
    before : int
        Rounds of the attempts before this one.
    progress : callable, optional
        Given the rounds of all attempts.
    patience : int, optional
        Rounds without progress that are too many; without it there is no such limit.
    """

    def __init__(
        self,
        stop: Stop,
        before: int,
        progress: Callable[[int], None] | None = None,
        patience: int | None = None,
    ) -> None:
        self._stop, self._before, self._progress, self._patience = stop, before, progress, patience
        self._left: tuple[int, float] | None = None
        self._since = 0

    def is_over(self, rounds: int) -> bool:
        """A `Stop`: asked after each round."""
        placed = self._left is not None and self._left[0] == 0
        stuck = self._patience is not None and rounds - self._since >= self._patience
        return placed or stuck or self._stop(self._before + rounds)

    def note(self, rounds: int, score: Score) -> None:
        """Told the best score after each round."""
        left = score.left_out, score.left_area
        if self._left is None or left < self._left:
            self._left, self._since = left, rounds
        if self._progress is not None:
            self._progress(self._before + rounds)
