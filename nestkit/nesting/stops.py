"""When a search stops: small rules behind one protocol.

A rule is asked often; it must be cheap. Searches count rounds themselves, so that a search with a
fixed number of rounds does the same whatever the clock says.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol


class Stop(Protocol):
    """Says whether to stop, given how many rounds are done."""

    def __call__(self, rounds: int) -> bool: ...


class AfterSeconds:
    """Stops when this many seconds have gone by since it was made.

    `clock` says what a second is: that of the wall's clock, or, for a benchmark on a machine that others use
    too, of the process's.
    """

    clock: Callable[[], float] = staticmethod(time.monotonic)

    def __init__(self, seconds: float) -> None:
        if not seconds >= 0.0:
            raise ValueError("seconds can't be negative")
        self._end = self.clock() + seconds

    @property
    def left(self) -> float:
        """Seconds that are left, 0 when it is over."""
        return max(self._end - self.clock(), 0.0)

    def extend(self, seconds: float) -> None:
        """Gives so many seconds more, for time that was lost and not searched in."""
        self._end += seconds

    def __call__(self, rounds: int) -> bool:
        return self.clock() >= self._end


class AfterRounds:
    """Stops after a number of rounds."""

    def __init__(self, rounds: int) -> None:
        if rounds < 1:
            raise ValueError("a search needs at least one round")
        self._rounds = rounds

    def __call__(self, rounds: int) -> bool:
        return rounds >= self._rounds


class WhenAsked:
    """Stops when a callable says so, for example after Ctrl-C."""

    def __init__(self, asked: Callable[[], bool]) -> None:
        self._asked = asked

    def __call__(self, rounds: int) -> bool:
        return self._asked()


class AnyOf:
    """Stops when any of several rules does."""

    def __init__(self, *rules: Stop) -> None:
        self._rules = rules

    def __call__(self, rounds: int) -> bool:
        return any(rule(rounds) for rule in self._rules)


def a_share_of(rule: Stop, share: float) -> Stop:
    """A rule that leaves some of a clock's time to others; one that counts rounds is left as it is."""
    return AfterSeconds(share * rule.left) if isinstance(rule, AfterSeconds) else rule


def within(rule: Stop, clocked: Stop, seconds: float) -> Stop:
    """The rule, and so many seconds at most where ``clocked`` goes by the clock."""
    return AnyOf(rule, AfterSeconds(seconds)) if isinstance(clocked, AfterSeconds) else rule
