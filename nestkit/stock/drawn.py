"""A piece's edge from a drawing of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as FilePath

from nestkit.drawings import part_shape, read_drawing
from nestkit.errors import Finding
from nestkit.geometry import Outline
from nestkit.units import Unit


def drawn_edge(text: str, unit: Unit = "mm") -> tuple[Outline, tuple[Finding, ...]]:
    """The edge that ``file.svg#id`` names, true to size, and what was noticed about the drawing.

    Parameters
    ----------
    text : str
        A drawing, and behind '#' the id or layer of one closed outline; without it the whole drawing is
        one. Closed outlines inside it are its holes; lines that are not cut do not count.
    unit : "mm" or "in"
        In which is told what was noticed.

    Raises
    ------
    DrawingError
        When there is no such drawing or outline, or more than one.
    """
    name, _, wanted = text.partition("#")
    drawing = read_drawing(FilePath(name), name)
    shape, findings = part_shape(drawing, wanted or None, unit=unit)
    told = (replace(finding, unit=unit) for finding in drawing.findings)
    return shape.outline, (*told, *findings)
