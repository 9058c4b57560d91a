"""Edge strip: the trim that runs round the edge of an outline or a stack, or lines an opening in it.

Round an outline the strip's inside lies on it. At a corner it folds about the bottom of a groove, a groove's
depth D off the outline: either side of the fold it is D tan(a/2) longer than the outline. In a hollow corner
it bends about the bottom of a slit that opens, as deep and on the same face, and is shorter by as much.
A curve is a plain bend whose neutral fibre keeps its length.

In an opening the strip's outside lies on the edge, and its grooves are on the face that is seen there: it
folds a skin's thickness off the edge, and is shorter at corners and longer where the opening is hollow.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.geometry.arcs import arc_angle, arc_centre
from nestkit.patterns.hollows import too_narrow
from nestkit.patterns.model import (
    Foam,
    Joint,
    Laid,
    Measure,
    Pattern,
    Piece,
    Spot,
    need,
    need_above_zero,
    straight,
    tick,
)
from nestkit.words import counted

#: A corner sharper than this is a spike that no strip goes round, radians.
SHARPEST = math.radians(160.0)
#: Straight pieces shorter than this between two slight turns belong to a curve, mm.
_OF_A_CURVE = 15.0

Hollow = Literal["crease", "split"]
Sides = Literal["top", "bottom", "left", "right"]


@dataclass(frozen=True, slots=True)
class _Run:
    """A stretch of the outline without a corner: its row x0, y0, x1, y1, bulge."""

    row: tuple[float, float, float, float, float]

    @property
    def angle(self) -> float:
        return arc_angle(self.row[4])

    @property
    def length(self) -> float:
        x0, y0, x1, y1, bulge = self.row
        chord = math.hypot(x1 - x0, y1 - y0)
        return chord * (1.0 + bulge * bulge) / (4.0 * bulge) * self.angle if bulge else chord

    @property
    def directions(self) -> tuple[float, float]:
        """Headings at its start and end, radians."""
        x0, y0, x1, y1, _ = self.row
        chord = math.atan2(y1 - y0, x1 - x0)
        return chord - self.angle / 2.0, chord + self.angle / 2.0

    def split(self, part: float) -> tuple[_Run, _Run]:
        """The two stretches before and after a part of its length."""
        x0, y0, x1, y1, bulge = self.row
        if not bulge:
            x, y = x0 + (x1 - x0) * part, y0 + (y1 - y0) * part
            return _Run((x0, y0, x, y, 0.0)), _Run((x, y, x1, y1, 0.0))
        cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
        turn = math.atan2(y0 - cy, x0 - cx) + self.angle * part
        x, y = cx + radius * math.cos(turn), cy + radius * math.sin(turn)
        return (
            _Run((x0, y0, x, y, math.tan(math.atan(bulge) * part))),
            _Run((x, y, x1, y1, math.tan(math.atan(bulge) * (1.0 - part)))),
        )


@dataclass(frozen=True, eq=False)
class EdgeStrip:
    """A strip round the outer edge of an outline, or round the inside of an opening.

    Parameters
    ----------
    foam : Foam
    outline : Path
        Closed: what the strip lies on.
    width : float, mm
        Of the strip; the height of what it trims.
    hollow : "crease" or "split"
        What is done at concave corners: a slit from the inside, by hand, or two mitred ends.
    start : "top", "bottom", "left", "right" or (float, float), optional
        Where the seam lies: the middle of that side, or the nearest point of the outline (mm); left out, the
        middle of the longest straight stretch.
    corner : float, radians
        Turns sharper than this are corners; gentler ones belong to a curve.
    inner : bool
        Whether the outline is that of an opening, which the strip lines.

    Raises
    ------
    PatternError
        When no strip of this foam goes round the outline.
    """

    foam: Foam
    outline: Path
    width: float
    hollow: Hollow = "crease"
    start: Sides | Spot | None = None
    corner: float = math.radians(20.0)
    inner: bool = False
    _made: tuple[tuple[_Run, ...], tuple[Joint, ...], Joint] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        need_above_zero("width", self.width)
        need("around", self.outline.closed, "is not a closed outline")
        need("corner", 0.0 < self.corner < math.pi / 2.0, "is not between 0 and 90 degrees")
        need(
            "width",
            self.foam.longest(self.width) > 0.0,
            f"no sheet or bed is {self.foam.told(self.width)} wide",
            "Make the strip narrower",
        )
        object.__setattr__(self, "_made", self._measured())

    def _measured(self) -> tuple[tuple[_Run, ...], tuple[Joint, ...], Joint]:
        """The runs from the seam on, the joints between them, and the seam."""
        path = self.outline if self.outline.signed_area > 0.0 else self.outline.reversed()
        rows = [tuple(float(v) for v in row) for row in path.pieces()]
        runs = [_Run(row) for row in rows if math.hypot(row[2] - row[0], row[3] - row[1]) > 1e-6]  # type: ignore[arg-type]
        runs = self._from_seam(runs)
        seam = self._joint(runs[-1], runs[0], 0.0)
        if seam.kind == "crease":
            # Two ends can't be creased: they meet as they do where the strip is split.
            seam = Joint(0.0, seam.angle, self._mitred(seam.angle), "split")
        narrow = too_narrow(path, self.foam.thickness, self.inner)
        at = seam.reach
        joints: list[Joint] = []
        for k, run in enumerate(runs):
            at += self._flat(run)
            after = self._joint(run, runs[k + 1], at) if k < len(runs) - 1 else seam
            before = joints[-1] if joints else seam
            need(
                "around",
                min(self._far(run, before, after), self._flat(run) + before.reach + after.reach) > 0.0,
                *self._narrow(run.row[:2]),
            )
            at += after.reach
            if k < len(runs) - 1:
                joints.append(Joint(at, after.angle, after.reach, after.kind))
                at += after.reach
        need("around", narrow is None, *self._narrow(narrow or (0.0, 0.0)))
        return tuple(runs), tuple(joints), Joint(at, seam.angle, seam.reach, seam.kind)

    @property
    def _off(self) -> float:
        """How far outside the outline the strip's other face lies, mm."""
        return -self.foam.thickness if self.inner else self.foam.thickness

    def _hinge(self) -> float:
        """How far outside the outline the strip folds, mm."""
        return -self.foam.skin if self.inner else self.foam.depth

    def _fibre(self, turn: float) -> float:
        """How far outside the outline the neutral fibre of a bend by ``turn`` lies, mm."""
        # It is told from the inside of the bend, which is the outline's side where both lie on one side.
        near = (turn < 0.0) == self.inner
        return self._off * (self.foam.neutral if near else 1.0 - self.foam.neutral)

    def _mitred(self, turn: float) -> float:
        """What a hollow corner of two mitred ends adds to each: up to the face that reaches farther, mm."""
        return max(0.0, self._off * math.tan(turn / 2.0))

    def _far(self, run: _Run, before: Joint, after: Joint) -> float:
        """Length of a run on the strip's other face: below 0 where its neighbours fill it."""
        corners = sum(math.tan(joint.angle / 2.0) for joint in (before, after))
        return run.length + self._off * (run.angle + corners)

    def _narrow(self, spot: Spot) -> tuple[str, str]:
        what, thick = "opening" if self.inner else "hollow", self.foam.told(self.foam.thickness)
        return (
            f"the {what} {self.foam.told_place(spot)} is too narrow: {thick} of foam has to lie on all of "
            "its sides",
            f"Take thinner foam or widen the {what}; splitting the strip makes no room",
        )

    def _flat(self, run: _Run) -> float:
        """Length of the strip along a run: of its neutral fibre."""
        if self._off * run.angle < 0.0:
            radius = run.length / abs(run.angle)
            need(
                "around",
                radius > self.foam.thickness,
                f"the {'opening' if self.inner else 'hollow'}'s curve {self.foam.told_place(run.row[:2])} "
                f"has a radius of {self.foam.told(radius, 3)}, less than the foam's "
                f"{self.foam.told(self.foam.thickness)}",
                "Take thinner foam or a rounder curve",
            )
        return run.length + self._fibre(run.angle) * run.angle

    def _joint(self, before: _Run, after: _Run, at: float) -> Joint:
        turn = after.directions[0] - before.directions[1]
        turn = (turn + math.pi) % math.tau - math.pi
        if abs(turn) <= self.corner:
            return Joint(at, turn, self._fibre(turn) * turn / 2.0, "bend")
        degrees, most = math.degrees(abs(turn)), math.degrees(SHARPEST)
        need(
            "around",
            degrees <= most,
            f"the outline has a spike {self.foam.told_place(after.row[:2])}: it turns by {degrees:.0f} "
            f"degrees, and no strip folds by more than {most:.0f}",
            "Blunt the spike in the drawing",
        )
        reach = self._hinge() * math.tan(turn / 2.0)
        if turn > 0.0:
            return Joint(at, turn, reach, "fold")
        if self.hollow == "crease":
            return Joint(at, turn, reach, "crease")
        return Joint(at, turn, self._mitred(turn), "split")

    def _from_seam(self, runs: list[_Run]) -> list[_Run]:
        """The runs turned round, and one of them split, so that the first begins at the seam."""
        if self.start is None:
            straights = [k for k, run in enumerate(runs) if not run.angle]
            index = max(straights or range(len(runs)), key=lambda k: runs[k].length)
            part = 0.5
        else:
            spot = self._side(self.start) if isinstance(self.start, str) else self.start
            index, part = min(
                ((k, *_nearest(run, spot)) for k, run in enumerate(runs)), key=lambda found: found[2]
            )[:2]
        if part * runs[index].length < self._kept_free(self._between(runs, index)):
            part = 0.0
        elif (1.0 - part) * runs[index].length < self._kept_free(self._between(runs, index + 1)):
            index, part = (index + 1) % len(runs), 0.0
        if part < 1e-9 or part > 1.0 - 1e-9:
            index = (index + 1) % len(runs) if part > 0.5 else index
            return runs[index:] + runs[:index]
        before, after = runs[index].split(part)
        return [after, *runs[index + 1 :], *runs[:index], before]

    def _between(self, runs: Sequence[_Run], index: int) -> Joint:
        return self._joint(runs[index - 1], runs[index % len(runs)], 0.0)

    def _kept_free(self, joint: Joint) -> float:
        """How near to a corner two ends of the strip may meet, mm: beyond its groove's mouth or its mitre."""
        if joint.kind == "bend":
            return 0.0
        return self.foam.thickness * (2.0 + math.tan(abs(joint.angle) / 2.0))

    def _side(self, side: Sides) -> Spot:
        x0, y0, x1, y1 = self.outline.bounds
        x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
        return {"top": (x, y1), "bottom": (x, y0), "left": (x0, y), "right": (x1, y)}[side]

    def develop(self) -> Pattern:
        """The flat pattern: one strip, or ``strip-1``, ``strip-2``, ... in their order round the outline."""
        runs, joints, seam = self._made
        breaks = self._breaks(joints, seam.at)
        ends = [0.0, *(at for at, _ in breaks), seam.at]
        marks = _curve_ends(runs, joints)
        pieces = []
        for k, (begin, end) in enumerate(itertools.pairwise(ends)):
            suffix = f"strip-{k + 1}" if len(ends) > 2 else ""
            pieces.append(Piece(suffix, self._strip(begin, end, joints, seam, marks)))
        outline = _path_of(runs)
        bends = tuple(run.angle for run in runs)
        laid = Laid(tuple(range(len(pieces))), joints, bends, tuple(map(self._fibre, bends)), seam, outline)
        finished = (
            Measure("edge that it covers", float(outline.length)),
            Measure("width", self.width),
            Measure("flat length in all", seam.at),
        )
        return Pattern(
            "edge_strip", tuple(pieces), finished, (laid,), tuple(self._notes(joints, seam, breaks))
        )

    def _breaks(self, joints: Sequence[Joint], total: float) -> list[tuple[float, bool]]:
        """Where the strip is parted, and whether a corner asks for it (True) or its length (False)."""
        longest = self.foam.longest(self.width)
        asked = [joint.at for joint in joints if joint.kind == "split"]
        found: list[tuple[float, bool]] = []
        for begin, end in zip([0.0, *asked], [*asked, total], strict=True):
            at = begin
            while end - at > longest + 1e-6:
                strips = math.ceil((end - at) / longest - 1e-9)
                at = self._join(at, at + (end - at) / strips, at + longest, joints)
                found.append((at, False))
            if end < total:
                found.append((end, True))
        return found

    def _join(self, last: float, wanted: float, most: float, joints: Sequence[Joint]) -> float:
        """A place for a join near the wanted one, away from corners, after ``last`` and up to ``most``."""
        keep = [
            (joint.at - self._kept_free(joint), joint.at + self._kept_free(joint))
            for joint in joints
            if joint.kind != "bend"
        ]
        places = [wanted, most, *(edge for pair in keep for edge in pair)]
        free = [
            at
            for at in places
            if last + 2.0 * self.foam.thickness < at <= most
            and not any(a + 1e-9 < at < b - 1e-9 for a, b in keep)
        ]
        need(
            "width",
            bool(free),
            f"its corners leave no place to join strips that are {self.foam.told(most - last)} long at most",
            "Take a larger sheet or thinner foam",
        )
        return min(free, key=lambda at: abs(at - wanted))

    def _strip(
        self, begin: float, end: float, joints: Sequence[Joint], seam: Joint, marks: Sequence[float]
    ) -> Shape:
        length, width = end - begin, self.width
        lines: list[Line] = []
        for joint in joints:
            at = joint.at - begin
            if joint.kind in ("fold", "crease") and 0.0 < at < length:
                kind = LineKind.FOLD if joint.kind == "fold" else LineKind.MARK
                angle = joint.angle if joint.kind == "fold" else 0.0
                lines.append(straight(kind, (at, 0.0), (at, width), angle))
        if seam.kind == "fold":
            for at in [x for x, here in ((0.0, begin == 0.0), (length, end == seam.at)) if here]:
                lines.append(straight(LineKind.BEVEL, (at, 0.0), (at, width), seam.angle / 2.0))
        size = min(6.0, width / 4.0, length / 4.0)
        for place in marks:
            if begin + 1.0 < place < end - 1.0:
                lines.append(tick((place - begin, 0.0), (0.0, 1.0), size))
        # The two ends of a join carry the same notches: one on the strip that ends, one on the next.
        for at, inward in ((0.0, 1.0), (length, -1.0)):
            lines.append(tick((at, width / 3.0), (inward, 0.0), size))
        return Shape(Outline(Path.rectangle(length, width)), tuple(lines))

    def _notes(self, joints: Sequence[Joint], seam: Joint, breaks: Sequence[tuple[float, bool]]) -> list[str]:
        notes = []
        joins = sum(not asked for _, asked in breaks)
        if joins:
            notes.append(f"{counted(joins, 'joint')} of strips away from corners: glue the ends together")
        split = [joint for joint in (*joints, seam) if joint.kind == "split"]
        if split:
            degrees = ", ".join(sorted({f"{-math.degrees(joint.angle) / 2.0:.1f}" for joint in split}))
            notes.append(f"at split corners thin both ends by {degrees} degrees on their outside by hand")
        if any(joint.kind == "crease" for joint in joints):
            notes.append(
                "full-width marks without a groove are hollow corners: slit the strip there from its inside, "
                f"the marked face, {self.foam.told(self.foam.depth)} deep, and bend it away from the slit, "
                f"which opens round the corner; the {self.foam.told(self.foam.skin)} of skin left outside "
                "are the hinge"
            )
        return notes


def _nearest(run: _Run, spot: Spot) -> tuple[float, float]:
    """Part of the run's length where it is nearest to a point, and how far off that is."""
    x0, y0, x1, y1, bulge = run.row
    if bulge:
        cx, cy, _ = arc_centre(x0, y0, x1, y1, bulge)
        start = math.atan2(y0 - cy, x0 - cx)
        ahead = (math.copysign(1.0, bulge) * (math.atan2(spot[1] - cy, spot[0] - cx) - start)) % math.tau
        sweep = abs(run.angle)
        part = ahead / sweep if ahead <= sweep else (0.0 if math.tau - ahead < ahead - sweep else 1.0)
    else:
        dx, dy = x1 - x0, y1 - y0
        part = ((spot[0] - x0) * dx + (spot[1] - y0) * dy) / (dx * dx + dy * dy)
        part = min(1.0, max(0.0, part))
    row = run.split(part)[0].row if 0.0 < part < 1.0 else (0.0, 0.0, *((x0, y0) if part <= 0.0 else (x1, y1)))
    return part, math.hypot(row[2] - spot[0], row[3] - spot[1])


def _curve_ends(runs: Sequence[_Run], joints: Sequence[Joint]) -> list[float]:
    """Where a curve begins or ends, along the strip."""

    def curved(k: int) -> bool:
        around = [joints[j].kind == "bend" for j in (k - 1, k) if 0 <= j < len(joints)]
        return bool(runs[k].angle) or (all(around) and runs[k].length < _OF_A_CURVE)

    return [joint.at for k, joint in enumerate(joints) if joint.kind == "bend" and curved(k) != curved(k + 1)]


def _path_of(runs: Sequence[_Run]) -> Path:
    rows = []
    for run in runs:
        _x0, _y0, _x1, _y1, bulge = run.row
        halves = run.split(0.5) if abs(bulge) > 1.0 else (run,)
        rows += [(half.row[0], half.row[1], half.row[4]) for half in halves]
    return Path(np.array(rows), True)
