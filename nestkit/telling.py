"""What a worker says while it works, and whether it is asked to stop; without a listener nobody hears it."""

from __future__ import annotations

from collections.abc import Callable

_listener: Callable[[str], None] | None = None
_asked: Callable[[], bool] | None = None


def listen(listener: Callable[[str], None] | None, asked: Callable[[], bool] | None = None) -> None:
    """Who hears this process's notes from now on, and says whether it is to stop."""
    global _listener, _asked
    _listener, _asked = listener, asked


def tell(note: str) -> None:
    """Says what is being done."""
    if _listener is not None:
        _listener(note)


def is_asked_to_stop() -> bool:
    """Whether what is there so far is wanted at once."""
    return _asked is not None and _asked()
