"""A piece's edge from a drawing of it."""

from __future__ import annotations

from pathlib import Path as FilePath

from nestkit.drawings import part_shape, read_drawing
from nestkit.errors import Finding
from nestkit.geometry import Outline


def drawn_edge(text: str) -> tuple[Outline, tuple[Finding, ...]]:
    """The edge that ``file.svg#id`` names, true to size, and what was noticed about the drawing.

    Parameters
    ----------
    text : str
        A drawing, and behind '#' the id or layer of one closed outline; without it the whole drawing is
        one. Closed outlines inside it are its holes; lines that are not cut do not count.

    Raises
    ------
    DrawingError
        When there is no such drawing or outline, or more than one.
    """
    name, _, wanted = text.partition("#")
    drawing = read_drawing(FilePath(name), name)
    shape, findings = part_shape(drawing, wanted or None)
    return shape.outline, (*drawing.findings, *findings)
