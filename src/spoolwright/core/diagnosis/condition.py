"""Condition of modules as numbers: how far each has departed, and how surely, from a run's points.

Where a diagnosis asks which cause is at work, this asks how much of each named departure there is. All
readings carry errors: the model is run where readings and condition agree best, not at the readings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, Compared, compared
from spoolwright.core.diagnosis.expected import compared_calibrated, runs_of, surprise
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.numerics import Dual, FloatArray, Number
from spoolwright.errors import InputError

PASSES = 4
"""How often the model is run at the condition just found."""
MOST = 4
"""Departures that can be sized together."""
_CELLS = 4096
"""Cells of the grid on which the posterior is summed."""
_WIDE = 5.5
"""Half width of that grid in standard deviations."""
_LEAST = 1e-12
"""Added to the information, so that a departure of which nothing is told has no infinite step."""


@dataclass(frozen=True)
class Prior:
    """What is known of the sizes of D departures before the run: normal within bounds, or uniform.

    Parameters
    ----------
    mean, spread : array, shape (D,)
        Of the normal; an infinite spread makes it uniform between the bounds [unit of the departure].
    low, high : array, shape (D,)
        Bounds; infinite where there is none [unit of the departure].
    """

    mean: FloatArray
    spread: FloatArray
    low: FloatArray
    high: FloatArray


class Reference(Protocol):
    """What a run is compared with, and along which lines its modules may depart."""

    def along(self, o: Observation, size: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Condition factors of departures of given sizes, and what a little more of each adds.

        Parameters
        ----------
        o : Observation
            The run [-].
        size : array, shape (D,)
            Sizes [unit of the departure].

        Returns
        -------
        array, shape (F, P)
            Factors at the run's points [-].
        array, shape (D, F, P)
            Their slopes [1 / unit of the departure].
        """

    def surprise(self, seen: Compared) -> tuple[FloatArray, FloatArray]:
        """Residuals less what is expected of them, and how they scatter.

        Parameters
        ----------
        seen : Compared
            The run at some factors [-].

        Returns
        -------
        array, shape (N,)
            Surprise [-].
        array, shape (N, N)
            Covariance of everything but the departures: readings, builds, the model's own error [-].
        """


@dataclass(frozen=True)
class ConditionEstimate:
    """Sizes of D departures.

    Parameters
    ----------
    mean : array, shape (D,)
        Posterior mean [unit of the departure].
    covariance : array, shape (D, D)
        Posterior covariance [square of it].
    misfit : float
        Squared residuals over their covariance at the best fit; about `rows` less D [-].
    rows : int
        Residuals that the model could run and that so took part [-].
    edges, shares : tuple of array
        Of each departure: edges of its cells, and the probability of each cell [unit of the departure; -].
    """

    mean: FloatArray
    covariance: FloatArray
    misfit: float
    rows: int
    edges: tuple[FloatArray, ...]
    shares: tuple[FloatArray, ...]

    @property
    def spread(self) -> FloatArray:
        """Posterior standard deviations, shape (D,) [unit of the departure]."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def interval(self, share: float) -> FloatArray:
        """Central intervals.

        Parameters
        ----------
        share : float
            Probability that each holds [-].

        Returns
        -------
        array, shape (2, D)
            Lower and upper ends [unit of the departure].
        """
        tails = (0.5 - 0.5 * share, 0.5 + 0.5 * share)
        ends = [
            np.interp(tails, np.concatenate([[0.0], np.cumsum(p)]), e)
            for e, p in zip(self.edges, self.shares, strict=True)
        ]
        return np.array(ends).T


@dataclass(frozen=True)
class Shop:
    """The calibrated average engine of a type as the reference, its modules departing by named factors.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    calibrated : Calibrated
        What the shop's runs taught [-].
    departures : sequence of mapping
        Of each, condition factor to its departure for size 1, as in `Cause` [-].
    """

    model: EngineModel
    calibrated: Calibrated
    departures: Sequence[Mapping[str, float]]

    def along(self, o: Observation, size: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Factors of the average engine with the departures in it, linear in their sizes [-]."""
        each = np.array([[d.get(f, 0.0) for f in FACTORS] for d in self.departures]) * UNIT
        healthy = compared_calibrated(self.model, [o], self.calibrated)[0].factors
        slopes = np.repeat(each[:, :, None], o.size, axis=2)
        return healthy + np.einsum("d,dfp->fp", size, slopes), slopes

    def surprise(self, seen: Compared) -> tuple[FloatArray, FloatArray]:
        """Less what is expected; build, instruments and the model's own error in the covariance [-]."""
        return surprise(runs_of(self.model, [seen], self.calibrated), self.calibrated)


def estimated_condition(
    model: EngineModel, observations: Sequence[Observation], reference: Reference, prior: Prior
) -> list[ConditionEstimate]:
    """Size named departures of the modules from runs, all runs in one batch.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    observations : sequence of Observation
        Runs, each estimated by itself [-].
    reference : Reference
        What they are compared with [-].
    prior : Prior
        What is known of the sizes beforehand [-].

    Returns
    -------
    list of ConditionEstimate
        One a run; points that the model cannot run take no part [-].

    Raises
    ------
    InputError
        More departures than can be sized together, or bounds that leave nothing between them.

    Notes
    -----
    Gauss-Newton on the model, condition and errors of the readings together, then the posterior of the
    parabola found, summed on a grid within the bounds. Exact where the model is straight over that posterior.

    References
    ----------
    Britt and Luecke, Technometrics 15 (1973) 233 (errors in all variables of a non-linear model).
    """
    _check(prior)
    fits = [_Fit(o, _start(prior)) for o in observations]
    for _ in range(PASSES):
        lines = [reference.along(fit.at, fit.size) for fit in fits]
        seen = compared(model, [fit.at for fit in fits], [factors for factors, _ in lines])
        fits = [
            fit.moved(c, slopes, reference, prior)
            for fit, c, (_, slopes) in zip(fits, seen, lines, strict=True)
        ]
    return [fit.estimate(prior) for fit in fits]


def _check(prior: Prior) -> None:
    if not 1 <= len(prior.mean) <= MOST:
        raise InputError(
            f"{len(prior.mean)} departures cannot be sized together.", mend=f"Name 1 to {MOST} of them."
        )
    if not np.all(prior.low < prior.high):
        raise InputError("the bounds of a departure leave nothing between them.", mend="Give low below high.")
    if np.any(np.isinf(prior.spread) & np.isinf(prior.high - prior.low)):
        raise InputError(
            "a departure has neither bounds nor a spread.", mend="Give both bounds, or a finite spread."
        )


def _start(prior: Prior) -> FloatArray:
    """The prior's middle."""
    middle = np.where(np.isinf(prior.spread), 0.5 * (prior.low + prior.high), prior.mean)
    return np.asarray(np.clip(middle, prior.low, prior.high))


@dataclass(frozen=True)
class _Fit:
    """A run between two passes: where the model is run next, and the parabola found last."""

    observed: Observation
    size: FloatArray
    change: FloatArray | None = None
    best: FloatArray | None = None
    information: FloatArray | None = None
    misfit: float = 0.0
    rows: int = 0

    @property
    def at(self) -> Observation:
        """The run at the readings found so far."""
        return self.observed if self.change is None else _shifted(self.observed, self.change)

    def moved(self, c: Compared, along: FloatArray, reference: Reference, prior: Prior) -> _Fit:
        """One step of Gauss and Newton."""
        rest, covariance = reference.surprise(c)
        if self.change is not None:
            rest = rest - np.einsum("nkp,np->kp", c.by_channel, self.change).ravel()
        slopes = np.einsum("fkp,dfp->kpd", c.by_factor / UNIT[:, None, None], along)
        slopes = slopes.reshape(len(rest), -1)
        errors = c.errors()
        runs = np.isfinite(rest)
        rest, slopes, errors = rest[runs], slopes[runs], errors[:, runs]
        solved = np.linalg.solve(covariance[np.ix_(runs, runs)], np.column_stack([rest, slopes, errors.T]))
        d = slopes.shape[1]
        information = slopes.T @ solved[:, 1 : 1 + d] + np.diag(prior.spread**-2.0)
        step = slopes.T @ solved[:, 0] + (prior.mean - self.size) * prior.spread**-2.0
        best = self.size + np.linalg.solve(information + _LEAST * np.eye(d), step)
        size = np.clip(best, prior.low, prior.high)
        left = rest - slopes @ (size - self.size)
        errors_found = solved[:, 1 + d :].T @ left
        change = -np.einsum("e,enp->np", errors_found, self.observed.errors)
        misfit = float(left @ (solved[:, 0] - solved[:, 1 : 1 + d] @ (size - self.size)))
        return _Fit(self.observed, size, change, best, information, misfit, len(rest))

    def estimate(self, prior: Prior) -> ConditionEstimate:
        """The posterior within the bounds."""
        assert self.best is not None and self.information is not None
        edges, weight = _grid(self.best, self.size, self.information, prior)
        middles = np.meshgrid(*[0.5 * (e[1:] + e[:-1]) for e in edges], indexing="ij")
        at = np.stack([m.ravel() for m in middles])
        flat = weight.ravel()
        mean = at @ flat
        covariance = (at - mean[:, None]) * flat @ (at - mean[:, None]).T
        axes = range(len(edges))
        shares = tuple(weight.sum(axis=tuple(a for a in axes if a != i)) for i in axes)
        return ConditionEstimate(mean, covariance, self.misfit, self.rows, edges, shares)


def _grid(
    best: FloatArray, size: FloatArray, information: FloatArray, prior: Prior
) -> tuple[tuple[FloatArray, ...], FloatArray]:
    """Edges of the cells about the best fit within the bounds, and each cell's probability."""
    d = len(best)
    spread = np.sqrt(np.diag(np.linalg.inv(information + _LEAST * np.eye(d))))
    low = np.maximum(prior.low, size - _WIDE * spread)
    high = np.minimum(prior.high, size + _WIDE * spread)
    cells = round(_CELLS ** (1.0 / d))
    edges = tuple(np.linspace(a, b, cells + 1) for a, b in zip(low, high, strict=True))
    away = np.stack(
        np.meshgrid(*[0.5 * (e[1:] + e[:-1]) - b for e, b in zip(edges, best, strict=True)], indexing="ij")
    )
    square = np.einsum("i...,ij,j...->...", away, information, away)
    weight = np.exp(-0.5 * (square - square.min()))
    return edges, weight / weight.sum()


def _shifted(o: Observation, change: FloatArray) -> Observation:
    """The run as it would be with other readings, by the first derivatives it carries."""

    def at(x: Number) -> Number:
        return Dual(x.v + np.einsum("np,np->p", x.d, change), x.d) if isinstance(x, Dual) else x

    return replace(
        o,
        observed={k: at(x) for k, x in o.observed.items()},
        conditions={k: at(x) for k, x in o.conditions.items()},
        speed=at(o.speed),
        readings=o.readings + change,
    )
