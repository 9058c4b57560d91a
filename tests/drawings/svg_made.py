"""Small SVG drawings for tests, written and read in one go."""

from __future__ import annotations

import pathlib
import tempfile

from nestkit.drawings.model import Drawing
from nestkit.drawings.svg import read_svg
from nestkit.geometry import FLATNESS

#: One user unit is one millimetre on this page of 200 by 100 mm.
PAGE = 'width="200mm" height="100mm" viewBox="0 0 200 100"'

HEAD = (
    'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'xmlns:ed="http://editor.invalid/ns"'
)


def svg(body: str, page: str = PAGE) -> str:
    """A whole SVG document around ``body``."""
    return f"<svg {HEAD} {page}>{body}</svg>"


def read_bytes(data: bytes, suffix: str = ".svg", tolerance: float = FLATNESS) -> Drawing:
    """Read a file with these bytes."""
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / f"drawing{suffix}"
        file.write_bytes(data)
        return read_svg(file, tolerance=tolerance)


def read(body: str, page: str = PAGE, tolerance: float = FLATNESS) -> Drawing:
    """Read a drawing whose outermost element holds ``body``."""
    return read_bytes(svg(body, page).encode(), tolerance=tolerance)


def codes(drawing: Drawing) -> list[str]:
    """The codes of its findings, in order."""
    return [finding.code for finding in drawing.findings]
