"""What the engine model and the channels among themselves say of a recording: hypotheses weighed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.gas.fuel import density_at
from spoolwright.core.reduction.doubt.compare import Cause, Comparison
from spoolwright.core.reduction.doubt.prediction import Site
from spoolwright.core.reduction.doubt.readings import Readings
from spoolwright.core.reduction.doubt.study import Engine, Round, study
from spoolwright.crafts.testcell.doubt.channels import Look, readings, sensors
from spoolwright.crafts.testcell.doubt.mistakes import (
    Mistake,
    Subject,
    Suspicion,
    reversed_thermocouple,
    swaps,
    unit_mistakes,
    whole_dimension,
)
from spoolwright.crafts.testcell.performance.basis import inner, known_numbers

FloatArray = NDArray[np.float64]

ALARM = 0.8
"""Probability that some channel is wrong from which a person is asked to look [-]."""
NAMED = 0.5
"""Probability from which one channel (or one swapped pair) is named alone [-]."""
_TOGETHER = 0.9
_MOST_NAMED = 4
_MISFIT = 6.0
_THERMOCOUPLES = (
    "measured_gas_temperature", "compressor_discharge_temperature", "exhaust_temperature", "probe",
)  # fmt: skip
_USUAL_DENSITY = 800.0
_USUAL_PRESSURE = 101325.0


@dataclass(frozen=True)
class Suspect:
    """A channel, or a swapped pair, with how likely it is the wrong one and what speaks for which mistake.

    `cause` is the most probable way of being wrong; `share` is its part of `probability`; `else_mistake` is
    the most probable discrete mistake besides, with its part. `expected` is what the channels should have
    read at the levels, by channel.
    """

    channels: tuple[str, ...]
    probability: float
    cause: Cause
    share: float
    mistake: Mistake | None
    else_mistake: tuple[Mistake, float] | None
    expected: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Doubted:
    """One thing that is wrong: a suspect alone, or several of which physics cannot say which it is."""

    suspects: tuple[Suspect, ...]
    alarm: float
    readings: Readings

    @property
    def alone(self) -> bool:
        """Whether one suspect can be named."""
        return len(self.suspects) == 1


@dataclass(frozen=True)
class Physics:
    """All that physics says of a recording.

    `agreed` tells for each channel that could be compared how likely it is wrong in any way; `misfit` is
    true where the readings contradict each other beyond any single explanation.
    """

    doubted: tuple[Doubted, ...]
    agreed: Mapping[str, float]
    misfit: bool
    levels: int


def physics_of(
    look: Look, model: EngineModel, barred: Mapping[str, Sequence[tuple[float, float]]]
) -> Physics:
    """Weigh every hypothesis about the recording's channels; stretches barred by their rows are left out."""
    if not look.levels:
        return Physics((), {}, False, 0)
    found = readings(look, barred)
    suspicions = _suspicions(look, found)
    engine = _engine(look, model)
    rounds = study(engine, found, [s.alternative for s in suspicions])
    if not rounds:
        return Physics((), {}, False, 0)
    known = {s.alternative.name: s.mistake for s in suspicions}
    doubted = [d for r in rounds if (d := _doubted(r, known)) is not None]
    first, last = rounds[0].comparison, rounds[-1].comparison
    compared = {s.channel for n, s in enumerate(found.sensors) if np.isfinite(found.means[n]).any()}
    return Physics(
        tuple(doubted),
        {c: first.of_channel(c) for c in compared},
        _misfit(last) and _doubted(rounds[-1], known) is None,
        len(look.levels),
    )


def _misfit(comparison: Comparison) -> bool:
    spread = np.sqrt(2.0 * comparison.freedom)
    return bool(comparison.misfit > comparison.freedom + _MISFIT * spread)


def _engine(look: Look, model: EngineModel) -> Engine:
    data = model.data
    output = data.reference.power_turbine_speed / data.shafts.gear_ratio
    speed = inner(look.main.power_turbine_speed)
    known = known_numbers(look.type_file, look.sheet)
    site = Site(known, speed / output)
    return Engine(model, tuple(m.factors for m in look.type_file.module if m.factors), speed, site)


def _fuel_temperature(look: Look) -> float:
    """As recorded where it can be one, else 25 degC."""
    channel = next((c for c in look.channels.values() if c.role == "fuel_temperature"), None)
    if channel is None:
        return 298.15
    low, high = look.plausible(channel)
    x = look.recording[channel.id]
    x = x[np.isfinite(x)]
    middle = float(np.median(x)) if x.size else np.nan
    return middle if low <= middle <= high else 298.15


def _suspicions(look: Look, found: Readings) -> list[Suspicion]:
    subjects = [
        Subject(channel, look.recording.series[channel.id], found.means[n])
        for n, (channel, _) in enumerate(sensors(look))
        if np.isfinite(found.means[n]).any()
    ]
    ambient = _ambient_pressure(found)
    density = _density(look)
    units = [s for subject in subjects for s in unit_mistakes(subject, ambient, density)]
    out = [*units, *whole_dimension(units, subjects), *swaps(subjects)]
    junction = next((s.means for s in subjects if s.channel.role == "ambient_temperature"), None)
    if junction is not None:
        out += [reversed_thermocouple(s, junction) for s in subjects if s.channel.role in _THERMOCOUPLES]
    return out


def _ambient_pressure(found: Readings) -> float:
    """Middle of the air pressures that can be ones."""
    roles = ("ambient_pressure", "inlet_pressure", "exhaust_pressure")
    rows = [found.means[n] for n, s in enumerate(found.sensors) if s.role in roles]
    values = np.concatenate(rows) if rows else np.zeros(0)
    values = values[(values > 55e3) & (values < 110e3)]
    return float(np.median(values)) if values.size else _USUAL_PRESSURE


def _density(look: Look) -> float:
    fuel = look.sheet.fuel
    at_15 = inner(fuel.density_15c) if fuel is not None else _USUAL_DENSITY
    return float(density_at(at_15, min(max(_fuel_temperature(look), 239.0), 367.0)))


def _doubted(one: Round, known: Mapping[str, Mistake]) -> Doubted | None:
    """What a comparison comes to: nothing, a suspect, or several."""
    comparison = one.comparison
    alarm = 1.0 - comparison.sound
    if alarm < ALARM or not comparison.causes:
        return None
    groups: dict[tuple[str, ...], list[tuple[float, Cause]]] = {}
    for cause, p in zip(comparison.causes, comparison.probabilities, strict=True):
        groups.setdefault(cause.channels, []).append((p, cause))
    ranked = sorted(groups.items(), key=lambda g: -sum(p for p, _ in g[1]))
    suspects = [_suspect(one, channels, causes, known) for channels, causes in ranked[:_MOST_NAMED]]
    if suspects[0].probability >= NAMED:
        return Doubted((suspects[0],), alarm, one.readings)
    kept, total = [], 0.0
    for s in suspects:
        kept.append(s)
        total += s.probability
        if total >= _TOGETHER * alarm:
            break
    return Doubted(tuple(kept), alarm, one.readings)


def _suspect(
    one: Round,
    channels: tuple[str, ...],
    causes: list[tuple[float, Cause]],
    known: Mapping[str, Mistake],
) -> Suspect:
    total = min(sum(p for p, _ in causes), 1.0)
    p, cause = max(causes, key=lambda c: c[0])
    same = sum(q for q, c in causes if (c.kind, c.alternative) == (cause.kind, cause.alternative))
    mistake = known[cause.alternative.name] if cause.alternative is not None else None
    expected = {c: one.expected[one.readings.index(c)] for c in channels}
    others = [(q, c.alternative) for q, c in causes if c.alternative is not None and c is not cause]
    second = max(others, key=lambda o: o[0], default=None)
    besides = (known[second[1].name], second[0] / max(total, 1e-300)) if second is not None else None
    return Suspect(channels, total, cause, max(same, p) / max(total, 1e-300), mistake, besides, expected)
