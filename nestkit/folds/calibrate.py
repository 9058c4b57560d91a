"""From what was measured on a coupon to a cutter's settings for a foam."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from nestkit.folds.coupon import ASKED, FieldKind
from nestkit.folds.fits import Estimate, Fit, Floats, crossing, student, without_outliers

#: How well foam can be measured: mm, mm, share of a depth, degrees. Common practice, no source.
GAP_ERROR = 0.05
DEPTH_ERROR = 0.05
DEPTH_SHARE = 0.02
ANGLE_ERROR = 0.5
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
    passes : int
        How many passes it took; 0 when it is not etched.
    depth : float, mm
        How deep its groove was meant to be.
    values : tuple of float
        One or more readings: mm, or degrees for angles.
    """

    field: str
    kind: FieldKind
    setting: float
    passes: int
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


def calibrate(readings: Sequence[Reading], thickness: float) -> Calibration:
    """The settings that a foam's readings give.

    Parameters
    ----------
    readings : sequence of Reading
        Of one foam, in any order.
    thickness : float, mm
    """
    work = _Work(thickness)
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


#: Settings, depths meant, how much deeper they came, angles; to places and the angles that count there.
_View = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]


class _Work:
    def __init__(self, thickness: float) -> None:
        self._thickness = thickness
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
        self.found["pass_depth"], self._depths = line.estimate(0), line

    def angles(self, widths: Sequence[Reading], skins: Sequence[Reading]) -> None:
        """Where the folds close at the asked angle, over the width factor and over the skin.

        A groove that came out deeper than it was meant to be is too narrow for its depth by as much: its
        factor counts as that much less, and an angle at a factor of 1 follows from the tangent rule.
        """

        def over_factor(
            factors: Floats, meant: Floats, wrong: Floats, angles: Floats
        ) -> tuple[Floats, Floats]:
            return factors / wrong, angles

        def over_skin(asked: Floats, meant: Floats, wrong: Floats, angles: Floats) -> tuple[Floats, Floats]:
            half = np.tan(np.radians(angles) / 2.0) * wrong
            return self._thickness - meant * wrong, np.degrees(2.0 * np.arctan(half))

        self._cross("width_factor", "width factor", widths, over_factor)
        self._cross("skin", "skin", skins, over_skin)

    def _cross(self, key: str, what: str, readings: Sequence[Reading], view: _View) -> None:
        if not readings:
            return
        names, settings, values = _spread(readings)
        counts = [len(reading.values) for reading in readings]
        meant = np.repeat([reading.depth for reading in readings], counts)
        wrong, unsure = self._too_deep(np.repeat([reading.passes for reading in readings], counts), meant)
        places, angles = view(settings, meant, wrong, values)
        found = self._closing(what, names, places, angles, told=True)
        if found is None:
            self.notes.append(
                f"{what}: between {places.min():.2f} and {places.max():.2f} no fold surely closes at "
                f"{math.degrees(ASKED):.0f} degrees"
            )
            return
        # What is not sure about the depth makes the answer less sure, too.
        shifted = self._closing(
            what, names, *view(settings, meant, wrong * (1.0 + unsure), values), told=False
        )
        if shifted is not None:
            reach = (found.high - found.low) / 2.0 / max(found.error, 1e-12)
            error = math.hypot(found.error, shifted.value - found.value)
            low, high = found.value - reach * error, found.value + reach * error
            found = Estimate(found.value, error, low, high, found.readings)
        self.found[key] = found

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

    def _closing(
        self, what: str, names: list[str], places: Floats, angles: Floats, *, told: bool
    ) -> Estimate | None:
        """Where the angles, a parabola over the places or a straight line, reach the asked one."""
        low, high = float(places.min()), float(places.max())
        middle, half = (low + high) / 2.0, max((high - low) / 2.0, 1e-9)

        def rows(power: int, x: float) -> Floats:
            return np.array([((x - middle) / half) ** k for k in range(power + 1)])

        weights = np.full(len(angles), 1.0 / ANGLE_ERROR**2)
        for power in [2, 1] if len(np.unique(np.round(places, 6))) >= 5 else [1]:
            design = np.array([rows(power, float(x)) for x in places])
            fitted = self._fit(names, design, angles, weights, what if told and power == 1 else "")
            if fitted is None:
                continue
            steps = np.diff([rows(power, float(x)) @ fitted.coefficients for x in np.linspace(low, high, 50)])
            if power > 1 and not ((steps > 0.0).all() or (steps < 0.0).all()):
                continue
            if told:
                self._name(names, fitted)
            return crossing(fitted, partial(rows, power), math.degrees(ASKED), low, high)
        return None

    def _fit(
        self, names: list[str], design: Floats, values: Floats, weights: Floats, what: str
    ) -> Fit | None:
        try:
            fitted = without_outliers(design, values, weights, 0.5)
        except ValueError:
            if what:
                self.notes.append(f"{what}: too few readings")
            return None
        if what:
            self._name(names, fitted)
        return fitted

    def _name(self, names: list[str], fitted: Fit) -> None:
        self.outliers += [names[k] for k in np.flatnonzero(~fitted.kept)]


def _spread(readings: Sequence[Reading]) -> tuple[list[str], Floats, Floats]:
    """Field name, setting and value of every single reading."""
    rows = [(r.field, r.setting, value) for r in readings for value in r.values]
    return (
        [name for name, _, _ in rows],
        np.array([setting for _, setting, _ in rows], dtype=np.float64),
        np.array([value for _, _, value in rows], dtype=np.float64),
    )
