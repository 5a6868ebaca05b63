"""From the readings at a run's levels to what is probably wrong with them, one channel after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.reduction.doubt.compare import Cause, Comparison, compare, explained
from spoolwright.core.reduction.doubt.consensus import Candidates, consensus
from spoolwright.core.reduction.doubt.evidence import Normals, module_states
from spoolwright.core.reduction.doubt.prediction import Site, predicted
from spoolwright.core.reduction.doubt.priors import COLD_K, FACTORS
from spoolwright.core.reduction.doubt.readings import Alternative, Readings
from spoolwright.core.reduction.doubt.signs import FloatArray
from spoolwright.core.reduction.doubt.spread import Point, Spread, module_columns

CONVINCED = 0.9
"""A cause more probable than this is taken for granted while the next is looked for [-]."""
ROUNDS = 4
"""Wrong channels looked for at most [-]."""
_TURNS = 3
_SMALL = np.array([0.004, 1.0, 0.004, 1.0, 0.004, 0.004, 0.01, 0.003, 3.0])
_AIR_ROLES = (
    "ambient_temperature", "inlet_temperature", "ambient_pressure", "inlet_pressure", "exhaust_pressure",
)  # fmt: skip
_SOAKED = ("measured_gas_temperature", "probe", "exhaust_temperature", "compressor_discharge_temperature")


@dataclass(frozen=True)
class Engine:
    """What the comparison needs of a type and a run.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    modules : tuple of tuple of str
        Condition factors that each module owns [-].
    rated_output_speed : float
        As the power turbine channel reads it [rpm].
    site : Site
        What the sheet and the type file know [-].
    """

    model: EngineModel
    modules: tuple[tuple[str, ...], ...]
    rated_output_speed: float
    site: Site


@dataclass(frozen=True)
class Round:
    """One comparison, the wrong channels found before taken for granted.

    Parameters
    ----------
    comparison : Comparison
        All hypotheses and their probabilities [-].
    readings : Readings
        Readings that were compared [inner unit].
    expected : array, shape (sensors, levels)
        What each channel should have read; NaN where nothing can be told [inner unit].
    """

    comparison: Comparison
    readings: Readings
    expected: FloatArray


def study(engine: Engine, readings: Readings, alternatives: Sequence[Alternative]) -> list[Round]:
    """Compare all hypotheses; where one convinces, take it for granted and look again.

    Parameters
    ----------
    engine : Engine
        Type and run [-].
    readings : Readings
        Means at the levels [inner unit].
    alternatives : sequence of Alternative
        Discrete mistakes to be considered [-].

    Returns
    -------
    list of Round
        At least one where anything can be compared, else empty [-].
    """
    rounds: list[Round] = []
    readings = _without_hot_metal(readings)
    for _ in range(ROUNDS):
        one = _compared(engine, readings, alternatives)
        if one is None:
            break
        rounds.append(one)
        found = one.comparison
        if not found.causes or found.probabilities[0] < CONVINCED:
            break
        readings = _granted(readings, found.causes[0])
        alternatives = [a for a in alternatives if not set(a.channels) & set(found.causes[0].channels)]
    return rounds


def _granted(readings: Readings, cause: Cause) -> Readings:
    """The readings with a cause taken for granted: the hidden values, or none from the channel."""
    means = readings.means.copy()
    for channel in cause.channels:
        n = readings.index(channel)
        means[n] = cause.alternative.values[channel] if cause.alternative is not None else np.nan
    return replace(readings, means=means)


def _without_hot_metal(readings: Readings) -> Readings:
    """An engine still warm from its last run tells nothing of its temperature probes at rest."""
    hot = np.array([s.role in _SOAKED for s in readings.sensors])
    air = np.array([s.role in _AIR_ROLES[:2] for s in readings.sensors])
    means = readings.means.copy()
    for h in np.flatnonzero(readings.resting):
        inside, outside = means[hot, h], means[air, h]
        inside, outside = inside[np.isfinite(inside)], outside[np.isfinite(outside)]
        if inside.size == 0 or outside.size == 0:
            continue
        if abs(float(np.median(inside)) - float(np.median(outside))) > COLD_K:
            means[hot, h] = np.nan
    return replace(readings, means=means)


def _candidates(readings: Readings, alternatives: Sequence[Alternative]) -> Candidates:
    out: dict[str, list[FloatArray]] = {}
    for a in alternatives:
        for channel, values in a.values.items():
            role = readings.sensors[readings.index(channel)].role
            if role in _AIR_ROLES:
                out.setdefault(role, []).append(values)
    return out


def _compared(engine: Engine, readings: Readings, alternatives: Sequence[Alternative]) -> Round | None:
    if readings.time.size == 0:
        return None
    means: dict[str, FloatArray] = {}
    for i, s in enumerate(readings.sensors):
        means.setdefault(s.role, readings.means[i])
    state, usable = consensus(
        engine.model, means, _candidates(readings, alternatives), readings.resting,
        engine.rated_output_speed, engine.site,
    )  # fmt: skip
    if not usable.any():
        return None
    whole = readings.time.size
    kept = np.flatnonzero(usable)
    whole_alternatives = {a.name: a for a in alternatives}
    alternatives = [_at(a, kept) for a in alternatives]
    part = replace(
        readings, means=readings.means[:, kept], random=readings.random[:, kept],
        time=readings.time[kept], resting=readings.resting[kept], block=readings.block[kept],
    )  # fmt: skip
    found = _turns(engine, part, alternatives, Point.healthy(state[:, kept]))
    if found is None:
        return None
    comparison, values = found
    expected = np.full((len(readings.sensors), whole), np.nan)
    expected[:, kept] = values
    return Round(_at_all_levels(comparison, kept, whole_alternatives), readings, expected)


def _at(a: Alternative, kept: np.ndarray) -> Alternative:
    return replace(
        a,
        values={k: v[kept] for k, v in a.values.items()},
        log_slope={k: v[kept] for k, v in a.log_slope.items()},
    )


def _at_all_levels(comparison: Comparison, kept: np.ndarray, whole: Mapping[str, Alternative]) -> Comparison:
    """The comparison with levels counted, and alternatives given, as before any level was left out."""
    causes = tuple(
        replace(
            c,
            since=int(kept[c.since]),
            alternative=whole[c.alternative.name] if c.alternative is not None else None,
        )
        for c in comparison.causes
    )
    return replace(comparison, causes=causes)


def _turns(
    engine: Engine, readings: Readings, alternatives: Sequence[Alternative], point: Point
) -> tuple[Comparison, FloatArray] | None:
    """Compare, move to where the best hypothesis leads, compare again there."""
    model = engine.model
    reference = (model.data.reference.gas_generator_speed, model.data.reference.temperature)
    spread = Spread(point, readings.resting, engine.rated_output_speed, reference)
    states = module_states(module_columns(engine.modules), len(FACTORS))
    roles = [s.role for s in readings.sensors]
    best: tuple[Comparison, FloatArray] | None = None
    for _ in range(_TURNS):
        prediction = predicted(model, roles, point.state, point.factors, readings.resting, engine.site)
        linear = spread.linear(readings, prediction, point, engine.site)
        if linear.residual.size < 2:
            return best
        try:
            normals = Normals(linear, states)
            comparison = compare(normals, readings, alternatives)
        except np.linalg.LinAlgError:  # readings so far off that rounding hides all others
            return best
        best = comparison, prediction.values
        left = explained(normals, readings, comparison)
        moved = spread.moved(normals.unknowns(left, comparison.best_module))
        if not np.all(np.isfinite(moved.state)) or _near(moved, point):
            return best
        point = moved
    return best


def _near(one: Point, other: Point) -> bool:
    state = np.abs(one.state - other.state) < _SMALL[:, None]
    return bool(np.all(state) and np.all(np.abs(one.factors[:8] - other.factors[:8]) < 0.05))
