"""How far readings may depart from the prediction: everything that is not known, as independent errors.

Each unknown is a column: what one standard deviation of it does to every reading. Their outer products and
the scatter make the covariance of the readings about the prediction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.gas.saturation import saturation_pressure
from spoolwright.core.reduction.doubt.prediction import STATES, Prediction, Site
from spoolwright.core.reduction.doubt.priors import (
    ADJUSTED,
    AIR,
    BUILD,
    FACTORS,
    NEW_CONFORMATION,
    PROBE_MEAN,
    PROBE_PATTERN,
    REACH,
    RECOVERY,
    SHAPE,
    SOAK_K,
    STATION,
    WAVES,
    WORN,
)
from spoolwright.core.reduction.doubt.readings import Readings
from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray

_NOMINAL = np.array([0.0 if f in ("leak", "vane_offset") else 1.0 for f in FACTORS])
_FUEL = ("fuel_mass_flow", "fuel_volume_flow")
_CELL = {
    "power": ("torque", "dynamometer_torque"), "measured_gas_temperature": ("measured_gas_temperature",),
    "fuel_flow": _FUEL, "gas_generator_speed": ("gas_generator_speed",),
}  # fmt: skip
_ZERO = ("torque", "dynamometer_torque")
_DENSITY = 0.0015
_CONFORMATION, _NO_CONFORMATION = 0.002, 0.012
_NO_HEATING_VALUE = 0.007
_REST_ZERO = 0.002
_STEEPEST = 0.15


@dataclass(frozen=True)
class Linear:
    """The readings about a prediction, in units of each channel's own size.

    Parameters
    ----------
    sensor, level : array of int, shape (n,)
        Which sensor and level each datum is [-].
    residual : array, shape (n,)
        Reading less prediction, carried to the prior's centre [-].
    columns : array, shape (n, k)
        What one standard deviation of each unknown common to the run does [-].
    local : array, shape (n, m)
        What one standard deviation of each unknown of the datum's own level does [-].
    worn : array, shape (n, factors)
        What one standard deviation of a deteriorated module's factor does [-].
    scatter : array, shape (n,)
        Variance of independent scatter [-].
    scale : array, shape (sensors,)
        Size by which a channel is divided [inner unit].
    predicted : array, shape (n,)
        Prediction [inner unit].
    levels : int
        Number of levels [-].
    """

    sensor: np.ndarray
    level: np.ndarray
    residual: FloatArray
    columns: FloatArray
    local: FloatArray
    worn: FloatArray
    scatter: FloatArray
    scale: FloatArray
    predicted: FloatArray
    levels: int

    def covariance(self) -> FloatArray:
        """Covariance of the readings about the prediction [-]."""
        same = self.level[:, None] == self.level[None, :]
        out = self.columns @ self.columns.T + same * (self.local @ self.local.T)
        out[np.diag_indices_from(out)] += self.scatter
        return np.asarray(out)


@dataclass(frozen=True)
class Point:
    """Where the prediction stands: state and factors of every level.

    Parameters
    ----------
    state : array, shape (states, levels)
        See `prediction.STATES` [inner unit].
    factors : array, shape (factors, levels)
        See `priors.FACTORS` [-].
    """

    state: FloatArray
    factors: FloatArray

    @classmethod
    def healthy(cls, state: FloatArray) -> Point:
        """A state with every module as the type's data say [-]."""
        return cls(state, np.repeat(_NOMINAL[:, None], state.shape[1], axis=1))


@dataclass(frozen=True)
class Unknowns:
    """Values of the unknowns of `Linear`, in standard deviations.

    Parameters
    ----------
    common : array, shape (k,)
        Of those common to the run [-].
    local : array, shape (m, levels)
        Of those of each level [-].
    worn : array, shape (factors,)
        Of a deteriorated module's factors [-].
    """

    common: FloatArray
    local: FloatArray
    worn: FloatArray


class Spread:
    """Prior of a run's unknowns about a first state.

    Parameters
    ----------
    first : Point
        State on which most readings agree [-].
    resting : array of bool, shape (levels,)
        Levels at which the engine stands still [-].
    rated_output_speed : float
        As the power turbine channel reads it [rpm].
    reference : (float, float)
        Reference gas generator speed and inlet temperature of the model [rpm, K].
    """

    def __init__(
        self,
        first: Point,
        resting: BoolArray,
        rated_output_speed: float,
        reference: tuple[float, float],
    ) -> None:
        state = first.state
        speed, temperature = reference
        theta = np.log(state[1] / temperature)
        referred = state[0] - np.log(speed) - 0.5 * theta
        ones = np.where(resting, 0.0, 1.0)
        self.features = np.array([ones, referred * ones, referred**2 * ones, theta * ones])
        self.steepness = np.minimum(np.abs(referred), _STEEPEST) / _STEEPEST * ones
        saturated = 0.622 * np.asarray(saturation_pressure(np.clip(state[1], 200.0, 370.0), "water"))
        width = np.ones_like(state)
        width[7] = saturated / np.exp(state[2])
        width[4] = width[5] = np.exp(4.0 * referred) * ones
        mean = np.array([AIR[name][0] for name in STATES])[:, None] * width
        mean[0], mean[6] = state[0], np.log(rated_output_speed)
        self.mean, self.first = mean, state
        self.common = np.array([AIR[name][1] for name in STATES])[:, None] * width
        self.single = np.array([AIR[name][2] for name in STATES])[:, None] * width
        self.shape = np.array([[BUILD[f], *SHAPE[f]] for f in FACTORS])
        self.wavy = np.array([FACTORS.index(f) for f in WAVES])
        self.waves = np.array(list(WAVES.values()))
        self.worn = np.array([WORN[f] for f in FACTORS])

    def linear(self, readings: Readings, prediction: Prediction, point: Point, site: Site) -> Linear:
        """Readings about a prediction, with everything that is not known of them.

        Parameters
        ----------
        readings : Readings
            Means at the levels [inner unit].
        prediction : Prediction
            At `point` [inner unit].
        point : Point
            Where the prediction stands [-].
        site : Site
            What the sheet and the type file know [-].

        Returns
        -------
        Linear
            Data that are not recorded or cannot be predicted are left out [-].
        """
        values = prediction.values
        good = np.isfinite(readings.means) & np.isfinite(values) & np.isfinite(readings.random)
        j, h = np.nonzero(good)
        scale = _scales(values, readings)
        per = 1.0 / scale[j]
        by_state = prediction.by_state[j, :, h] * per[:, None]
        by_factor = prediction.by_factor[j, :, h] * per[:, None]
        away = self.mean - point.state
        off = _NOMINAL[:, None] - point.factors
        residual = (readings.means[j, h] - values[j, h]) * per
        residual -= np.einsum("ns,sn->n", by_state, away[:, h]) + np.einsum("nf,fn->n", by_factor, off[:, h])
        blocks = [
            by_state * self.common[:, h].T,
            *[by_factor * (self.shape[:, k] * self.features[k, h][:, None]) for k in range(4)],
            *_adjusted(by_factor, values[j, h] * per, readings, j, h),
            _instrument_columns(readings, values, j, h, per, self.steepness),
            _sheet_columns(readings, prediction, j, h, per, site),
            _place_columns(readings, values, j, h, per),
        ]
        worn = by_factor * (self.worn * self.features[0, h][:, None])
        scatter = (readings.random[j, h] * per) ** 2 + (RECOVERY * np.abs(values[j, h]) * per) ** 2
        waves = by_factor[:, self.wavy] * self.waves * self.features[0, h][:, None]
        local = np.concatenate([by_state * self.single[:, h].T, waves], axis=1)
        columns = np.concatenate(blocks, axis=1)
        used = np.any(columns != 0.0, axis=0)
        used[: len(STATES) + 4 * len(FACTORS)] = True
        return Linear(
            j, h, residual, columns[:, used], local, worn, scatter, scale, values[j, h], readings.time.size
        )

    def moved(self, unknowns: Unknowns) -> Point:
        """Where the unknowns lead.

        Parameters
        ----------
        unknowns : Unknowns
            Values in standard deviations [-].

        Returns
        -------
        Point
            State and factors, speed and air kept near where most readings agree [inner unit].
        """
        states = self.mean.shape[0]
        state = (
            self.mean + self.common * unknowns.common[:states, None] + self.single * unknowns.local[:states]
        )
        reach = np.array([REACH[name] for name in STATES])[:, None]
        state = np.clip(state, self.first - reach, self.first + reach)
        shape = unknowns.common[states : states + 4 * len(FACTORS)].reshape(4, len(FACTORS))
        factors = _NOMINAL[:, None] + np.einsum("kf,fk,kh->fh", shape, self.shape, self.features)
        factors = factors + (self.worn * unknowns.worn)[:, None] * self.features[0]
        low = np.where(_NOMINAL > 0.5, 0.3, -np.inf)[:, None]
        factors = np.maximum(factors, low)
        factors[FACTORS.index("leak")] = np.clip(factors[FACTORS.index("leak")], -0.02, 0.3)
        return Point(state, factors)


def _scales(values: FloatArray, readings: Readings) -> FloatArray:
    """Size of each channel: the largest prediction at the running levels."""
    size = np.nan_to_num(np.abs(values)).max(axis=1, initial=0.0)
    vane = np.array([s.role == "vane_angle" for s in readings.sensors])
    return np.asarray(np.where(vane, 10.0, np.where(size > 0.0, size, 1.0)))


def _adjusted(
    by_factor: FloatArray, relative: FloatArray, readings: Readings, j: np.ndarray, h: np.ndarray
) -> list[FloatArray]:
    """An adjustment may change any factor, and the torquemeter's conformation, from then on."""
    size = ADJUSTED * np.array([BUILD[f] for f in FACTORS])
    torque = np.array([s.role == "torque" for s in readings.sensors])[j]
    out = []
    for k in range(1, int(readings.block.max(initial=0)) + 1):
        after = (readings.block[h] >= k)[:, None]
        out += [by_factor * size * after, (relative * torque)[:, None] * NEW_CONFORMATION * after]
    return out


def _instrument_columns(
    readings: Readings,
    values: FloatArray,
    j: np.ndarray,
    h: np.ndarray,
    per: FloatArray,
    steepness: FloatArray,
) -> FloatArray:
    """Offsets and gains by source; an offset of a temperature may turn with load besides."""
    columns: dict[str, FloatArray] = {}

    def add(name: str, rows: np.ndarray, column: FloatArray) -> None:
        columns.setdefault(name, np.zeros(j.size))[rows] += column

    for n, sensor in enumerate(readings.sensors):
        rows = np.flatnonzero(j == n)
        if rows.size == 0:
            continue
        for source, size in sensor.absolute:
            add(f"{source} offset", rows, size * per[rows])
            if "temperature" in sensor.role or sensor.role == "probe":
                add(f"{source} turns", rows, size * steepness[h[rows]] * per[rows])
        for source, size in sensor.relative:
            add(f"{source} gain", rows, size * (values[n, h[rows]] - sensor.zero) * per[rows])
    return np.array(list(columns.values())).T.reshape(j.size, len(columns))


def _sheet_columns(
    readings: Readings, prediction: Prediction, j: np.ndarray, h: np.ndarray, per: FloatArray, site: Site
) -> FloatArray:
    """What the sheet and the cell's correlation leave open."""
    roles = np.array([s.role for s in readings.sensors])[j]
    relative = prediction.values[j, h] * per
    heating = site.known.get("heating_value")
    u = max(heating.uncertainty / heating.value, 0.001) if heating else _NO_HEATING_VALUE
    conformation = _CONFORMATION if "conformation" in site.known else _NO_CONFORMATION
    out = [
        prediction.by_heating_value[j, h] * per * u,
        relative * (roles == "torque") * conformation,
        relative
        * (roles == "fuel_volume_flow")
        * (_DENSITY if "density_15c" in site.known else 10 * _DENSITY),
    ]
    for quantity, concerned in _CELL.items():
        factor = site.known.get(f"cell factor of {quantity}")
        open_ = factor.uncertainty / factor.value if factor else 0.003
        out.append(relative * np.isin(roles, concerned) * open_)
    return np.array(out).T


def _place_columns(
    readings: Readings, values: FloatArray, j: np.ndarray, h: np.ndarray, per: FloatArray
) -> FloatArray:
    """What a probe's place leaves open, and what an engine at rest has kept of its heat or friction."""
    out = []
    still = readings.resting[h]
    relative = np.where(still, 0.0, values[j, h] * per)
    rise = _temperature_rise(readings, values)
    probes = [n for n, sensor in enumerate(readings.sensors) if sensor.role == "probe"]
    out.append(
        np.isin(j, probes)
        * np.where(still, 0.0, rise[h] * per)
        * (PROBE_MEAN if len(probes) > 3 else PROBE_PATTERN)
    )
    for n, sensor in enumerate(readings.sensors):
        mine = j == n
        out.append(mine * relative * STATION.get(sensor.role, 0.0))
        if sensor.role == "probe":
            pattern = np.where(still, 0.0, rise[h] * per) * PROBE_PATTERN
            out.append((mine - np.isin(j, probes) / len(probes)) * pattern)
        elif sensor.role in _ZERO:
            out.append(mine * still * _REST_ZERO)
        if _keeps_heat(sensor.role):
            out.append(mine * still * SOAK_K * per)
    return np.array(out).T.reshape(j.size, len(out))


def _keeps_heat(role: str) -> bool:
    return role in (
        "measured_gas_temperature",
        "probe",
        "exhaust_temperature",
        "compressor_discharge_temperature",
    )


def _temperature_rise(readings: Readings, values: FloatArray) -> FloatArray:
    """From compressor exit to between the turbines; half the gas temperature where no probe stands there."""
    roles = [s.role for s in readings.sensors]
    hot = next((values[i] for i, r in enumerate(roles) if r in ("measured_gas_temperature", "probe")), None)
    if hot is None:
        return np.zeros(readings.time.size)
    cold = "compressor_discharge_temperature"
    return np.asarray(np.nan_to_num(hot - values[roles.index(cold)] if cold in roles else 0.5 * hot))


def module_columns(modules: Sequence[Sequence[str]]) -> list[np.ndarray]:
    """Places of each module's factors in `priors.FACTORS` [-]."""
    return [np.array([FACTORS.index(f) for f in m if f in FACTORS], dtype=int) for m in modules]
