"""The open naval data set: its rows, the engine model calibrated on decay states, and runs of it with noise.

The set is no part of the project; it is looked for beside the project's folder, or in SPOOLWRIGHT_DATA.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.comparison import FACTORS, HEALTHY_FACTORS, Compared, factor_record
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.numerics import Dual, FloatArray
from spoolwright.sources.typefile import load_type

HERE = Path(__file__).resolve().parent
DATA = Path(os.environ.get("SPOOLWRIGHT_DATA", HERE.parents[2] / "shared" / "data")) / "naval" / "naval.txt"
ABSENT = f"the open naval data set is not here ({DATA.name} in a folder 'naval' under SPOOLWRIGHT_DATA)"

LEVERS = slice(2, 9)
"""The two lowest of the nine positions are left out: there the load is not a matter of the lever (the shaft's
power varies by 30 and 60 % between decay states, everywhere else by less than 0.1 %)."""
SIX = {"gas_generator_speed": 4, "measured_gas_temperature": 7, "T3": 9, "p45": 10, "p3": 12, "fuel_flow": 15}
"""The six sensors, as outputs of the engine model, with their columns."""
LAST_DIGIT = np.array([0.001, 0.001, 0.001, 100.0, 100.0, 0.001])
"""Step of each sensor's last digit in the file [inner unit]."""
TORQUE, SHAFT, DECAYS = 2, 3, slice(16, 18)
INLET, PRESSURE, AMBIENT = 288.0, 99800.0, 101325.0
KELVIN = 273.15
MOVED = (
    "compressor_flow",
    "compressor_efficiency",
    "gas_generator_turbine_area",
    "gas_generator_turbine_efficiency",
    "power_turbine_area",
    "power_turbine_efficiency",
)
"""Condition factors on which decay may act."""
_INDEX = [FACTORS.index(f) for f in MOVED]
CENTRE = np.array([0.975, 0.9875])
"""Middle of the two decay coefficients' ranges, 0.95 to 1 and 0.975 to 1."""
HALF = np.array([0.025, 0.0125])


def states() -> FloatArray:
    """Rows of the set by decay state and lever position, shape (states, 9, 18)."""
    rows = np.loadtxt(DATA).reshape(-1, 9, 18)
    if not np.all(rows[:, :, 0] == rows[0, :, 0]) or not np.all(rows[:, :, DECAYS] == rows[:, :1, DECAYS]):
        raise ValueError(f"{DATA} has another order of rows than its description tells")
    return rows


def noisy(rows: FloatArray, level: float, rng: np.random.Generator) -> FloatArray:
    """Rows whose six sensors read with independent normal noise, relative to the figure in the column."""
    out = rows.copy()
    columns = list(SIX.values())
    out[..., columns] *= 1.0 + level * rng.standard_normal(out[..., columns].shape)
    return out


def readings(rows: FloatArray) -> FloatArray:
    """The six sensors in inner units, shape (6, ...)."""
    x = np.stack([rows[..., c] for c in SIX.values()])
    x[1] += KELVIN
    x[3:5] *= 1e5
    return x


def scatter(x: FloatArray, level: float) -> FloatArray:
    """Standard deviation of each of the six readings, in inner units: noise, and the set's last digit."""
    plain = x.copy()
    plain[1] -= KELVIN
    return np.hypot(level * plain, (LAST_DIGIT / math.sqrt(12.0)).reshape(6, *[1] * (x.ndim - 1)))


def engine() -> EngineModel:
    """The engine model, from the type file written from the set's description."""
    return EngineModel(load_type(HERE / "naval_type.toml").engine)


@dataclass(frozen=True)
class Decay:
    """What the seen decay states taught; the reference that runs are compared with.

    `law` (T, F, P) are the coefficients of the factors over `_terms` of the two decay coefficients, `power`
    and `shaft` (P,) the load at each lever position, `power_scatter` (P,) how it varies between states.
    """

    model: EngineModel
    law: FloatArray
    power: FloatArray
    power_scatter: FloatArray
    shaft: FloatArray

    def along(self, o: Observation, size: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Factors at decay coefficients, and their slopes."""
        law = self.law[:, :, [int(p) for p in o.points]]
        moved = (size - CENTRE) / HALF
        return np.tensordot(_terms(moved), law, 1), np.tensordot(_slopes(moved), law, 1)

    def surprise(self, seen: Compared) -> tuple[FloatArray, FloatArray]:
        """Residuals as they are, scattering as the readings do: the law leaves nothing over that matters."""
        errors = seen.errors()
        return seen.vector, errors.T @ errors

    def observation(self, rows: FloatArray, level: float, levers: list[int]) -> Observation:
        """A run at some of the lever positions: rows (len(levers), 18), as read."""
        x = np.concatenate([readings(rows), self.power[None, levers]])
        sd = np.concatenate([scatter(readings(rows), level), self.power_scatter[None, levers]])
        n, p = x.shape
        seeds = [Dual(x[i].copy(), np.eye(n)[i][:, None] * np.ones(p)) for i in range(n)]
        errors = np.zeros((n, p, n, p))
        for i in range(n):
            errors[i, range(p), i, range(p)] = sd[i]
        at = _conditions(self.model, self.shaft[levers])
        return Observation(
            engine="", visit="", run="", cell="", points=tuple(str(i) for i in levers),
            channels=(*SIX, "power"),
            observed={"power": seeds[6], **{o: s for o, s in zip(SIX, seeds, strict=False) if o in _OUTPUTS}},
            conditions=at, speed=seeds[0], readings=x, errors=errors.reshape(n * p, n, p), sources=(),
            random=np.ones(n * p, dtype=bool),
        )  # fmt: skip


_OUTPUTS = tuple(SIX)[1:]


def _conditions(model: EngineModel, shaft: FloatArray) -> dict[str, FloatArray]:
    one = np.ones(len(shaft))
    return {
        "temperature": INLET * one,
        "pressure": PRESSURE * one,
        "output_speed": shaft.copy(),
        "lower_heating_value": model.data.fuel.lower_heating_value * one,
        "fuel_temperature": model.data.fuel.temperature * one,
        "water_air_ratio": 0.0 * one,
        "exhaust_pressure_ratio": AMBIENT / PRESSURE * one,
    }


def calibrated(model: EngineModel, rows: FloatArray) -> Decay:
    """Calibrate on seen decay states: rows (S, P, 18) as read, their decay known.

    At each lever position the model, set by the load, is to give the six readings of every state. Six factors
    are fitted as parabolas of the two coefficients: where decay acts is found, not taken as known.
    """
    load = rows[..., TORQUE] * rows[..., SHAFT] * (math.pi / 30.0)
    power, shaft = load.mean(axis=0), rows[..., SHAFT].mean(axis=0)
    x = np.log(readings(rows))
    terms = _terms((rows[:, 0, DECAYS] - CENTRE) / HALF)
    law = np.zeros((terms.shape[1], len(FACTORS), len(power)))
    law[0] = _levelled(model, power, shaft, x.mean(axis=1))
    for _ in range(3):
        rest, slopes = _against(model, power, shaft, x, np.tensordot(terms, law, 1))
        for p in range(len(power)):
            design = np.einsum("kfs,st->ksft", slopes[..., p], terms).reshape(rest[..., p].size, -1)
            found = np.linalg.lstsq(design, rest[..., p].ravel(), rcond=None)[0]
            law[:, _INDEX, p] += found.reshape(len(MOVED), -1).T
    return Decay(model, law, power, load.std(axis=0), shaft)


def _terms(c: FloatArray) -> FloatArray:
    """Terms of the law in the two coefficients, each from -1 to 1 over its range: shape (..., 6)."""
    a, b = c[..., 0], c[..., 1]
    return np.stack([np.ones_like(a), a, b, a * a, b * b, a * b], axis=-1)


def _slopes(c: FloatArray) -> FloatArray:
    """Derivatives of the terms with each decay coefficient, shape (2, 6)."""
    a, b = c
    by = np.array([[0.0, 1.0, 0.0, 2.0 * a, 0.0, b], [0.0, 0.0, 1.0, 0.0, 2.0 * b, a]])
    return by / HALF[:, None]


def _levelled(model: EngineModel, power: FloatArray, shaft: FloatArray, x: FloatArray) -> FloatArray:
    """Factors with which the model gives the mean readings at each lever position, x (6, P)."""
    base = np.repeat(HEALTHY_FACTORS[:, None], len(power), axis=1)
    for _ in range(40):
        rest, slopes = _against(model, power, shaft, x[:, None], base[None])
        for p in range(len(power)):
            step = np.linalg.solve(slopes[:, :, 0, p], rest[:, 0, p])
            base[_INDEX, p] += step * min(1.0, 0.05 / max(1e-12, float(np.max(np.abs(step)))))
    return base


def _against(
    model: EngineModel, power: FloatArray, shaft: FloatArray, x: FloatArray, factors: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residuals (6, S, P) of x at factors (S, F, P), and slopes of the model's logarithms (6, 6, S, P)."""
    s, _, p = factors.shape
    at = {k: np.tile(v, s) for k, v in _conditions(model, shaft).items()}
    record = factor_record(factors.transpose(1, 0, 2).reshape(len(FACTORS), -1))
    found = sensitivities(
        solve(model, Condition(**at), record, set_by="power", target=np.tile(power, s)), MOVED, tuple(SIX)
    )
    value = found.value.reshape(6, s, p)
    return x - np.log(value), found.relative().reshape(6, 6, s, p)
