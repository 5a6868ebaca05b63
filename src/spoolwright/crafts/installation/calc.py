"""Physics of the check on the aircraft: what the bench run says to expect that day, and what was read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.gas.humidity import from_relative_humidity
from spoolwright.core.numerics import FloatArray
from spoolwright.core.reduction.baseline import FEATURES, log_reynolds, shape_features
from spoolwright.core.reduction.model_method import ModelMethod

_OF: Final = ("power", "gas_generator_speed")
_TURBINES: Final = ("gas_generator_turbine_efficiency", "power_turbine_efficiency")
_WEARS: Final = ("compressor_efficiency", *_TURBINES, "leak")
"""What may have changed since the bench: each takes another part of power at another setting."""
_BY: Final = (
    "target", "temperature", "pressure", "output_speed", "lower_heating_value", "water_air_ratio",
    "exhaust_pressure_ratio", "customer_bleed", "accessory_load",
)  # fmt: skip


@dataclass(frozen=True)
class Bench:
    """The accepted run of the engine, and the model it is carried to the day of a check with.

    Parameters
    ----------
    method : ModelMethod
        The run's points against the type's model [-].
    model : EngineModel
        Model of the type [-].
    pressure, water_air_ratio : float
        Reference condition of the ratings [Pa, kg/kg].
    power, gas_temperature : float
        Rated power and MGT at which margins are told [W, K].
    speed_ratio : float
        Speed that the power turbine gauge reads over output shaft speed [-].
    """

    method: ModelMethod
    model: EngineModel
    pressure: float
    water_air_ratio: float
    power: float
    gas_temperature: float
    speed_ratio: float


@dataclass(frozen=True)
class Gauge:
    """How well a gauge reads.

    Parameters
    ----------
    lasting, reading : float
        Standard uncertainty of the error that stays, and of one reading [inner unit].
    """

    lasting: float
    reading: float


@dataclass(frozen=True)
class Figure:
    """A figure of the installation.

    Parameters
    ----------
    value, uncertainty : float
        Best value and its standard uncertainty [inner unit].
    """

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Airframe:
    """What the installation does to the engine, and how the aircraft's gauges read.

    Parameters
    ----------
    inlet_loss, temperature_rise, back_pressure : Figure
        Part of ambient pressure lost, warming of the air, exhaust pressure over ambient less 1 [-, K, -].
    accessory_power, bleed, humidity, heating_value : Figure
        Power taken, bleed while it is on, relative humidity, of the fuel [W, -, -, J/kg].
    gauges : mapping
        Quantity of `Checks` to its gauge [inner unit].
    """

    inlet_loss: Figure
    temperature_rise: Figure
    back_pressure: Figure
    accessory_power: Figure
    bleed: Figure
    humidity: Figure
    heating_value: Figure
    gauges: Mapping[str, Gauge]


@dataclass(frozen=True)
class Checks:
    """n readings on the aircraft.

    Parameters
    ----------
    pressure, outside_air_temperature : array, shape (n,)
        Ambient [Pa, K].
    gas_generator_speed, power_turbine_speed : array, shape (n,)
        Speeds [rpm].
    torque, measured_gas_temperature : array, shape (n,)
        Torque and MGT [N m, K].
    bleed, anti_ice : array, shape (n,)
        1 where it was on, else 0 [-].
    """

    pressure: FloatArray
    outside_air_temperature: FloatArray
    gas_generator_speed: FloatArray
    power_turbine_speed: FloatArray
    torque: FloatArray
    measured_gas_temperature: FloatArray
    bleed: FloatArray
    anti_ice: FloatArray

    @property
    def power(self) -> FloatArray:
        """Shaft power [W]."""
        return np.asarray(self.torque * self.power_turbine_speed * (math.pi / 30.0))


@dataclass(frozen=True)
class Told:
    """n values with what makes them uncertain.

    Parameters
    ----------
    value : array, shape (n,)
        Best values [unit of the quantity].
    lasting : array, shape (l, n)
        What each error that stays from check to check gives [unit of the quantity].
    reading : array, shape (n,)
        Standard uncertainty from what is drawn anew at each check [unit of the quantity].
    """

    value: FloatArray
    lasting: FloatArray
    reading: FloatArray

    @property
    def uncertainty(self) -> FloatArray:
        """Combined standard uncertainty, shape (n,) [unit of the quantity]."""
        return np.asarray(np.sqrt(np.sum(self.lasting**2, axis=0) + self.reading**2))

    def times(self, factor: FloatArray) -> Told:
        """The values times known factors, shape (n,) [unit of the quantity]."""
        return Told(self.value * factor, self.lasting * factor, self.reading * np.abs(factor))


@dataclass(frozen=True)
class Against:
    """n checks against the bench run.

    Parameters
    ----------
    solved : array of bool, shape (n,)
        Whether the model runs at the check's condition; elsewhere values are NaN [-].
    expected_power, expected_speed : array, shape (n,)
        Of the engine as it was on the bench, at the check's MGT and condition [W, rpm].
    power, speed : Told
        ln of measured over expected [-].
    gas_temperature : Told
        MGT less the MGT expected at the measured power [K].
    margin : Told
        Power at rated MGT and reference condition over rated power, less 1 [-].
    gas_temperature_margin : Told
        Rated MGT less the MGT at rated power and reference condition [K].
    bench_margin, bench_margin_uncertainty : float
        The margin of the bench run itself [-].
    """

    solved: NDArray[np.bool_]
    expected_power: FloatArray
    expected_speed: FloatArray
    power: Told
    speed: Told
    gas_temperature: Told
    margin: Told
    gas_temperature_margin: Told
    bench_margin: float
    bench_margin_uncertainty: float


def against_bench(checks: Checks, bench: Bench, airframe: Airframe) -> Against:
    """Checks on the aircraft against the engine as it was on the bench.

    Parameters
    ----------
    checks : Checks
        Readings [inner unit].
    bench : Bench
        The accepted run [-].
    airframe : Airframe
        Installation and gauges [-].

    Returns
    -------
    Against
        Differences, margins and their uncertainty [inner unit].

    Notes
    -----
    The type's model runs at the check's condition and MGT; the bench run's ratio of engine to model,
    predicted for that condition, makes it this engine. What the check gives more or less is carried to the
    rating as the model says for wear of a module; which module wears is not known, so the mean over the
    candidates is taken and their spread is an error that stays. Most of the bench's own level then cancels in
    the margin. Valid within the model's range; how the ratio changes with an error of the check's MGT or
    temperature is of second order and left out.

    References
    ----------
    JCGM 100:2008, F.1.2.3 (results that share errors).
    """
    condition = _condition(checks, airframe, bench.speed_ratio)
    solution = solve(bench.model, condition, set_by="mgt", target=checks.measured_gas_temperature)
    slopes = sensitivities(solution, _BY, _OF).relative()
    features = _features(checks, condition, bench)
    levels = [_levels(bench.method, q, features, np.asarray(getattr(solution, q), dtype=float)) for q in _OF]
    measured = (checks.power, checks.gas_generator_speed)
    told = [
        _told(n, measured[n], levels[n], slopes[n], checks, airframe, condition, bench, features)
        for n in range(2)
    ]
    per_kelvin = slopes[0, 0]
    wear = sensitivities(solution, _WEARS, ("power",)).relative()[0]
    margin, bench_margin, bench_u, slope = _margin(told[0], levels[0][1], bench, wear)
    return Against(
        solved=np.asarray(solution.solved),
        expected_power=np.exp(levels[0][0]),
        expected_speed=np.exp(levels[1][0]),
        power=told[0],
        speed=told[1],
        gas_temperature=told[0].times(-1.0 / per_kelvin),
        margin=margin,
        gas_temperature_margin=_in_kelvin(margin, slope),
        bench_margin=bench_margin,
        bench_margin_uncertainty=bench_u,
    )


def _condition(checks: Checks, airframe: Airframe, speed_ratio: float) -> Condition:
    ones = np.ones_like(checks.pressure)
    loss = airframe.inlet_loss.value
    return Condition(
        temperature=checks.outside_air_temperature + airframe.temperature_rise.value,
        pressure=checks.pressure * (1.0 - loss),
        output_speed=checks.power_turbine_speed / speed_ratio,
        lower_heating_value=airframe.heating_value.value * ones,
        fuel_temperature=298.15 * ones,
        water_air_ratio=from_relative_humidity(
            airframe.humidity.value, checks.outside_air_temperature, checks.pressure, "water"
        ),
        exhaust_pressure_ratio=(1.0 + airframe.back_pressure.value) / (1.0 - loss) * ones,
        customer_bleed=airframe.bleed.value * checks.bleed,
        anti_ice=checks.anti_ice * ones,
        accessory_load=airframe.accessory_power.value * ones,
    )


def _features(checks: Checks, condition: Condition, bench: Bench) -> FloatArray:
    """Terms of the model's shape at the checks, shape (n, p)."""
    curve = bench.method.reference
    theta = np.asarray(condition.temperature) / curve.temperature
    return shape_features(
        np.asarray(curve.setting(checks.measured_gas_temperature, condition.temperature)),
        np.log(theta),
        np.asarray(condition.water_air_ratio) - bench.water_air_ratio,
        log_reynolds(theta, np.asarray(condition.pressure) / bench.pressure, curve.temperature),
    )


def _levels(
    method: ModelMethod, quantity: str, features: FloatArray, modelled: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """ln of what the engine would give as it was on the bench, shape (n,), and its errors, shape (k, n)."""
    found = [method.log_ratio_under(quantity, row) for row in features]
    errors = np.array([c for _, c in found]).T
    with np.errstate(invalid="ignore"):
        return np.log(modelled) + np.array([v for v, _ in found]), errors


def _told(
    n: int,
    measured: FloatArray,
    level: tuple[FloatArray, FloatArray],
    slopes: FloatArray,
    checks: Checks,
    airframe: Airframe,
    condition: Condition,
    bench: Bench,
    features: FloatArray,
) -> Told:
    """ln of measured over expected, for power (n 0) or gas generator speed (n 1)."""
    gauges = _gauge_slopes(n, slopes, checks, airframe, bench.speed_ratio)
    lasting = [g * airframe.gauges[q].lasting for q, g in gauges.items()]
    reading = [g * airframe.gauges[q].reading for q, g in gauges.items()]
    lasting += _installation(slopes, checks, airframe, condition)
    by = dict(zip(_BY, slopes, strict=True))
    per_humidity = np.asarray(condition.water_air_ratio) / airframe.humidity.value
    reading.append(by["water_air_ratio"] * per_humidity * airframe.humidity.uncertainty)
    reading.append(by["lower_heating_value"] * airframe.heating_value.uncertainty)
    spread = bench.method.baseline.shapes[_OF[n]].spread
    setting = features[:, FEATURES.index("s")]
    reading += [spread.run_setting * setting, np.full_like(setting, math.hypot(spread.run, spread.point))]
    return Told(
        np.log(measured) - level[0],
        np.concatenate([np.array(lasting), -level[1]]),
        np.sqrt(np.sum(np.square(reading), axis=0)),
    )


def _gauge_slopes(
    n: int, slopes: FloatArray, checks: Checks, airframe: Airframe, speed_ratio: float
) -> dict[str, FloatArray]:
    """What a gauge's error adds to ln of measured over expected, for each inner unit of it."""
    by = dict(zip(_BY, slopes, strict=True))
    out = {
        "pressure": -by["pressure"] * (1.0 - airframe.inlet_loss.value),
        "outside_air_temperature": -by["temperature"],
        "power_turbine_speed": -by["output_speed"] / speed_ratio,
        "measured_gas_temperature": -by["target"],
    }
    if n == 0:
        out["torque"] = 1.0 / checks.torque
        out["power_turbine_speed"] = out["power_turbine_speed"] + 1.0 / checks.power_turbine_speed
    else:
        out["gas_generator_speed"] = 1.0 / checks.gas_generator_speed
    return out


def _installation(
    slopes: FloatArray, checks: Checks, airframe: Airframe, condition: Condition
) -> list[FloatArray]:
    """What the installation's figures add: one aircraft, so each stays from check to check."""
    by = dict(zip(_BY, slopes, strict=True))
    left = 1.0 - airframe.inlet_loss.value
    back = by["exhaust_pressure_ratio"] / left
    inlet = -by["pressure"] * checks.pressure + back * np.asarray(condition.exhaust_pressure_ratio)
    return [
        -inlet * airframe.inlet_loss.uncertainty,
        -by["temperature"] * airframe.temperature_rise.uncertainty,
        -back * airframe.back_pressure.uncertainty,
        -by["accessory_load"] * airframe.accessory_power.uncertainty,
        -by["customer_bleed"] * checks.bleed * airframe.bleed.uncertainty,
    ]


def _margin(
    power: Told, bench_errors: FloatArray, bench: Bench, wear: FloatArray
) -> tuple[Told, float, float, float]:
    """Margin of each check, of the bench run with its uncertainty, and d ln power / dMGT at the rating."""
    method = bench.method
    log, slope = method.reference.log_at("power", bench.gas_temperature)
    setting = float(method.reference.setting(bench.gas_temperature, method.reference.temperature))
    ratio, errors = method.log_ratio_at("power", setting)
    level = log + ratio - math.log(bench.power)
    carried = _wear_at_rating(bench)[:, None] / wear
    part, apart = carried.mean(axis=0), carried.std(axis=0)
    own = power.lasting[: power.lasting.shape[0] - bench_errors.shape[0]] * part
    lasting = np.concatenate([own, errors[:, None] - bench_errors * part, [power.value * apart]])
    over = np.exp(level + power.value * part)
    told = Told(over - 1.0, lasting * over, power.reading * part * over)
    of_bench = math.exp(level)
    return told, of_bench - 1.0, of_bench * float(np.sqrt(errors @ errors)), slope


def _wear_at_rating(bench: Bench) -> FloatArray:
    """What each kind of wear does to ln power at rated MGT and reference condition, shape (wears,)."""
    reference = bench.model.data.condition(
        temperature=bench.method.reference.temperature,
        pressure=bench.pressure,
        water_air_ratio=bench.water_air_ratio,
    )
    at = solve(bench.model, reference, set_by="mgt", target=bench.gas_temperature)
    return np.asarray(sensitivities(at, _WEARS, ("power",)).relative()[0, :, 0])


def _in_kelvin(margin: Told, slope: float) -> Told:
    per = 1.0 / ((1.0 + margin.value) * slope)  # to the first order at the rating
    return Told(np.log1p(margin.value) / slope, margin.lasting * per, margin.reading * per)
