"""A job: what one cutter file holds, in the order it is cut."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from nestkit.folds.steps import Steps
from nestkit.geometry import LineKind, Path
from nestkit.nesting.model import PlannedSheet

#: Layers that every job may use, in the order they are to run; POCKET_01.. stand between MARK and the cuts.
SHEET_LAYER = "SHEET"
LABEL_LAYER = "LABEL"
MARK_LAYER = "MARK"
CUT_INSIDE_LAYER = "CUT_INSIDE"
CUT_OUTSIDE_LAYER = "CUT_OUTSIDE"


def pocket_layer(number: int) -> str:
    """Layer of etching pass ``number``, counting from 1."""
    return f"POCKET_{number:02d}"


@dataclass(frozen=True, eq=False)
class Stroke:
    """One path that the tool follows, kerf already in.

    Parameters
    ----------
    layer : str
        One of the layer names above.
    path : Path
        Closed or open, in the sheet's coordinates.
    part, copy : str, int
        Whose it is; copies count from 1.
    kind : LineKind
        cut, mark, fold or bevel.
    """

    layer: str
    path: Path
    part: str
    copy: int
    kind: LineKind = LineKind.CUT


@dataclass(frozen=True, eq=False)
class Etching:
    """What a job etches.

    Parameters
    ----------
    steps : Steps
        The passes; pass k is on layer ``pocket_layer(k)``.
    areas : tuple of float, mm^2
        What each pass etches.
    seconds : float
        Estimate: area over speed times pitch, or the lines' length over speed.
    hatched : bool
        True when the job holds lines that fill the areas, in place of the areas.
    pitch : float, mm
        Distance between two etched lines.
    """

    steps: Steps
    areas: tuple[float, ...]
    seconds: float
    hatched: bool
    pitch: float


@dataclass(frozen=True, eq=False)
class Job:
    """One bed load.

    Parameters
    ----------
    name : str
        File name without its ending: ``job-01-eva-6mm``.
    sheet : PlannedSheet
    strokes : tuple of Stroke
        In cut order.
    travel : float, mm
        Way of the tool between strokes, from the sheet's lower left corner on.
    seconds : float
        Estimate: cut, mark and travel lengths over their speeds, and the time of etching.
    etching : Etching or None
        None when nothing is etched.
    nearest : float, mm
        The travel when the tool always goes to the nearest next.
    """

    name: str
    sheet: PlannedSheet
    strokes: tuple[Stroke, ...]
    travel: float
    seconds: float
    etching: Etching | None = None
    nearest: float = 0.0

    @cached_property
    def cut_length(self) -> float:
        """Length of all cuts through the foam, mm."""
        return sum(s.path.length for s in self.strokes if s.kind is LineKind.CUT)
