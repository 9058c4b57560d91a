"""From what was measured on a coupon to a cutter's settings for a foam."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from nestkit.folds.coupon import ASKED, THINNEST, FieldKind
from nestkit.folds.fits import Estimate, Fit, Floats, crossing, student, without_outliers
from nestkit.units import Unit, mm_per

#: How well foam can be measured: mm, mm, share of a depth, degrees. Common practice, no source.
GAP_ERROR = 0.05
DEPTH_ERROR = 0.05
DEPTH_SHARE = 0.02
ANGLE_ERROR = 0.5
#: How far a setting may be unsure (half its range) and still be used: mm at least for the kerf, shares of
#: the value, for a skin also of the depth that is left. Beyond, a fold misses its angle by more than foam
#: gives. Common practice, no source.
KERF_REACH = 0.05
KERF_SHARE = 0.25
VALUE_SHARE = 0.2
SKIN_SHARE = 0.5
#: No laser or knife takes away more than this, mm: a reading beyond it has a wrong decimal point or unit.
#: Common practice, no source.
MOST_KERF = 1.5
#: Depth is taken to fall off with passes when that is surer than this.
CURVED = 0.9


@dataclass(frozen=True)
class Reading:
    """A field as it was measured.

    Parameters
    ----------
    field : str
        Its name.
    kind : str
        As `coupon.Field.kind`.
    setting : float
        As `coupon.Field.value`.
    passes : float
        How many passes it took, a lighter one counted as its share; 0 when it is not etched.
    depth : float, mm
        How deep its groove was meant to be.
    values : tuple of float
        One or more readings: mm, or degrees for angles.
    """

    field: str
    kind: FieldKind
    setting: float
    passes: float
    depth: float
    values: tuple[float, ...]


@dataclass(frozen=True)
class Calibration:
    """What the readings of one foam come to; None where they tell nothing.

    Parameters
    ----------
    kerf, pass_depth, falloff : Estimate or None
        mm; falloff is None where depth does not surely fall off with passes.
    skin : Estimate or None
        The skin, mm, at which a fold closes at the asked angle with a width factor of 1.
    width_factor : Estimate or None
        The factor at which it closes with the skin that is set.
    outliers : tuple of str
        Fields with a reading that was left out.
    notes : tuple of str
        What could not be told and why, in the maker's words.
    """

    kerf: Estimate | None
    pass_depth: Estimate | None
    falloff: Estimate | None
    skin: Estimate | None
    width_factor: Estimate | None
    outliers: tuple[str, ...]
    notes: tuple[str, ...]


def calibrate(readings: Sequence[Reading], thickness: float, unit: Unit = "mm") -> Calibration:
    """The settings that a foam's readings give.

    Parameters
    ----------
    readings : sequence of Reading
        Of one foam, in any order.
    thickness : float, mm
    unit : str
        In which the notes tell lengths.
    """
    work = _Work(thickness, unit)
    of = {kind: [r for r in readings if r.kind == kind] for kind in ("kerf", "depth", "skin", "width")}
    work.kerf(of["kerf"])
    work.depth(of["depth"])
    work.angles(of["width"], of["skin"])
    return Calibration(
        work.found.get("kerf"),
        work.found.get("pass_depth"),
        work.found.get("falloff"),
        work.found.get("skin"),
        work.found.get("width_factor"),
        tuple(dict.fromkeys(work.outliers)),
        tuple(work.notes),
    )


def most_unsure(key: str, value: float, thickness: float) -> float:
    """How large half the range of a setting may be for it to be used.

    Parameters
    ----------
    key : str
        ``kerf``, ``pass_depth``, ``skin`` or ``width_factor``.
    value, thickness : float
        Lengths mm.
    """
    if key == "kerf":
        return max(KERF_REACH, KERF_SHARE * value)
    if key == "skin":
        return max(0.0, min(SKIN_SHARE * value, VALUE_SHARE * (thickness - value)))
    return VALUE_SHARE * value


#: Settings, depths meant, how much deeper they came, angles; to places and the angles that count there.
_View = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]


class _Work:
    def __init__(self, thickness: float, unit: Unit) -> None:
        self._thickness, self._unit = thickness, unit
        self.found: dict[str, Estimate] = {}
        self.outliers: list[str] = []
        self.notes: list[str] = []
        self._depths: Fit | None = None

    def kerf(self, readings: Sequence[Reading]) -> None:
        """Each gap is the kerf times the number of cuts across it."""
        if not readings:
            return
        names, settings, values = _spread(readings)
        fitted = self._fit(names, settings[:, None], values, np.full(len(values), 1.0 / GAP_ERROR**2), "kerf")
        if fitted is None:
            return
        kerf = fitted.estimate(0)
        if kerf.value < 0.0:
            self.notes.append("the kerf comes out negative: measure the gaps again")
        else:
            self.found["kerf"] = kerf

    def depth(self, readings: Sequence[Reading]) -> None:
        """A straight line through the origin, or a parabola when depth surely falls off."""
        if not readings:
            return
        names, passes, values = _spread(readings)
        weights = 1.0 / (DEPTH_ERROR**2 + (DEPTH_SHARE * np.abs(values)) ** 2)
        curved = np.column_stack((passes, -(passes**2)))
        parabola = self._fit(names, curved, values, weights, "") if len(set(passes)) > 2 else None
        if parabola is not None:
            fall = parabola.estimate(1)
            if abs(fall.value) > student(CURVED, parabola.freedom) * fall.error:
                if fall.value > 0.0:
                    self.found["pass_depth"], self.found["falloff"] = parabola.estimate(0), fall
                    self._depths = parabola
                    self._name(names, parabola)
                    return
                self.notes.append("later passes seem to go deeper than the first: look at the readings")
        line = self._fit(names, passes[:, None], values, weights, "depth per pass")
        if line is None:
            return
        if line.coefficients[0] <= 0.0:
            self.notes.append("the depth per pass comes out as nothing: measure the squares again")
            return
        self._depths, found = line, line.estimate(0)
        # Depth may fall off and not be seen to: then the first pass goes deeper than the line says.
        bent = 0.0 if parabola is None else abs(parabola.estimate(0).value - found.value)
        self.found["pass_depth"] = _less_sure(found, bent / 2.0)

    def angles(self, widths: Sequence[Reading], skins: Sequence[Reading]) -> None:
        """Where the folds close at the asked angle, over the width factor and over the skin.

        A groove that came out deeper than it was meant to be is too narrow for its depth by as much: its
        factor counts as that much less, and an angle at a factor of 1 follows from the tangent rule. It
        also leaves less skin: what that does to the angle is taken from the row of skins.
        """

        def over_factor(
            factors: Floats, meant: Floats, wrong: Floats, angles: Floats
        ) -> tuple[Floats, Floats]:
            return factors / wrong, angles

        def over_skin(asked: Floats, meant: Floats, wrong: Floats, angles: Floats) -> tuple[Floats, Floats]:
            half = np.tan(np.radians(angles) / 2.0) * wrong
            return self._thickness - meant * wrong, np.degrees(2.0 * np.arctan(half))

        notes = len(self.notes)
        alone = self._cross("skin", "skin", skins, over_skin, None)
        of_skin = self.notes[notes:]
        self._cross("width_factor", "width factor", widths, over_factor, alone)
        if widths:
            # One of the two is enough, and the maker needs one thing to do next.
            self.notes = [note for note in self.notes if note not in of_skin]

    def _cross(
        self, key: str, what: str, readings: Sequence[Reading], view: _View, alone: _Row | None
    ) -> _Row | None:
        if not readings:
            return None
        names, settings, values = _spread(readings)
        counts = [len(reading.values) for reading in readings]
        meant = np.repeat([reading.depth for reading in readings], counts)
        wrong, unsure = self._too_deep(np.repeat([reading.passes for reading in readings], counts), meant)

        def closing(wrong: Floats, told: bool) -> tuple[_Row | None, Estimate | None]:
            row = self._row(what, names, *view(settings, meant, wrong, values), told=told)
            found = None if row is None else row.closing()
            if found is not None and alone is not None:
                skins = (self._thickness - float(np.mean(depth)) for depth in (meant * wrong, meant))
                found = _times(found, *alone.wider(*skins))
            return row, found

        notes = len(self.notes)
        row, found = closing(wrong, True)
        if found is None:
            if len(self.notes) == notes:
                places, angles = view(settings, meant, wrong, values)
                near = self._skins_tried(places) if key == "skin" else self._factors_tried(settings)
                self.notes.append(_not_closing(what, near, angles if key == "skin" else values))
            return row
        # What is not sure about the depth makes the answer less sure, too.
        _, shifted = closing(wrong * (1.0 + unsure), False)
        more = 0.0 if shifted is None else abs(shifted.value - found.value)
        self.found[key] = _less_sure(found, more)
        return row

    def _skins_tried(self, skins: Floats) -> _Tried:
        per, digits = mm_per(self._unit), 2 if self._unit == "mm" else 4
        low, high = float(skins.min()), float(skins.max())
        again = f"set skin = {{:.{digits}f}} for this foam and cut a second coupon"
        thinner = again.format(low / per) if low >= 2.0 * THINNEST else "a wider groove has to make up for it"
        tried = f"{_range(low / per, high / per, digits)} {self._unit}"
        return _Tried(tried, thinner, again.format(high / per))

    def _factors_tried(self, factors: Floats) -> _Tried:
        low, high = float(factors.min()), float(factors.max())
        again = "set width_factor = {:.2f} for this foam and cut a second coupon"
        if "skin" in self.found:
            again = "the skin makes up for it"
        return _Tried(_range(low, high, 2), again.format(high), again.format(low))

    def _too_deep(self, passes: Floats, meant: Floats) -> tuple[Floats, Floats]:
        """How deep each groove came out over how deep it was meant, and the share by which that is unsure."""
        one = np.ones(len(meant))
        if self._depths is None or (meant <= 0.0).any() or (passes < 1).any():
            return one, 0.0 * one
        design = np.column_stack((passes, -(passes**2)))[:, : len(self._depths.coefficients)]
        came = design @ self._depths.coefficients
        if (came <= 0.0).any():
            return one, 0.0 * one
        errors = np.sqrt(np.einsum("ij,jk,ik->i", design, self._depths.covariance, design))
        return came / meant, errors / came

    def _row(self, what: str, names: list[str], places: Floats, angles: Floats, *, told: bool) -> _Row | None:
        """The angles as a parabola over the places, or as a straight line."""
        low, high = float(places.min()), float(places.max())
        middle, half = (low + high) / 2.0, max((high - low) / 2.0, 1e-9)

        def terms(power: int, x: float) -> Floats:
            return np.array([((x - middle) / half) ** k for k in range(power + 1)])

        weights = np.full(len(angles), 1.0 / ANGLE_ERROR**2)
        for power in [2, 1] if len(np.unique(np.round(places, 6))) >= 5 else [1]:
            design = np.array([terms(power, float(x)) for x in places])
            fitted = self._fit(names, design, angles, weights, what if told and power == 1 else "")
            if fitted is None:
                continue
            row = _Row(fitted, partial(terms, power), low, high)
            steps = np.diff([row.angle(float(x)) for x in np.linspace(low, high, 50)])
            if power > 1 and not ((steps > 0.0).all() or (steps < 0.0).all()):
                continue
            if told:
                self._name(names, fitted)
            return row
        return None

    def _fit(
        self, names: list[str], design: Floats, values: Floats, weights: Floats, what: str
    ) -> Fit | None:
        try:
            fitted = without_outliers(design, values, weights, 0.5)
        except ValueError:
            if what:
                self.notes.append(f"{what}: too few readings; measure at least one field more")
            return None
        if what:
            self._name(names, fitted)
        return fitted

    def _name(self, names: list[str], fitted: Fit) -> None:
        self.outliers += [names[k] for k in np.flatnonzero(~fitted.kept)]


@dataclass(frozen=True, eq=False)
class _Row:
    """The angles (degrees) at which a row's folds close, as a curve over the places that were tried."""

    fitted: Fit
    terms: Callable[[float], Floats]
    low: float
    high: float

    def angle(self, place: float) -> float:
        return float(self.terms(place) @ self.fitted.coefficients)

    def closing(self) -> Estimate | None:
        return crossing(self.fitted, self.terms, math.degrees(ASKED), self.low, self.high)

    def wider(self, there: float, here: float) -> tuple[float, float]:
        """How much wider a groove must be here than there to close alike, and its standard error as a share.

        By the tangent rule that is the ratio of the tangents of half the angles. The curve is followed a
        little beyond its ends.
        """
        beyond = (self.high - self.low) / 2.0
        places = [min(max(x, self.low - beyond), self.high + beyond) for x in (there, here)]
        first, second = (math.radians(self.angle(place)) for place in places)
        if not (0.0 < first < math.pi and 0.0 < second < math.pi):
            return 1.0, 0.0
        rate = self.terms(places[0]) / math.sin(first) - self.terms(places[1]) / math.sin(second)
        error = math.radians(math.sqrt(float(rate @ self.fitted.covariance @ rate)))
        return math.tan(first / 2.0) / math.tan(second / 2.0), error


def _times(found: Estimate, factor: float, share: float) -> Estimate:
    value = factor * found.value
    error, reach = factor * found.error, factor * (found.high - found.low) / 2.0
    scaled = Estimate(value, error, value - reach, value + reach, found.readings)
    return _less_sure(scaled, share * value)


def _less_sure(found: Estimate, more: float) -> Estimate:
    """The estimate with a further standard error."""
    error = math.hypot(found.error, more)
    reach = (found.high - found.low) / 2.0 * error / max(found.error, 1e-12)
    return Estimate(found.value, error, found.value - reach, found.value + reach, found.readings)


@dataclass(frozen=True)
class _Tried:
    """What a row of folds tried, and what to do when all of them stop short of the angle, or go beyond it."""

    range: str
    short: str
    beyond: str


def _not_closing(what: str, tried: _Tried, angles: Floats) -> str:
    asked = math.degrees(ASKED)
    if (angles < asked).all():
        return f"{what}: from {tried.range}, all folds stop short of {asked:.0f} degrees; {tried.short}"
    if (angles > asked).all():
        return f"{what}: from {tried.range}, all folds go beyond {asked:.0f} degrees; {tried.beyond}"
    return (
        f"{what}: from {tried.range}, it is not sure where a fold closes at {asked:.0f} degrees; "
        "measure the angles again, or cut a second coupon"
    )


def _range(low: float, high: float, digits: int) -> str:
    first, last = f"{low:.{digits}f}", f"{high:.{digits}f}"
    return first if first == last else f"{first} to {last}"


def _spread(readings: Sequence[Reading]) -> tuple[list[str], Floats, Floats]:
    """Field name, setting and value of every single reading."""
    rows = [(r.field, r.setting, value) for r in readings for value in r.values]
    return (
        [name for name, _, _ in rows],
        np.array([setting for _, setting, _ in rows], dtype=np.float64),
        np.array([value for _, _, value in rows], dtype=np.float64),
    )
