"""What a drawing holds once it is read, before lines are joined into outlines."""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.errors import Finding
from nestkit.geometry import Path


@dataclass(frozen=True, eq=False)
class DrawnPath:
    """One path of a drawing, in millimetres with y upward.

    Parameters
    ----------
    path : Path
    layer : str
        Name of the innermost layer that holds it; empty when there is none.
    id : str
        Its own id (SVG) or handle (DXF); empty when there is none.
    names : tuple of str
        Every name by which a build file may ask for it, innermost first: its own id, the ids and
        labels of the groups and layers around it, the blocks it was inserted from.
    colour : str
        Stroke colour as ``#rrggbb`` in lower case; empty when there is none.
    copied : int
        So many of `names`, the innermost ones, are those of an element that this is only a copy of (SVG
        ``use``): whoever asks for that element by name does not mean its copies.
    """

    path: Path
    layer: str = ""
    id: str = ""
    names: tuple[str, ...] = ()
    colour: str = ""
    copied: int = 0


@dataclass(frozen=True, slots=True)
class Hidden:
    """A layer, group or line that is switched off in a drawing.

    Parameters
    ----------
    subject : str
        What a message calls it: ``layer 'fold 60'``.
    lines : int
        How many lines would be drawn if it were shown.
    names : tuple of str
        Its own names and those of the groups around it, innermost first.
    """

    subject: str
    lines: int
    names: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Drawing:
    """A drawing that was read.

    Parameters
    ----------
    file : str
        The file's name as the build file wrote it, for messages.
    paths : tuple of DrawnPath
        In the drawing's order.
    findings : tuple of Finding
        What was noticed while reading: mended or left out.
    unit_known : bool
        False when the drawing does not say how long its unit is, and one had to be assumed.
    hidden : tuple of Hidden
        What is switched off in the drawing, and so is not among the paths.
    """

    file: str
    paths: tuple[DrawnPath, ...]
    findings: tuple[Finding, ...] = ()
    unit_known: bool = True
    hidden: tuple[Hidden, ...] = ()
