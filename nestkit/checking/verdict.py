"""What the check found: faults with stable codes, and the verdict on a whole folder."""

from __future__ import annotations

import math
from dataclasses import dataclass

from nestkit.errors import LONGEST_NAME, Point, printable
from nestkit.units import Unit, show_gap, show_place

#: Every fault's code and what it means. Scripts may rely on the codes.
CODES: dict[str, str] = {
    # files
    "missing-file": "a file that nestkit plan always writes is not there",
    "stray-file": "a cutter file lies in jobs/ that plan.json doesn't name",
    "unreadable": "a file can't be read",
    "svg": "an SVG file has another size or other paths than its DXF, or draws more",
    # the file's head and its entities
    "version": "the DXF is not of the version that the cutter reads",
    "unit": "the DXF does not say that its unit is the millimetre",
    "measurement": "the DXF does not say that it is metric",
    "layer": "a layer is unknown, or missing in the file's list of layers",
    "wrong-layer": "a path lies on the layer of something else",
    "hidden": "a layer or an entity is switched off",
    "type": "an entity is no polyline",
    "width": "a path is drawn with a width",
    "paper-space": "something lies in paper space",
    "tilted": "an entity does not lie in the plane of the sheet",
    "not-finite": "coordinates are no place on a sheet",
    "open": "a path that must be closed is open",
    "crossing": "a path crosses or touches itself",
    "no-area": "a path encloses nothing or has no length",
    "no-name": "a path does not say whose it is",
    "unknown-part": "a part that is not in the part list",
    "unknown-copy": "a copy number that the part list does not have",
    "templates": "templates.pdf is not the one that the plan speaks of",
    # sheets
    "sheet-edge": "the blank's edge is missing or not as planned",
    "bed": "the blank is larger than the cutter's bed",
    "blanks": "blanks overlap on the sheet they are cut from, or blanks.csv does not lead to them",
    "outside": "a cut leaves the blank",
    "margin": "a part lies in the margin",
    "overlap": "two parts overlap",
    "too-close": "two parts are closer than the gap",
    "burnt": "two parts are closer than the kerf",
    # copies
    "missing": "a copy is nowhere cut",
    "doubled": "a copy or a path is there more than once",
    "wrong-sheet": "a copy lies on another sheet than planned",
    "wrong-material": "a part lies on a sheet of another material or thickness",
    "left-out": "the plan leaves a copy out",
    "left-out-cut": "a copy is cut that the plan leaves out",
    # shapes
    "scale": "everything is too large or too small by one factor",
    "kerf": "the kerf is missing or on the wrong side",
    "size": "a part has the wrong size",
    "moved": "a part lies elsewhere than planned",
    "turned": "a part is turned otherwise than planned",
    "mirrored": "a part is mirrored where it must not be, or the other way round",
    "shape": "a part has another shape than planned",
    "area": "a part has another area than the part list says",
    "detail-lost": "a slit or a narrow place of a hole is narrower than the kerf and is not cut",
    "kerf-hole": "a hole is narrower than the kerf and is not cut",
    "hole-missing": "a hole is missing",
    "hole-extra": "a hole is too many",
    "hole-elsewhere": "a hole does not lie in the part it belongs to",
    "hole-wrong": "a hole has another place or shape than planned",
    "mark-missing": "a mark is missing",
    "mark-outside": "a mark, label or pocket leaves its part",
    "tabs": "holding tabs are missing, too many, or not as planned",
    # labels
    "label-missing": "what should be written on a copy is not there",
    "label-wrong": "a copy carries another number than its own, or something that the plan does not have",
    "label-place": "a label is too near an edge, a mark or what is etched",
    # folds
    "pocket-nesting": "an etched pass does not lie inside the one before",
    "pocket-twice": "a place is etched twice in one pass",
    "pocket-missing": "a fold or bevel is not etched, or not marked",
    "pocket-wrong": "a fold or bevel is etched where the plan has none, or as wrong an area",
    "pocket-open": "an area to etch is open",
    "pass": "a file's passes are not those of the plan",
    "skin": "grooves leave too little foam uncut",
    "groove": "the passes of a groove do not make its angle",
    # order
    "order-sheet": "the blank's edge is not the first entity",
    "order-mark": "a mark, label or pocket comes after a cut of its part",
    "order-pocket": "the passes of a pocket are not in order",
    "order-hole": "a hole comes after the outline around it",
    "order-nested": "a part in a hole comes after the hole",
    # plan.json in itself
    "plan-outline": "an outline in plan.json is unusable or does not fit the part list",
    "plan-count": "a number of parts or sheets in plan.json does not add up",
    "plan-bound": "fewer sheets are used than are certainly needed, or a proof is none",
    "plan-share": "fill or waste in plan.json does not add up",
    "plan-leftover": "a leftover in plan.json is not foam that stays, or its share does not add up",
    "plan-piece": "a piece of the shop is used as two different sheets",
    "plan-length": "a cut length in plan.json is not that of the DXF",
}

#: What to do when a file is not what nestkit wrote.
REWRITE = "Write the plan again with nestkit plan, or take back what was changed by hand"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with what was written.

    Parameters
    ----------
    code : str
        One of `CODES`.
    file : str
        Relative to the folder, for example ``jobs/job-01-eva-6mm.dxf``.
    part : str
        Whose fault it is; empty when it is the file's or the sheet's.
    copy : int, optional
        Which copy of the part, counting from 1.
    at : (float, float), mm, optional
        Where, in the sheet's coordinates.
    text, todo : str
        What is wrong and what to do about it, each without a full stop at the end.
    unit : {"mm", "in"}
        In which the place is told.

    Raises
    ------
    ValueError
        When the code is not one of `CODES`.
    """

    code: str
    file: str
    part: str = ""
    copy: int | None = None
    at: Point | None = None
    text: str = ""
    todo: str = REWRITE
    unit: Unit = "mm"

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"no such fault code: {self.code}")

    def __str__(self) -> str:
        whose = f"'{printable(self.part, LONGEST_NAME)}'" if self.part else ""
        if whose and self.copy is not None:
            whose += f" copy {self.copy}"
        place = "" if self.at is None else f"at {show_place(self.at, self.unit)}"
        where = ", ".join(name for name in (printable(self.file), whose, place) if name)
        tail = f" {self.todo}." if self.todo else ""
        return f"{where}: {printable(self.text) or CODES[self.code]}.{tail}"


def from_place(shift: Point, unit: Unit) -> str:
    """How far something lies from where it should: ``0.50 mm from its planned place (+0.30, -0.40)``."""
    sizes = [(by, show_gap(abs(by), unit).removesuffix(f" {unit}")) for by in shift]
    dx, dy = (f"{'-' if by < 0.0 and float(size) else '+'}{size}" for by, size in sizes)
    return f"{show_gap(math.hypot(*shift), unit)} from its planned place ({dx}, {dy})"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement on a folder that ``nestkit plan`` wrote.

    Parameters
    ----------
    faults : tuple of Fault
        Sheet by sheet, then what concerns the whole plan; empty when all is right.
    files : int
        DXF files read.
    copies : int
        Copies whose outline was found in them.
    cuts : int
        Closed cuts (outlines and holes) found in them.
    """

    faults: tuple[Fault, ...]
    files: int
    copies: int
    cuts: int

    @property
    def ok(self) -> bool:
        """True when nothing is wrong and nothing is left out."""
        return not self.faults

    @property
    def codes(self) -> frozenset[str]:
        """Codes of all faults."""
        return frozenset(fault.code for fault in self.faults)

    def __str__(self) -> str:
        seen = f"{_count(self.files, 'file')}, {_count(self.copies, 'copy', 'copies')}, " + _count(
            self.cuts, "cut"
        )
        if self.ok:
            return f"All is right: {seen}."
        head = f"{_count(len(self.faults), 'fault')} in {seen}:"
        return "\n".join([head, *(f"- {fault}" for fault in self.faults)])


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
