"""Runs put side by side as plain arrays, for many to be weighed in one batch; what they share is a layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.comparison import HEALTHY_FACTORS
from spoolwright.core.diagnosis.observation import CONDITIONS, Observation
from spoolwright.core.diagnosis.redundancy import TWINS
from spoolwright.core.numerics import Dual, FloatArray, value
from spoolwright.core.reduction.baseline import log_reynolds


@dataclass(frozen=True)
class Layout:
    """What runs must share to be weighed in one batch.

    Parameters
    ----------
    channels, outputs : tuple of str
        Of every run, see `Observation` [-].
    points : int
        Number of points [-].
    random : tuple of bool
        Which errors are scatter [-].
    twins : tuple of (str, int, int)
        Readings that ought to agree, see `redundancy`: name and the two channels [-].
    """

    channels: tuple[str, ...]
    outputs: tuple[str, ...]
    points: int
    random: tuple[bool, ...]
    twins: tuple[tuple[str, int, int], ...]


def layout_of(o: Observation) -> Layout:
    """The layout that a run has.

    Parameters
    ----------
    o : Observation
        The run [-].

    Returns
    -------
    Layout
        Equal for runs that go into one batch [-].
    """
    twins = []
    for name, roles in TWINS.items():
        one, other = (o.roles.get(role, "") for role in roles)
        if one in o.channels and other in o.channels:
            twins.append((name, o.channels.index(one), o.channels.index(other)))
    return Layout(o.channels, tuple(o.observed), o.size, tuple(o.random.tolist()), tuple(twins))


def scatter_points(o: Observation) -> FloatArray | None:
    """At which point each scatter of readings stands.

    Parameters
    ----------
    o : Observation
        A run [-].

    Returns
    -------
    array of int, shape (scatter errors,), or None
        Points; None where one scatter reaches several points [-].
    """
    shown = np.any(o.errors[o.random] != 0.0, axis=1)
    return None if np.any(shown.sum(axis=1) > 1) else np.argmax(shown, axis=1)


@dataclass(frozen=True)
class Packed:
    """R runs of one layout, n channels, K outputs, P points.

    Parameters
    ----------
    seen : array, shape (R, K, P)
        Outputs as observed [inner unit].
    seen_slopes : array, shape (R, K, n, P)
        Their derivatives with the readings [inner unit].
    given : array, shape (R, 8, P)
        Gas generator speed and conditions, in the order of `CONDITIONS` [rpm, inner unit].
    given_slopes : array, shape (R, 8, n, P)
        Their derivatives with the readings [inner unit].
    lasting : array, shape (R, lasting errors, n, P)
        What lasting errors give to the readings [inner unit].
    scatter : array, shape (R, scatter errors, n)
        What each scatter gives to the readings of its point [inner unit].
    levels : array, shape (R, n)
        Mean of each reading [inner unit].
    ratios : array, shape (R, twins)
        Mean logarithm of the ratio of each twin [-].
    features : array, shape (R, 3, P)
        ln of theta, water-air ratio, ln of relative Reynolds number [-, kg/kg, -].
    factors : array, shape (R, F, P)
        Condition factors of the average engine [-].
    referred : array, shape (R, P)
        Speed at the reference inlet: where the solve starts [rpm].
    whole : array of bool, shape (R,)
        Whether every scatter stands where the layout's first run has it [-].
    """

    seen: FloatArray
    seen_slopes: FloatArray
    given: FloatArray
    given_slopes: FloatArray
    lasting: FloatArray
    scatter: FloatArray
    levels: FloatArray
    ratios: FloatArray
    features: FloatArray
    factors: FloatArray
    referred: FloatArray
    whole: Any


def packed(
    model: EngineModel, calibrated: Calibrated, runs: Sequence[Observation], scatter_at: Any
) -> Packed:
    """Put runs of one layout side by side.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    calibrated : Calibrated
        What the shop's runs taught [-].
    runs : sequence of R Observation
        Runs; at least one [-].
    scatter_at : array of int
        Point of each scatter, see `scatter_points` [-].

    Returns
    -------
    Packed
        Arrays over the runs [-].
    """
    first = runs[0]
    n, p = len(first.channels), first.size
    seen, seen_slopes = _stacked([list(o.observed.values()) for o in runs], n, p)
    given, given_slopes = _stacked([[o.speed, *(o.conditions[c] for c in CONDITIONS)] for o in runs], n, p)
    scatter, lasting = np.flatnonzero(first.random), np.flatnonzero(~first.random)
    kept = [(o.errors[lasting], o.errors[scatter, :, scatter_at]) for o in runs]
    whole = [
        np.count_nonzero(o.errors != 0.0) == np.count_nonzero(a) + np.count_nonzero(b)
        for o, (a, b) in zip(runs, kept, strict=True)
    ]
    features, factors, speed = _places(model, calibrated, given)
    lasting_errors, scatter_errors = (np.array([k[i] for k in kept]) for i in (0, 1))
    readings = np.array([o.readings for o in runs])
    one, other = np.array([t[1:] for t in layout_of(first).twins], dtype=int).reshape(-1, 2).T
    ratios = np.mean(np.log(readings[:, one] / readings[:, other]), axis=2)
    return Packed(
        seen, seen_slopes, given, given_slopes, lasting_errors, scatter_errors, readings.mean(axis=2), ratios,
        features, factors, speed, np.array(whole),
    )  # fmt: skip


def _stacked(rows: Sequence[Sequence[Any]], n: int, p: int) -> tuple[FloatArray, FloatArray]:
    """Values and derivatives of several numbers of every run."""
    values = np.empty((len(rows), len(rows[0]), p))
    slopes = np.zeros((len(rows), len(rows[0]), n, p))
    for i, row in enumerate(rows):
        for j, x in enumerate(row):
            values[i, j] = value(x)
            if isinstance(x, Dual):
                slopes[i, j] = x.d
    return values, slopes


def _places(
    model: EngineModel, calibrated: Calibrated, given: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where on the line the points lie, factors there, and where the solve starts."""
    runs, _, p = given.shape
    flat = given.transpose(1, 0, 2).reshape(len(given[0]), -1)
    at = dict(zip(CONDITIONS, flat[1:], strict=True))
    reference = model.data.reference
    referred = flat[0] * model.sound / np.asarray(Inlet(model, Condition(**at)).sound, dtype=float)
    theta = at["temperature"] / reference.temperature
    reynolds = log_reynolds(theta, at["pressure"] / reference.pressure, reference.temperature)
    warmth = np.log(theta)
    factors = np.repeat(HEALTHY_FACTORS[:, None], len(warmth), axis=1)
    features = np.stack([warmth, at["water_air_ratio"], reynolds])
    return _by_run(features, runs, p), _by_run(factors, runs, p), referred.reshape(runs, p)


def _by_run(rows: FloatArray, runs: int, p: int) -> FloatArray:
    return np.ascontiguousarray(rows.reshape(-1, runs, p).transpose(1, 0, 2))
