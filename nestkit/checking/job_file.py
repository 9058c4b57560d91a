"""One cutter file, read back with ezdxf: its strokes in cut order, and what is wrong with each."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import shapely
from ezdxf.lldxf.encoding import decode_dxf_unicode
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.checking.bulges import flatten
from nestkit.checking.limits import FARTHEST, LARGEST_FILE
from nestkit.checking.verdict import REWRITE, Fault
from nestkit.errors import Point
from nestkit.units import Unit

# What ezdxf notes about a damaged file would else land on the maker's terminal; the faults say enough.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

APPID = "NESTKIT"
SHEET = "SHEET"
LABEL = "LABEL"
MARK = "MARK"
CUT_INSIDE = "CUT_INSIDE"
CUT_OUTSIDE = "CUT_OUTSIDE"
POCKET = re.compile(r"POCKET_(\d\d)")

#: Versions of DXF that nestkit writes, by what they call themselves.
VERSIONS = {"AC1024": "R2010", "AC1009": "R12"}
MILLIMETRES = 4
METRIC = 1
#: Flags of a POLYLINE: closed, and that linetypes run through.
ONLY_CLOSED = 1 | 128


@dataclass(frozen=True, eq=False)
class Stroke:
    """One path of a cutter file.

    Parameters
    ----------
    place : int
        Its place among the file's entities, which is the cut order.
    layer : str
    part, copy : str, int
        Whose it is; empty and 0 for the blank's edge and for a path that does not say.
    closed : bool
    points : (n, 2) float, mm
        Arcs flattened; a closed path does not repeat its first point.
    curved : bool
        Whether there were arcs.
    """

    place: int
    layer: str
    part: str
    copy: int
    closed: bool
    points: NDArray[np.float64]
    curved: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """Part name and copy number."""
        return self.part, self.copy

    @property
    def is_cut(self) -> bool:
        """Whether it goes through the foam."""
        return self.layer in (CUT_INSIDE, CUT_OUTSIDE)

    @property
    def at(self) -> Point:
        """Its first point."""
        return float(self.points[0, 0]), float(self.points[0, 1])

    @cached_property
    def line(self) -> BaseGeometry:
        """The path as a line."""
        return LineString(np.vstack((self.points, self.points[:1])) if self.closed else self.points)

    @cached_property
    def region(self) -> BaseGeometry:
        """What the path encloses; meant for closed ones."""
        return Polygon(self.points)


@dataclass(frozen=True, eq=False)
class JobFile:
    """What one cutter file holds.

    Parameters
    ----------
    name : str
        Relative to the folder.
    readable : bool
        False when nothing could be read; then there is one fault that says why.
    strokes : tuple of Stroke
        The usable ones, in cut order.
    spoilt : frozenset of (str, int)
        Copies with a path that could not be used; it has its fault, so that nobody needs to be told
        a second time that it is missing.
    faults : tuple of Fault
    depths : dict of str to float, mm
        For each pass's layer how deep it says that the foam is after it.
    thickness, skin : float or None, mm
        What the file says of the foam.
    pitch : float or None, mm
        How far apart its lines are; None when areas are etched.
    version : str
        R2010 or R12; empty when it is neither.
    unit : {"mm", "in"}
        In which its faults are told; the file itself is in millimetres.
    """

    name: str
    readable: bool
    strokes: tuple[Stroke, ...] = ()
    spoilt: frozenset[tuple[str, int]] = frozenset()
    faults: tuple[Fault, ...] = ()
    depths: dict[str, float] = field(default_factory=dict)
    thickness: float | None = None
    skin: float | None = None
    pitch: float | None = None
    version: str = ""
    unit: Unit = "mm"


def read_job(folder: Path, name: str, tabbed: frozenset[str] = frozenset(), unit: Unit = "mm") -> JobFile:
    """Read one cutter file; whatever its bytes are, this raises nothing but gives a fault."""
    path = folder / name
    try:
        if not path.is_file():
            return _unreadable(name, "missing-file", "plan.json names this file, and it is not there")
        if path.stat().st_size > LARGEST_FILE:
            return _unreadable(name, "unreadable", "the file is too large to be a cutter file")
        document = ezdxf.readfile(path)
        reading = _Reading(name, tabbed)
        reading.layers(document)
        reading.head(document)
        for place, entity in enumerate(document.modelspace()):
            reading.entity(place, entity)
        reading.paper_space(document)
    # Damaged bytes make ezdxf raise nearly anything, from struct.error to RecursionError.
    except Exception as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "it is damaged"
        return _unreadable(name, "unreadable", f"the file can't be read as DXF ({reason})")
    return JobFile(
        name,
        True,
        tuple(reading.strokes),
        frozenset(reading.spoilt),
        tuple(reading.faults),
        reading.depths,
        reading.foam.get("thickness"),
        reading.foam.get("skin"),
        reading.foam.get("pitch"),
        reading.version,
        unit,
    )


def _unreadable(name: str, code: str, text: str) -> JobFile:
    return JobFile(name, False, faults=(Fault(code, name, text=text, todo=REWRITE),))


@dataclass(eq=False)
class _Reading:
    """Strokes and faults of one file, gathered entity by entity."""

    name: str
    tabbed: frozenset[str] = frozenset()
    strokes: list[Stroke] = field(default_factory=list)
    spoilt: set[tuple[str, int]] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)
    depths: dict[str, float] = field(default_factory=dict)
    foam: dict[str, float] = field(default_factory=dict)
    version: str = ""
    _listed: set[str] = field(default_factory=set)
    _unlisted: set[str] = field(default_factory=set)
    _strange: set[tuple[str, str, int]] = field(default_factory=set)

    def head(self, document: Any) -> None:
        """Judge version, unit and measurement; call `layers` first."""
        self.version = VERSIONS.get(document.dxfversion, "")
        if not self.version:
            self._fault("version", f"the file is of version {document.acad_release}, not R2010 or R12")
        if self.version == "R12":
            # R12 knows no variable for the unit: the layer of the blank's edge names it.
            if self.foam.get("insunits") != MILLIMETRES:
                self._fault("unit", f"layer {SHEET} does not say that the file's unit is the millimetre")
            return
        unit = document.header.get("$INSUNITS", 0)
        if unit != MILLIMETRES:
            said = {0: "names no unit", 1: "says inches", 5: "says centimetres"}.get(
                unit, f"says unit {unit}"
            )
            self._fault("unit", f"the file {said}, not millimetres ($INSUNITS is {unit}, not {MILLIMETRES})")
        if document.header.get("$MEASUREMENT", 0) != METRIC:
            self._fault("measurement", "the file does not say that it is metric ($MEASUREMENT is not 1)")

    def layers(self, document: Any) -> None:
        """Read what layers say of depths, and find those that are off: a cutter would leave them out."""
        for layer in document.layers:
            self._listed.add(layer.dxf.name.casefold())
            told = _numbers(layer)
            if POCKET.fullmatch(layer.dxf.name) and "depth" in told:
                self.depths[layer.dxf.name] = told["depth"]
            elif layer.dxf.name == SHEET:
                self.foam = told
            if _is_known(layer.dxf.name) and (layer.is_off() or layer.is_frozen()):
                self._fault("hidden", f"layer {layer.dxf.name} is switched off, so its paths may not be cut")

    def paper_space(self, document: Any) -> None:
        """Find what lies in paper space: some programs cut it, others don't."""
        for layout in document.layouts:
            kinds = [] if layout.is_modelspace else [entity.dxftype() for entity in layout]
            kinds = [kind for kind in kinds if kind != "VIEWPORT"]
            if kinds:
                more = f" and {len(kinds) - 1} more" if len(kinds) > 1 else ""
                text = f"a {kinds[0]}{more} in the paper space '{layout.name[:40]}', where nothing belongs"
                self._fault("paper-space", text)

    def entity(self, place: int, entity: Any) -> None:
        """Judge one entity and keep it when it can be used."""
        layer = str(entity.dxf.layer)
        owner = _owner(entity)
        part, copy = owner or ("", 0)
        if not _is_known(layer):
            if (layer, part, copy) not in self._strange:
                self._fault("layer", f"layer '{layer}' is none that nestkit writes", part, copy)
            self._strange.add((layer, part, copy))
            self._spoil(owner)
            return
        if layer.casefold() not in self._listed and layer not in self._unlisted:
            # Programs that read the layer table alone would leave its paths out.
            self._fault("layer", f"layer {layer} is used, but the file's list of layers does not name it")
            self._unlisted.add(layer)
        rows, widths = self._rows(entity, layer, part, copy)
        if rows is None:
            self._spoil(owner)
            return
        closed = bool(entity.is_closed)
        points = self._points(rows, closed)
        if points is None:
            self._fault("not-finite", f"a path on layer {layer} lies far off any sheet", part, copy)
            self._spoil(owner)
            return
        at = (float(points[0, 0]), float(points[0, 1])) if len(points) else None
        if entity.dxf.get("invisible", 0):
            self._fault("hidden", f"a path on layer {layer} is switched off", part, copy, at)
        if widths:
            text = f"a path on layer {layer} is drawn with a width, which may be cut as two paths"
            self._fault("width", text, part, copy, at)
        normal = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
        if max(abs(normal[0]), abs(normal[1]), abs(normal[2] - 1.0)) > 1e-9:
            self._fault("tilted", f"a path on layer {layer} is drawn on a tilted plane", part, copy, at)
            self._spoil(owner)
            return
        stroke = Stroke(place, layer, part, copy, closed, points, bool(rows[:, 2].any()))
        if self._is_usable(stroke):
            if owner is None and layer != SHEET:
                self._fault("no-name", f"a path on layer {layer} does not say whose it is", at=stroke.at)
            self.strokes.append(stroke)
        else:
            self._spoil(owner)

    def _rows(self, entity: Any, layer: str, part: str, copy: int) -> tuple[NDArray[np.float64] | None, bool]:
        """Rows of x, y, bulge of a polyline of the version's kind, and whether it is drawn with a width."""
        kind, wanted = entity.dxftype(), "POLYLINE" if self.version == "R12" else "LWPOLYLINE"
        if kind != wanted:
            self._fault("type", f"a {kind} on layer {layer}; only {wanted} belongs there", part, copy)
            return None, False
        if kind == "LWPOLYLINE":
            rows = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
            widths = np.array(entity.get_points("se"), dtype=np.float64)
            return rows, bool(entity.dxf.get("const_width", 0.0) != 0.0 or widths.any())
        if not entity.is_2d_polyline or entity.dxf.get("flags", 0) & ~ONLY_CLOSED:
            self._fault("type", f"a POLYLINE on layer {layer} is a surface or a smoothed curve", part, copy)
            return None, False
        ends = [entity, *entity.vertices]
        keys = ("default_start_width", "default_end_width", "start_width", "end_width")
        rows = np.array(
            [(*vertex.dxf.location.vec2, vertex.dxf.get("bulge", 0.0)) for vertex in entity.vertices],
            dtype=np.float64,
        )
        wide = any(one.dxf.get(key, 0.0) for one in ends for key in keys if one.dxf.is_supported(key))
        return rows.reshape(-1, 3), wide

    @staticmethod
    def _points(rows: NDArray[np.float64], closed: bool) -> NDArray[np.float64] | None:
        if not np.isfinite(rows).all() or (len(rows) and np.abs(rows[:, :2]).max() > FARTHEST):
            return None
        points = flatten(rows, closed)
        return points if np.isfinite(points).all() else None

    def _is_usable(self, stroke: Stroke) -> bool:
        whose = (stroke.part, stroke.copy)
        if len(stroke.points) < 2 or np.ptp(stroke.points, axis=0).max() < 1e-6:
            at = stroke.at if len(stroke.points) else None
            self._fault("no-area", f"a path on layer {stroke.layer} has no length", *whose, at)
            return False
        pocket = POCKET.fullmatch(stroke.layer) is not None
        if not (stroke.is_cut or stroke.layer == SHEET or (pocket and stroke.closed)):
            return True
        if not stroke.closed and stroke.layer == CUT_OUTSIDE and stroke.part in self.tabbed:
            return True
        if not stroke.closed:
            self._fault("open", f"a path on layer {stroke.layer} is open, not closed", *whose, stroke.at)
            return False
        return self._is_simple(stroke)

    def _is_simple(self, stroke: Stroke) -> bool:
        whose = (stroke.part, stroke.copy)
        if len(stroke.points) < 3 or abs(stroke.region.area) < 1e-6:
            self._fault("no-area", f"a path on layer {stroke.layer} encloses nothing", *whose, stroke.at)
            return False
        if stroke.region.is_valid:
            return True
        self._fault(
            "crossing",
            f"a path on layer {stroke.layer} crosses or touches itself",
            *whose,
            _crossing_point(stroke.region) or stroke.at,
        )
        return False

    def _spoil(self, owner: tuple[str, int] | None) -> None:
        if owner is not None:
            self.spoilt.add(owner)

    def _fault(self, code: str, text: str, part: str = "", copy: int = 0, at: Point | None = None) -> None:
        self.faults.append(Fault(code, self.name, part, copy or None, at, text))


def _is_known(layer: str) -> bool:
    return layer in (SHEET, LABEL, MARK, CUT_INSIDE, CUT_OUTSIDE) or POCKET.fullmatch(layer) is not None


def _owner(entity: Any) -> tuple[str, int] | None:
    if not entity.has_xdata(APPID):
        return None
    tags = list(entity.get_xdata(APPID))
    # ezdxf leaves characters that R12 writes as codes as they are in extended data.
    names = [decode_dxf_unicode(str(tag.value)) for tag in tags if tag.code == 1000]
    copies = [int(tag.value) for tag in tags if tag.code == 1071]
    return (names[0], copies[0]) if len(names) == 1 and len(copies) == 1 and names[0] else None


def _numbers(layer: Any) -> dict[str, float]:
    """Names and numbers that a layer carries, for example its depth."""
    if not layer.has_xdata(APPID):
        return {}
    tags = list(layer.get_xdata(APPID))
    pairs = pairwise(tags)
    return {
        str(name.value): float(value.value)
        for name, value in pairs
        if name.code == 1000 and value.code == 1040 and np.isfinite(value.value)
    }


def _crossing_point(region: BaseGeometry) -> Point | None:
    numbers = re.search(r"\[(\S+) (\S+)\]", shapely.is_valid_reason(region))
    try:
        return (float(numbers[1]), float(numbers[2])) if numbers else None
    except ValueError:
        return None


def lines_of(strokes: tuple[Stroke, ...]) -> Iterator[Stroke]:
    """Marks, labels and pockets: what is drawn or etched but not cut through."""
    return (stroke for stroke in strokes if not stroke.is_cut and stroke.layer != SHEET)
