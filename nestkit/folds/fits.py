"""Least squares with honest errors: weighted fits, Student's t, readings that stand out.

References
----------
M. Abramowitz, I. A. Stegun: Handbook of Mathematical Functions, 26.7.5 (Student's t from the normal).
R. D. Cook, S. Weisberg: Residuals and Influence in Regression, 1982 (externally studentized residuals).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Stated ranges hold the true value in this share of all cases.
SURE = 0.99
#: They are taken a little wider than Student's t for that: lines and parabolas are not foam's true curves.
_REACH = 0.995
#: A reading stands out when it lies this many standard errors from where all others put it.
STANDS_OUT = 4.5


def student(share: float, freedom: int) -> float:
    """The t that holds a share of Student's distribution between -t and t.

    Parameters
    ----------
    share : float, 0..1
    freedom : int
        Degrees of freedom, 1 or more.
    """
    p = (1.0 + share) / 2.0
    if freedom == 1:
        return math.tan(math.pi * (p - 0.5))
    if freedom == 2:
        return (2.0 * p - 1.0) / math.sqrt(2.0 * p * (1.0 - p))
    z, v = NormalDist().inv_cdf(p), float(freedom)
    return (
        z
        + (z**3 + z) / (4 * v)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * v**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * v**3)
        + (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / (92160 * v**4)
    )


@dataclass(frozen=True)
class Estimate:
    """A fitted value.

    Parameters
    ----------
    value : float
    error : float
        Its standard error.
    low, high : float
        The range that holds the true value in `SURE` of all cases.
    readings : int
        How many it rests on.
    """

    value: float
    error: float
    low: float
    high: float
    readings: int


@dataclass(frozen=True, eq=False)
class Fit:
    """Coefficients of a weighted least-squares fit with their covariance (scaled by the residuals)."""

    coefficients: Floats
    covariance: Floats
    freedom: int
    kept: NDArray[np.bool_]

    def estimate(self, number: int) -> Estimate:
        """One coefficient with its range."""
        value, error = float(self.coefficients[number]), float(np.sqrt(self.covariance[number, number]))
        reach = student(_REACH, self.freedom) * error
        return Estimate(value, error, value - reach, value + reach, int(self.kept.sum()))


def fit(
    design: Floats,
    values: Floats,
    weights: Floats,
    kept: NDArray[np.bool_] | None = None,
    floor: float = 0.0,
) -> Fit:
    """Weighted least squares.

    Parameters
    ----------
    design : (n, k) float
    values, weights : (n,) float
        Weights are one over the variance, up to a common factor.
    kept : (n,) bool, optional
        Which rows count.
    floor : float
        A reading of weight 1 is not taken to have a smaller standard error than this: a fit that happens
        to be very good proves nothing with few readings.

    Raises
    ------
    ValueError
        When fewer than k + 1 rows count, or they don't determine the coefficients.
    """
    kept = np.ones(len(values), dtype=np.bool_) if kept is None else kept
    root = np.sqrt(weights[kept])
    a, b = design[kept] * root[:, None], values[kept] * root
    freedom = len(b) - design.shape[1]
    if freedom < 1 or np.linalg.matrix_rank(a) < design.shape[1]:
        raise ValueError("too few readings")
    inverse = np.linalg.inv(a.T @ a)
    coefficients = inverse @ (a.T @ b)
    residuals = b - a @ coefficients
    return Fit(coefficients, inverse * max(float(residuals @ residuals) / freedom, floor**2), freedom, kept)


def without_outliers(design: Floats, values: Floats, weights: Floats, floor: float) -> Fit:
    """As `fit`, with readings that stand out left out, no more than one in five.

    Parameters
    ----------
    design, values, weights
        As for `fit`.
    floor : float
        As for `fit`; it also keeps a fit that happens to be perfect from making outliers of its neighbours.
    """
    kept = np.ones(len(values), dtype=np.bool_)
    most = len(values) // 5
    for _ in range(most):
        worst, far = -1, STANDS_OUT
        for k in np.flatnonzero(kept):
            others = kept.copy()
            others[k] = False
            try:
                found = fit(design, values, weights, others)
            except ValueError:
                continue
            row = design[k]
            scale = found.covariance
            spread = math.sqrt(_variance(found, design, values, weights) / weights[k] + row @ scale @ row)
            off = abs(values[k] - row @ found.coefficients) / max(spread, floor / math.sqrt(weights[k]))
            if off > far:
                worst, far = int(k), float(off)
        if worst < 0:
            break
        kept[worst] = False
    return fit(design, values, weights, kept, floor)


def _variance(found: Fit, design: Floats, values: Floats, weights: Floats) -> float:
    """Variance of a reading of weight 1."""
    left = values[found.kept] - design[found.kept] @ found.coefficients
    return float(left * weights[found.kept] @ left) / found.freedom


def crossing(
    fitted: Fit, rows: Callable[[float], Floats], target: float, low: float, high: float
) -> Estimate | None:
    """Where a monotone fit reaches a value within a range; None when it doesn't, or not surely.

    Parameters
    ----------
    fitted : Fit
    rows : callable
        The design's row at a place.
    target : float
    low, high : float
        The range that was tested.
    """

    def at(x: float) -> float:
        return float(rows(x) @ fitted.coefficients) - target

    if at(low) * at(high) > 0.0:
        return None
    a, b = low, high
    for _ in range(80):
        middle = (a + b) / 2.0
        a, b = (middle, b) if at(a) * at(middle) > 0.0 else (a, middle)
    x, step = (a + b) / 2.0, 1e-4 * (high - low)
    slope = (at(x + step) - at(x - step)) / (2.0 * step)
    error = math.sqrt(float(rows(x) @ fitted.covariance @ rows(x)))
    t = student(_REACH, fitted.freedom)
    if slope == 0.0 or t * error > abs(at(high) - at(low)):
        return None
    error = error / abs(slope)
    return Estimate(x, error, x - t * error, x + t * error, int(fitted.kept.sum()))
