"""Weibull lives from failures, suspensions and inspections that only bracket a failure."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
_NORMAL_90 = 1.6448536269514722


@dataclass(frozen=True)
class LifeData:
    """Ages at which items failed, were taken out whole, or between which they failed.

    Parameters
    ----------
    failures : ndarray, shape (f,)
        Ages at failure, above zero [h].
    suspensions : ndarray, shape (s,)
        Ages of items that had not failed when last seen, above zero [h].
    brackets : ndarray, shape (b, 2)
        Ages of the last look that found an item good (zero for none) and the first that found it failed [h].
    """

    failures: FloatArray
    suspensions: FloatArray
    brackets: FloatArray

    @classmethod
    def of(
        cls,
        failures: object = (),
        suspensions: object = (),
        brackets: object = (),
    ) -> LifeData:
        """Life data from plain sequences.

        Parameters
        ----------
        failures, suspensions : sequence of float
            Ages [h].
        brackets : sequence of (float, float)
            Last good and first failed age [h].

        Returns
        -------
        LifeData
            The same ages as arrays [h].

        Raises
        ------
        RangeError
            An age is not above zero, or a bracket is empty.
        """
        f, s = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (failures, suspensions))
        b = np.asarray(brackets, dtype=float).reshape(-1, 2)
        if (np.concatenate([f, s]) <= 0.0).any() or not np.isfinite(np.concatenate([f, s, b.ravel()])).all():
            raise RangeError("an age is not above zero.", mend="Leave out items that never ran.")
        if (b[:, 0] < 0.0).any() or (b[:, 1] <= b[:, 0]).any():
            raise RangeError(
                "a bracket ends before it begins.", mend="Give last good age, then first failed age."
            )
        return cls(f, s, b)

    @property
    def found_failed(self) -> int:
        """How many items failed [-]."""
        return self.failures.size + len(self.brackets)


@dataclass(frozen=True)
class WeibullFit:
    """A fitted Weibull distribution of lives, R(t) = exp(-(t/scale)^shape).

    Parameters
    ----------
    shape : float
        Shape; below one early failures, above one wear-out [-].
    scale : float
        Age by which 63.2 % have failed [h].
    log_likelihood : float
        At the maximum [-].
    covariance : ndarray, shape (2, 2)
        Of the logarithms of shape and scale, from the observed information [-].
    """

    shape: float
    scale: float
    log_likelihood: float
    covariance: FloatArray

    def survival(self, age: float) -> float:
        """Probability that an item reaches an age.

        Parameters
        ----------
        age : float
            Age [h].

        Returns
        -------
        float
            Probability [-].
        """
        return math.exp(-((age / self.scale) ** self.shape))

    def fails_within(self, age: float, span: float) -> float:
        """Probability that an item of some age fails within a span.

        Parameters
        ----------
        age, span : float
            Age now and time to come [h].

        Returns
        -------
        float
            Probability [-].

        Examples
        --------
        >>> round(WeibullFit(3.0, 2000.0, 0.0, np.zeros((2, 2))).fails_within(1000.0, 500.0), 6)
        0.256863
        """
        return -math.expm1((age / self.scale) ** self.shape - ((age + span) / self.scale) ** self.shape)

    def life(self, share_failed: float) -> float:
        """Age by which a share has failed.

        Parameters
        ----------
        share_failed : float
            Between 0 and 1; 0.1 gives the B10 life [-].

        Returns
        -------
        float
            Age [h].
        """
        return self.scale * float((-math.log1p(-share_failed)) ** (1.0 / self.shape))

    def life_interval(self, share_failed: float, times: float = _NORMAL_90) -> tuple[float, float]:
        """Interval of that age, symmetric in its logarithm.

        Parameters
        ----------
        share_failed : float
            Share that has failed [-].
        times : float
            Half-width in standard uncertainties; the default gives 90 % [-].

        Returns
        -------
        tuple of float
            Lower and upper age [h].
        """
        log_of = math.log(-math.log1p(-share_failed))
        slope = np.array([-log_of / self.shape, 1.0])
        half = times * math.sqrt(float(slope @ self.covariance @ slope))
        life = self.life(share_failed)
        return life * math.exp(-half), life * math.exp(half)

    def interval(self, times: float = _NORMAL_90) -> tuple[tuple[float, float], tuple[float, float]]:
        """Intervals of shape and scale, symmetric in their logarithms.

        Parameters
        ----------
        times : float
            Half-width in standard uncertainties; the default gives 90 % [-].

        Returns
        -------
        tuple of tuple of float
            Lower and upper shape [-] and scale [h].
        """
        halves = np.exp(times * np.sqrt(np.diag(self.covariance)))
        return (
            (self.shape / float(halves[0]), self.shape * float(halves[0])),
            (self.scale / float(halves[1]), self.scale * float(halves[1])),
        )


def weibull_fit(data: LifeData) -> WeibullFit:
    """The Weibull distribution under which the lives are most probable.

    Parameters
    ----------
    data : LifeData
        Ages [h].

    Returns
    -------
    WeibullFit
        Shape [-], scale [h] and the covariance of their logarithms [-].

    Raises
    ------
    RangeError
        Fewer than two different ages at which items failed: shape and scale cannot both be told.

    Notes
    -----
    Newton on the logarithms of shape and scale, whose likelihood has one maximum for exact failures and
    suspensions; halved steps keep it rising. Exact for every mix of failures, suspensions and brackets.

    References
    ----------
    W. Nelson, Applied Life Data Analysis, Wiley 1982, chapter 8 (likelihood of censored Weibull data).
    NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.2.

    Examples
    --------
    >>> fit = weibull_fit(LifeData.of([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10))
    >>> round(fit.shape, 4), round(fit.scale, 3)
    (1.7208, 606.528)
    """
    spread = np.unique(np.concatenate([data.failures, data.brackets.ravel()]))
    if data.found_failed < 2 or spread.size < 2:
        raise RangeError(
            f"{data.found_failed} item(s) failed, at {spread.size} age(s): no wear-out can be told.",
            mend="State a shape from experience and use `weibayes_scale`.",
        )
    at = _start(data)
    value, gradient, hessian = _terms(at, data)
    for _ in range(200):
        step = _rising(gradient, hessian)
        while True:
            trial = at + step
            new = _terms(trial, data)
            if new[0] >= value or np.abs(step).max() < 1e-14:
                break
            step = step / 2.0
        done = np.abs(trial - at).max() < 1e-12
        at, (value, gradient, hessian) = trial, new
        if done:
            break
    shape, scale = np.exp(at)
    covariance = np.asarray(np.linalg.inv(-hessian), dtype=np.float64)
    return WeibullFit(float(shape), float(scale), value, covariance)


def weibayes_scale(ages: FloatArray, shape: float, failures: int) -> float:
    """Scale for a shape that is known from experience; with no failure a lower bound at one failure.

    Parameters
    ----------
    ages : ndarray, shape (n,)
        Ages of all items, failed or not [h].
    shape : float
        Shape [-].
    failures : int
        How many failed; none counts as one about to fail [-].

    Returns
    -------
    float
        Scale [h].

    Examples
    --------
    >>> round(weibayes_scale(np.full(5, 1000.0), 3.0, 0), 2)
    1709.98
    """
    return float((np.sum(ages**shape) / max(failures, 1)) ** (1.0 / shape))


def _start(data: LifeData) -> FloatArray:
    """Logarithms of a shape and scale to begin from: moments of the log ages at which items failed."""
    failed = np.log(np.concatenate([data.failures, data.brackets.mean(axis=1)]))
    shape = min(math.pi / math.sqrt(6.0) / max(float(failed.std()), 0.05), 20.0)
    every = np.concatenate([np.exp(failed), data.suspensions])
    return np.array([math.log(shape), math.log(weibayes_scale(every, shape, len(failed)))])


def _rising(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Newton's step, or up the gradient where the likelihood is not curved downwards; never above one."""
    values, vectors = np.linalg.eigh(hessian)
    step = vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), 1e-9))
    return np.asarray(step / max(1.0, float(np.abs(step).max())))


def _terms(at: FloatArray, data: LifeData) -> tuple[float, FloatArray, FloatArray]:
    """Log-likelihood with gradient and Hessian in the logarithms of shape and scale."""
    shape, log_scale = math.exp(at[0]), at[1]

    def hazards(ages: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Cumulative hazard with first and second derivatives; rows: by shape, by scale."""
        z = np.log(np.where(ages > 0.0, ages, 1.0)) - log_scale
        h = np.where(ages > 0.0, np.exp(np.clip(shape * z, -700.0, 700.0)), 0.0)
        first = np.array([shape * z * h, -shape * h])
        cross = -shape * h * (1.0 + shape * z)
        second = np.array([[shape * z * h * (1.0 + shape * z), cross], [cross, shape**2 * h]])
        return h, first, second

    h, first, second = hazards(np.concatenate([data.failures, data.suspensions]))
    value, gradient, hessian = -float(h.sum()), -first.sum(axis=-1), -second.sum(axis=-1)
    z = np.log(data.failures) - log_scale
    value += float(np.sum(at[0] + shape * z - np.log(data.failures)))
    gradient = gradient + np.array([np.sum(1.0 + shape * z), -shape * z.size])
    hessian = hessian + np.array([[np.sum(shape * z), -shape * z.size], [-shape * z.size, 0.0]])
    if len(data.brackets):
        (h0, f0, s0), (h1, f1, s1) = (hazards(data.brackets[:, i]) for i in (0, 1))
        gap = np.maximum(h1 - h0, 1e-300)
        inside = np.expm1(np.minimum(gap, 700.0))
        weight = 1.0 / inside
        value += float(np.sum(-h0 + np.log(-np.expm1(-gap))))
        d, dd = f1 - f0, s1 - s0
        gradient = gradient + np.sum(-f0 + weight * d, axis=-1)
        curve = -(weight + weight**2) * d[:, None] * d[None, :]
        hessian = hessian + np.sum(-s0 + weight * dd + curve, axis=-1)
    return value, gradient, hessian
