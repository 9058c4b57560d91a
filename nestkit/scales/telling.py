"""What a worker says while it works; nobody hears it unless somebody listens."""

from __future__ import annotations

from collections.abc import Callable

_listener: Callable[[str], None] | None = None


def listen(listener: Callable[[str], None] | None) -> None:
    """Who hears this process's notes from now on."""
    global _listener  # noqa: PLW0603 - one listener for each worker process
    _listener = listener


def tell(note: str) -> None:
    """Says what is being done."""
    if _listener is not None:
        _listener(note)
