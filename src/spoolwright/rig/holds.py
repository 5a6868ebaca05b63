"""All holds of many runs of one engine shape, solved in batches, and the true traces that follow from them.
All holds of many runs of one engine shape, solved in batches, and the true traces that follow from them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.setting import SetBy
from spoolwright.core.cycle.solution import Solution
from spoolwright.core.cycle.solve import solve
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import RangeError
from spoolwright.rig.day import Day, rated_output_speed
from spoolwright.rig.draws import stream
from spoolwright.rig.result import HoldTruth
from spoolwright.rig.schedule import Step, target_today
from spoolwright.rig.truth import stacked

FloatArray = NDArray[np.float64]
_Record = TypeVar("_Record", Condition, ConditionFactors)

SLOW_SHARE, SLOW_TIME = 0.004, 45.0
"""Efficiency that casings still cold cost, for each unit of relative change of T4 [-], and how long it
lasts [s].
"""
_TRACED = ("power", "ng", "mgt", "t3", "p3", "p45", "t5", "fuel_flow", "vane_angle", "bleed")


@dataclass(frozen=True)
class Hold:
    """One step held from one time to another [s]."""

    step: Step
    from_s: float
    to_s: float


class SolvedHolds:
    """All holds of a group of days with one engine model; arrays of shape (days, holds)."""

    def __init__(self, known: TypeFile, days: list[Day], holds: list[Hold], seed: list[int]) -> None:
        self.days, self.holds = days, holds
        self.model = days[0].engine.model
        self.reference = self.model.data.reference
        shape = (len(days), len(holds))
        ends = np.array([[h.from_s, h.to_s] for h in holds])
        middle = ends.mean(axis=1)
        self.ambient = [
            np.array([_weather(day, times) for day in days]) for times in (ends[:, 0], middle, ends[:, 1])
        ]
        scatter = np.array([stream(s, "operator").standard_normal(len(holds)) for s in seed])
        jitter = np.array([stream(s, "governor").standard_normal(len(holds)) for s in seed])
        speeds = np.array([rated_output_speed(known, d.engine) for d in days])[:, None]
        self.np = speeds * (1.0 + 0.0004 * jitter)
        self.guess = np.array([[self._relative_speed(h.step) for h in holds]] * len(days))
        self.inlets = [self._inlet(when) for when in range(3)]
        target = np.empty(shape)
        for k, day in enumerate(days):
            for h, hold in enumerate(holds):
                target[k, h] = self._true_target(known, day, k, h, hold.step, float(scatter[k, h]))
        self.settled = self._by_setting(target)
        self.start, self.end, self.fast, self.slow = self._at_power(np.asarray(self.settled["power"]))

    def _relative_speed(self, step: Step) -> float:
        """Corrected speed that stands for the flow through intake and exhaust."""
        return step.target / self.reference.gas_generator_speed if step.set_by == "ng" else 1.0

    def _true_target(self, known: TypeFile, day: Day, k: int, h: int, step: Step, scatter: float) -> float:
        temperature, pressure = self.inlets[1]
        today = target_today(known, step, float(temperature[k, h]), float(pressure[k, h]))
        return day.true_setting(step, today + 0.25 * step.tolerance * scatter)

    def _inlet(self, when: int) -> tuple[FloatArray, FloatArray]:
        """Total temperature and pressure at the engine inlet at start (0), middle (1) or end (2) of the
        holds.
        """
        t, p = self.ambient[when][:, 0], self.ambient[when][:, 1]
        pairs = [
            (d.cell.inlet_temperature(t[k], self.guess[k]), d.cell.inlet_pressure(p[k], self.guess[k]))
            for k, d in enumerate(self.days)
        ]
        return np.array([a for a, _ in pairs]), np.array([b for _, b in pairs])

    def _exhaust(self, when: int) -> FloatArray:
        p = self.ambient[when][:, 1]
        return np.array([d.cell.exhaust_pressure(p[k], self.guess[k]) for k, d in enumerate(self.days)])

    def _condition(self, when: Sequence[int]) -> Condition:
        """Conditions of all holds at the given moments, one after the other."""
        inlet = [self.inlets[w] for w in when]
        pressure = np.concatenate([p.ravel() for _, p in inlet])
        exhaust = np.concatenate([self._exhaust(w).ravel() for w in when])
        return self.model.data.condition(
            temperature=np.concatenate([t.ravel() for t, _ in inlet]),
            pressure=pressure,
            exhaust_pressure_ratio=exhaust / pressure,
            output_speed=np.tile(self.np.ravel(), len(when)),
            water_air_ratio=self._each(lambda d: d.weather.water_air_ratio, len(when)),
            lower_heating_value=self._each(lambda d: d.fuel.lower_heating_value, len(when)),
            fuel_temperature=self._each(lambda d: d.fuel.temperature, len(when)),
        )

    def _each(self, of: Callable[[Day], float], times: int) -> FloatArray:
        """A value of each day, for all its holds, as often as asked."""
        return np.tile(np.repeat([of(d) for d in self.days], len(self.holds)), times)

    def _factors(self) -> ConditionFactors:
        return stacked([d.engine.factors for d in self.days for _ in self.holds])

    def _by_setting(self, target: FloatArray) -> dict[str, FloatArray]:
        """The settled state in the middle of each hold; holds set by the same quantity are solved together.
        The settled state in the middle of each hold; holds set by the same quantity are solved together.
        """
        condition, factors = self._condition([1]), self._factors()
        kinds: list[SetBy] = [h.step.set_by for h in self.holds] * len(self.days)
        out: dict[str, FloatArray] = {}
        for kind in dict.fromkeys(kinds):
            chosen = np.array([k == kind for k in kinds])
            found = solve(
                self.model,
                _chosen(condition, chosen),
                _chosen(factors, chosen),
                set_by=kind,
                target=target.ravel()[chosen],
            )
            self._check(found)
            for name, values in named(found).items():
                out.setdefault(name, np.empty(target.size))[chosen] = values
        return {name: values.reshape(target.shape) for name, values in out.items()}

    def _at_power(self, power: FloatArray) -> list[dict[str, FloatArray]]:
        """At the held power: settled at start and end, and at the start with all the fast or slow soak to
        come.
        """
        condition = self._condition([0, 2, 0, 0])
        still = self._factors()
        factors = [
            still,
            still,
            self._soaked(still, self._fast_soak()),
            self._soaked(still, self._slow_soak()),
        ]
        merged = {
            f.name: np.concatenate([getattr(x, f.name) for x in factors]) for f in fields(ConditionFactors)
        }
        target = np.tile(power.ravel(), 4)
        found = solve(self.model, condition, ConditionFactors(**merged), set_by="power", target=target)
        self._check(found)
        values = {k: v.reshape(4, *power.shape) for k, v in named(found).items()}
        return [{k: v[i] for k, v in values.items()} for i in range(4)]

    def _changes(self) -> tuple[FloatArray, FloatArray]:
        """Change of T3 and T4 from the hold before [K]; the first hold has settled before the record
        begins.
        """
        t3, t4 = self.settled["t3"], self.settled["t4"]
        return np.diff(t3, axis=1, prepend=t3[:, :1]), np.diff(t4, axis=1, prepend=t4[:, :1])

    def _fast_soak(self) -> dict[str, FloatArray]:
        """Multipliers while compressor and turbine metal is as hot as in the hold before."""
        soak = self.model.data.heat_soak
        if soak is None:
            return {}
        cold3, cold4 = self._changes()
        heat = soak.compressor_conductance * cold3 + soak.turbine_conductance * cold4
        burnt = self.settled["fuel_flow"] * np.array([[d.fuel.lower_heating_value] for d in self.days])
        return {
            "combustor_efficiency": 1.0 - heat / burnt,
            "compressor_efficiency": 1.0 - soak.compressor_clearance * cold3 / self.settled["t3"],
            "gas_generator_turbine_efficiency": 1.0 - soak.turbine_clearance * cold4 / self.settled["t4"],
        }

    def _slow_soak(self) -> dict[str, FloatArray]:
        share = 1.0 - SLOW_SHARE * self._changes()[1] / self.settled["t4"]
        return {"compressor_efficiency": share, "gas_generator_turbine_efficiency": share}

    def _soaked(self, factors: ConditionFactors, times: dict[str, FloatArray]) -> ConditionFactors:
        changes = {name: getattr(factors, name) * values.ravel() for name, values in times.items()}
        return replace(factors, **changes)

    def _check(self, found: Solution) -> None:
        if not np.all(np.isfinite(found.power)):
            lost = int(np.flatnonzero(~np.isfinite(found.power))[0])
            raise RangeError(found.sentence(lost), mend="Ask for milder weather or smaller faults.")

    def _fast_time(self) -> float:
        soak = self.model.data.heat_soak
        return soak.turbine_heat_capacity / soak.turbine_conductance if soak is not None else 10.0

    def traces(self, rate: float) -> dict[str, FloatArray]:
        """True quantities over time: (days, rows), and `time` (rows,)."""
        rows = math.floor(self.holds[-1].to_s * rate) + 1
        time = np.arange(rows) / rate
        q = {name: self._settling(name, time) for name in _TRACED}
        q["np"] = self._straight(self.np, self.np, time)
        guess = self._straight(self.guess, self.guess, time)
        first, last = self.ambient[0], self.ambient[2]
        q["t_amb"] = self._straight(first[:, 0], last[:, 0], time)
        q["p_amb"] = self._straight(first[:, 1], last[:, 1], time)
        days = self.days
        q["t2"] = np.array([d.cell.inlet_temperature(q["t_amb"][k], guess[k]) for k, d in enumerate(days)])
        q["p2"] = np.array([d.cell.inlet_pressure(q["p_amb"][k], guess[k]) for k, d in enumerate(days)])
        q["p_exhaust"] = np.array(
            [d.cell.exhaust_pressure(q["p_amb"][k], guess[k]) for k, d in enumerate(days)]
        )
        q["lever"] = 20.0 + 70.0 * q["power"] / self.reference.power
        return q | {"time": time} | {k: np.zeros(rows) for k in ("ignition", "starter", "starter_torque")}

    def _straight(self, first: FloatArray, last: FloatArray, time: FloatArray) -> FloatArray:
        """Straight lines through the values at begin and end of each hold."""
        times = np.array([[h.from_s, h.to_s] for h in self.holds]).ravel()
        values = np.stack([first, last], axis=2).reshape(len(self.days), -1)
        return np.array([np.interp(time, times, row) for row in values])

    def _settling(self, name: str, time: FloatArray) -> FloatArray:
        first, last = self.start[name], self.end[name]
        out = self._straight(first, last, time)
        for h, hold in enumerate(self.holds):
            rows = (time >= hold.from_s) & (time <= hold.to_s)
            since = time[rows] - hold.from_s
            for soaked, lasting in ((self.fast, self._fast_time()), (self.slow, SLOW_TIME)):
                out[:, rows] += (soaked[name] - first)[:, h, None] * np.exp(-since / lasting)
        return out

    def truth_of(self, k: int, h: int) -> HoldTruth:
        """One hold of one day as it truly was once settled."""
        hold = self.holds[h]
        temperature, pressure = self.inlets[1]
        settled = {name: float(values[k, h]) for name, values in self.settled.items()}
        settled |= {"t2": float(temperature[k, h]), "p2": float(pressure[k, h]), "np": float(self.np[k, h])}
        return HoldTruth(hold.step.item, hold.step.rating, hold.from_s, hold.to_s, settled)


def _weather(day: Day, times: FloatArray) -> tuple[FloatArray, FloatArray]:
    return day.weather.temperature_at(times), day.weather.pressure_at(times)


def named(found: Solution) -> dict[str, FloatArray]:
    """Outputs under the rig's names."""
    names = {
        "power": "power", "ng": "gas_generator_speed", "mgt": "measured_gas_temperature", "t3": "T3",
        "t4": "T4", "p3": "p3", "p45": "p45", "t5": "T5", "fuel_flow": "fuel_flow",
        "vane_angle": "vane_angle",
    }  # fmt: skip
    out = {name: np.asarray(getattr(found, output), dtype=float) for name, output in names.items()}
    fraction = found.model.data.handling_bleed.fraction
    opening = np.asarray(found.handling_bleed, dtype=float) / max(fraction, 1e-12)
    return out | {"bleed": np.clip(opening, 0.0, 1.0)}


def _chosen(record: _Record, chosen: NDArray[np.bool_]) -> _Record:
    changes = {k: v[chosen] for k, v in vars(record).items() if isinstance(v, np.ndarray)}
    return replace(record, **changes)
