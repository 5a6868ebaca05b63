"""Mean of a steady hold, with an uncertainty that knows that neighbouring samples resemble each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.errors import InputError

_WINDOW = 5.0
"""Window length in integrated autocorrelation times."""
_FEWEST = 16
"""Fewer recorded samples than this tell a mean but not how far to trust it."""
_WIDEST = 0.125
"""Widest window as a fraction of the hold; a longer one has nothing left to average."""
_SIGNIFICANT = 3.0
"""A drift counts when it exceeds this many of its own standard uncertainties."""


@dataclass(frozen=True)
class HoldMean:
    """Means of the channels over one hold; every array has shape (channels,).

    Parameters
    ----------
    mean : array
        Arithmetic mean of the recorded samples; NaN where there is none [inner].
    standard_uncertainty : array
        Of the mean: scatter and, where it counts, drift; NaN where too little was recorded [inner].
    degrees_of_freedom : array
        Of the standard uncertainty; 0 where it is NaN [-].
    samples : array
        Recorded samples [-].
    effective_samples : array
        Number of independent samples that would give the mean the same scatter [-].
    window : array
        Longest lag that was summed [samples].
    drift : array
        Slope of the least-squares line [inner/s].
    drift_uncertainty : array
        Standard uncertainty of the slope, autocorrelation included [inner/s].
    drift_share : array
        Part of the squared standard uncertainty that comes from drift, 0 to 1 [-].
    resolved : array of bool
        Whether the hold is long enough to show its own correlation time. Where it is not, the effective
        number of samples is too large and the hold must be lengthened [-].
    """

    mean: FloatArray
    standard_uncertainty: FloatArray
    degrees_of_freedom: FloatArray
    samples: FloatArray
    effective_samples: FloatArray
    window: FloatArray
    drift: FloatArray
    drift_uncertainty: FloatArray
    drift_share: FloatArray
    resolved: NDArray[np.bool_]

    def half_width(self, probability: float = 0.95) -> FloatArray:
        """Half-width of the coverage interval of each mean.

        Parameters
        ----------
        probability : float
            Coverage probability [-].

        Returns
        -------
        array, shape (channels,)
            Student's t factor times the standard uncertainty [inner].

        References
        ----------
        JCGM 100:2008, G.3.2.
        """
        from scipy.special import stdtrit

        factor: FloatArray = stdtrit(np.maximum(self.degrees_of_freedom, 1e-3), 0.5 + 0.5 * probability)
        return factor * self.standard_uncertainty


def hold_mean(values: FloatArray, step: float = 1.0) -> HoldMean:
    """Mean of each channel over a hold with an uncertainty that includes autocorrelation and drift.

    Parameters
    ----------
    values : array, shape (rows, channels) or (rows,)
        Samples at equal intervals; NaN where nothing was recorded [inner].
    step : float
        Interval between rows [s].

    Returns
    -------
    HoldMean
        One entry a channel [inner].

    Raises
    ------
    InputError
        When the array has more than two dimensions or the interval is not positive.

    Notes
    -----
    Scatter is taken about the least-squares line. Its variance is summed over lags up to the first W that is
    at least five integrated autocorrelation times (automatic windowing), at most an eighth of the hold, and
    the uncertainty of a mean is

        u² = sum over |lag| <= W of sum e(i) e(i + lag) / n² / (1 - B),

    where B is the share of that sum which fitting the line takes away, so that white noise gives s²/n with n
    - 2 degrees of freedom. Gaps are left out pairwise, hence need no filling. The degrees of freedom follow
    from the spread of the windowed sum, n (1 - B) / (2 W + 1). The effective number of samples is held to the
    number recorded: anticorrelated noise earns no credit.

    A line that exceeds three of its own standard uncertainties is a drift. The settled value may then lie
    anywhere within its change over the hold, so change²/12 is added (rectangular). Display resolution is
    not seen here; it belongs to the systematic parts.

    Valid for holds of at least about twenty correlation times; `resolved` tells where that fails.

    References
    ----------
    Sokal, Monte Carlo Methods in Statistical Mechanics, in Functional Integration (Plenum 1997), section 3
    (windowing). Wolff, Comput. Phys. Commun. 156 (2004) 143, section 3 (variance of the windowed sum,
    bias from the fitted mean). Newey and West, Econometrica 55 (1987) 703 (regression under autocorrelation).
    JCGM 100:2008, 4.2.7 (autocorrelated observations), G.4.2 (degrees of freedom).

    Examples
    --------
    >>> row = np.array([1.0, 3.0] * 40)
    >>> result = hold_mean(row)
    >>> float(result.mean[0]), float(result.effective_samples[0])
    (2.0, 80.0)
    """
    samples = np.asarray(values, dtype=float)
    samples = samples[:, np.newaxis] if samples.ndim == 1 else samples
    if samples.ndim != 2:
        raise InputError(f"samples have {samples.ndim} dimensions.", mend="Give (rows, channels).")
    if not 0 < step < math.inf:
        raise InputError(f"the interval between rows is {step} s.", mend="Give a positive number of seconds.")
    with np.errstate(divide="ignore", invalid="ignore"):
        return _summary(_Line.fitted(samples, step), step)


@dataclass(frozen=True)
class _Line:
    """Least-squares line of each channel: residual, regressor (centred row number), mask; zero in gaps."""

    mean: FloatArray
    slope: FloatArray
    residual: FloatArray
    regressor: FloatArray
    mask: FloatArray

    @classmethod
    def fitted(cls, samples: FloatArray, step: float) -> _Line:
        mask = np.isfinite(samples).astype(float)
        known = np.where(mask > 0, samples, 0.0)
        count = mask.sum(axis=0)
        # Taking a first value off keeps digits when a large mean carries a small scatter.
        base = known[np.argmax(mask, axis=0), np.arange(known.shape[1])]
        known = (known - base) * mask
        shift = known.sum(axis=0) / count
        row = np.arange(samples.shape[0], dtype=float)[:, np.newaxis]
        centre = (row * mask).sum(axis=0) / count
        regressor = np.where(mask > 0, row - centre, 0.0)
        moment = (regressor**2).sum(axis=0)
        slope = np.where(moment > 0, (regressor * known).sum(axis=0) / moment, 0.0)
        residual = (known - shift) * mask - slope * regressor
        return cls(base + shift, slope / step, residual, regressor, mask)


def _lagged_sums(signal: FloatArray, lags: int) -> FloatArray:
    """Sum of signal(i) signal(i + lag) for lag 0 .. lags, down the rows."""
    size = 1 << (signal.shape[0] + lags).bit_length()
    power = np.abs(np.fft.rfft(signal, size, axis=0)) ** 2
    sums: FloatArray = np.fft.irfft(power, size, axis=0)[: lags + 1]
    return sums


def _two_sided(sums: FloatArray) -> FloatArray:
    """Running sum over lags -W .. W for every W."""
    total: FloatArray = 2.0 * np.cumsum(sums, axis=0) - sums[0]
    return total


def _window(autocovariance: FloatArray, longest: int) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """First lag that reaches the window length, and whether there is one, for each channel."""
    correlation = autocovariance / autocovariance[0]
    time = 0.5 * np.maximum(_two_sided(correlation), 1.0)
    lag = np.arange(longest + 1)[:, np.newaxis]
    enough = lag >= _WINDOW * time
    found: NDArray[np.bool_] = np.any(enough, axis=0)
    return np.where(found, enough.argmax(axis=0), longest), found


def _summary(line: _Line, step: float) -> HoldMean:
    rows = line.mask.shape[0]
    longest = max(int(_WIDEST * rows), 1)
    count = line.mask.sum(axis=0)
    moment = (line.regressor**2).sum(axis=0)
    pairs = np.maximum(np.rint(_lagged_sums(line.mask, longest)), 1.0)
    products = _lagged_sums(line.residual, longest)
    window, found = _window(products / pairs, longest)
    pick = (window, np.arange(window.size))
    taken = _two_sided(pairs / count + _lagged_sums(line.regressor, longest) / moment)[pick] / count
    freedom = count * (1.0 - taken) / (2.0 * window + 1.0)
    single = products[0] / (count - 2.0)
    scatter = np.maximum(_two_sided(products)[pick] / count**2 / (1.0 - taken), single / count)
    weighted = _two_sided(_lagged_sums(line.residual * line.regressor, longest))[pick]
    slope_variance = np.maximum(weighted / moment**2 / (1.0 - taken), single / moment) / step**2
    span = step * (rows - 1)
    drifts = np.abs(line.slope) > _SIGNIFICANT * np.sqrt(slope_variance)
    drift = np.where(drifts, (line.slope * span) ** 2 / 12.0, 0.0)
    known = (count >= _FEWEST) & (taken < 1.0)
    still = products[0] <= 0.0
    total = scatter + drift
    return HoldMean(
        mean=line.mean,
        standard_uncertainty=np.where(known, np.sqrt(total), np.nan),
        degrees_of_freedom=np.where(known, np.where(still, count - 2.0, freedom), 0.0),
        samples=count,
        effective_samples=np.where(known, np.where(still, count, single / scatter), np.nan),
        window=np.where(still, 0, window).astype(float),
        drift=np.where(known, line.slope, np.nan),
        drift_uncertainty=np.where(known, np.sqrt(slope_variance), np.nan),
        drift_share=np.where(known, np.where(total > 0, drift / total, 0.0), np.nan),
        resolved=known & (found | still),
    )
