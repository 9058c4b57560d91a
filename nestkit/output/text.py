"""Text that came from the maker, made fit for a file."""

from __future__ import annotations

import re

# XML 1.0 allows none of these, a line break ends a value in DXF, and a lone surrogate has no UTF-8 form.
_UNFIT = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")


def plain(text: str) -> str:
    """``text`` with control characters and other unprintable code points replaced by spaces."""
    return _UNFIT.sub(" ", text)


def number(value: float, digits: int) -> float:
    """``value`` rounded, and never minus zero."""
    return round(value, digits) + 0.0


def show_number(value: float, digits: int) -> str:
    """``value`` rounded and written without needless zeros: ``12.5``, ``0``."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
