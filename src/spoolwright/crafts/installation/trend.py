"""A margin over hours since installation: a robust line, and when it reaches zero."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.installation.calc import Told

LEAST_CHECKS: Final = 5
LEAST_HOURS: Final = 50.0
"""Fewer checks, or over fewer hours, and no trend is told."""
_TUNING: Final = 1.345
"""Residuals beyond this many scales count less (95 % efficiency on normal scatter)."""
_STEPS: Final = 200
_CLOSE: Final = 1e-12


@dataclass(frozen=True)
class Line:
    """margin = level + slope * (hours - middle).

    Parameters
    ----------
    middle : float
        Mean hours of the checks [h].
    level, slope : float
        Of the line [unit of the margin, and that per h].
    covariance : array, shape (2, 2)
        Of level and slope, from scatter and from what stays alike [squares of them].
    scatter : float
        Standard deviation of a single check about the line [unit of the margin].
    weights : array, shape (n,)
        1 for a check that counts whole, less for one far off [-].
    freedom : float
        Degrees of freedom of the scatter [-].
    """

    middle: float
    level: float
    slope: float
    covariance: FloatArray
    scatter: float
    weights: FloatArray
    freedom: float

    def at(self, hours: float) -> tuple[float, float]:
        """The line and its standard uncertainty.

        Parameters
        ----------
        hours : float
            Hours since installation [h].

        Returns
        -------
        value, uncertainty : float
            Of the margin [unit of the margin].
        """
        x = np.array([1.0, hours - self.middle])
        return float(self.level + self.slope * x[1]), float(np.sqrt(x @ self.covariance @ x))

    def factor(self, share: float = 0.95) -> float:
        """Student's factor of an interval.

        Parameters
        ----------
        share : float
            Probability that it holds [-].

        Returns
        -------
        float
            Factor [-].
        """
        from scipy.stats import t

        return float(t.ppf(0.5 + 0.5 * share, self.freedom))


def robust_line(hours: FloatArray, told: Told) -> Line | None:
    """The line through a margin's checks, those far off counting less.

    Parameters
    ----------
    hours : array, shape (n,)
        Hours since installation [h].
    told : Told
        The margin at the checks [unit of the margin].

    Returns
    -------
    Line or None
        None where checks or hours are too few to tell a trend [-].

    Notes
    -----
    Huber's estimator with the scale from the median absolute residual, never under what the gauges alone
    scatter. Errors that stay from check to check are carried through the same weights.

    References
    ----------
    Huber, Robust Statistics (Wiley 1981), 7.6 (iteration), 7.10 (covariance, equation 6.6 with its factor).
    """
    if hours.size < LEAST_CHECKS or float(np.ptp(hours)) < LEAST_HOURS:
        return None
    middle = float(hours.mean())
    x = np.column_stack([np.ones(hours.size), hours - middle])
    floor = float(np.sqrt(np.mean(told.reading**2)))
    best, scale, weights = _huber(x, told.value, floor)
    rest = told.value - x @ best
    n, p = x.shape
    psi = np.clip(rest / scale, -_TUNING, _TUNING)
    inside = float(np.mean(np.abs(rest) <= _TUNING * scale))
    kappa = 1.0 + p / n * (1.0 - inside) / inside
    variance = max(scale**2 * float(psi @ psi) / (n - p), floor**2 * inside**2)
    scatter = kappa**2 * variance / inside**2 * np.linalg.inv(x.T @ x)
    carried = told.lasting @ (x * weights[:, None]) @ np.linalg.inv(x.T @ (x * weights[:, None]))
    return Line(
        middle, float(best[0]), float(best[1]), scatter + carried.T @ carried, scale, weights, float(n - p)
    )


def _huber(x: FloatArray, y: FloatArray, floor: float) -> tuple[FloatArray, float, FloatArray]:
    """Coefficients, scale and weights of Huber's estimator."""
    best = np.linalg.lstsq(x, y, rcond=None)[0]
    weights, scale = np.ones(y.size), floor
    for _ in range(_STEPS):
        rest = y - x @ best
        scale = max(float(np.median(np.abs(rest))) / 0.6744897501960817, floor)
        if scale <= 0.0:
            break
        weights = np.minimum(1.0, _TUNING * scale / np.maximum(np.abs(rest), 1e-300))
        weighted = x * weights[:, None]
        new = np.linalg.solve(x.T @ weighted, weighted.T @ y)
        done = np.all(np.abs(new - best) <= _CLOSE * (1.0 + np.abs(best)))
        best = new
        if done:
            break
    return np.asarray(best), max(scale, 1e-300), np.asarray(weights)


@dataclass(frozen=True)
class Zero:
    """When a margin reaches zero.

    Parameters
    ----------
    hours : float
        Where the line does, NaN where it never does [h since installation].
    low, high : float
        Ends of the 95 % interval; an end that the checks do not tell is infinite [h since installation].
    """

    hours: float
    low: float
    high: float

    @property
    def told(self) -> bool:
        """Whether both ends are told [-]."""
        return math.isfinite(self.low) and math.isfinite(self.high)


def zero_margin(line: Line, share: float = 0.95) -> Zero:
    """When the line reaches zero, and every time that its uncertainty leaves open.

    Parameters
    ----------
    line : Line
        A margin's line [-].
    share : float
        Probability that the interval holds [-].

    Returns
    -------
    Zero
        Times at which a margin of zero is compatible with the line [h since installation].

    References
    ----------
    Fieller, J. Royal Statistical Society B 16 (1954) 175 (interval of a ratio).
    """
    c, q = line.covariance, line.factor(share)
    a2 = line.slope**2 - q * q * c[1, 1]
    a1 = 2.0 * (line.level * line.slope - q * q * c[0, 1])
    a0 = line.level**2 - q * q * c[0, 0]
    at = line.middle - line.level / line.slope if line.slope < 0.0 else math.nan
    within = a1 * a1 - 4.0 * a2 * a0
    if within < 0.0:
        return Zero(at, -math.inf, math.inf)
    root = math.sqrt(within)
    ends = sorted(line.middle + (-a1 + s * root) / (2.0 * a2) for s in (-1.0, 1.0))
    if a2 > 0.0 and line.slope < 0.0:
        return Zero(at, ends[0], ends[1])
    later = [e for e in ends if e > line.middle]
    # The slope is not told from zero: zero margin is ruled out up to the end ahead, and open beyond it.
    low = later[0] if a0 > 0.0 and line.level > 0.0 and later else -math.inf
    return Zero(at, low, math.inf)
