"""A job: what one cutter file holds, in the order it is cut."""

from __future__ import annotations

from collections import Counter
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


def is_pocket_layer(name: str) -> bool:
    """Whether a layer is that of an etching pass."""
    prefix = pocket_layer(0).rstrip("0")
    return name.startswith(prefix) and name.removeprefix(prefix).isdecimal()


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

    @property
    def is_run(self) -> bool:
        """Whether it is what is cut of an outline between two holding tabs."""
        return self.layer == CUT_OUTSIDE_LAYER and not self.path.closed


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
        Estimate; see `cutting.times.etching_seconds`.
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


@dataclass(frozen=True, slots=True)
class Times:
    """What a job's estimated time is made of, s; see `cutting.times`."""

    cutting: float = 0.0
    marking: float = 0.0
    travel: float = 0.0
    etching: float = 0.0
    starts: float = 0.0

    @property
    def total(self) -> float:
        """All of it."""
        return self.cutting + self.marking + self.travel + self.etching + self.starts

    def __add__(self, other: Times) -> Times:
        return Times(
            self.cutting + other.cutting,
            self.marking + other.marking,
            self.travel + other.travel,
            self.etching + other.etching,
            self.starts + other.starts,
        )


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
    times : Times
        All zero when it is cut by hand.
    etching : Etching or None
        None when nothing is etched.
    nearest : float, mm
        The travel when the tool always goes to the nearest next.
    least : float, mm
        A travel that no order undercuts; see `cutting.route_bound`.
    """

    name: str
    sheet: PlannedSheet
    strokes: tuple[Stroke, ...]
    travel: float
    times: Times
    etching: Etching | None = None
    nearest: float = 0.0
    least: float = 0.0

    @property
    def seconds(self) -> float:
        """How long it takes, as estimated."""
        return self.times.total

    @cached_property
    def tabs(self) -> dict[tuple[str, int], int]:
        """How many holding tabs each copy's outline has, where there are any: one after each run."""
        return dict(Counter((s.part, s.copy) for s in self.strokes if s.is_run))

    @cached_property
    def cut_length(self) -> float:
        """Length of all cuts through the foam, mm."""
        return sum(s.path.length for s in self.strokes if s.kind is LineKind.CUT)
