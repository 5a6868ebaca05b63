"""The engine on its brake over time: levers moved, loads stepped, points held.

The brake runs in speed mode: it takes up what the engine gives so that the output speed stays, with its own
small lag. A transient is therefore run twice: first against a rough load, then against the power that the
engine gave. Levers are moved by the operator; a hold is quasi-steady, solved every half minute in the day's
weather.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.engine import Curve
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.setting import SetBy
from spoolwright.core.cycle.solve import solve
from spoolwright.core.cycle.transient import Schedule, Transient, transient
from spoolwright.errors import RangeError
from spoolwright.rig.day import Day, rated_output_speed
from spoolwright.rig.holds import SLOW_SHARE, SLOW_TIME, named
from spoolwright.rig.pieces import SlowSettling, Traces

FloatArray = NDArray[np.float64]

_LEAN_ON_LEVER = 1.04
"""Output speed asked of the governor, relative to the one held by the brake: above it, so that the lever
rules.
"""
_LEVER_STOP = 1.07
_COUPLING = 0.8
"""Share of the output inertia that lies behind the torquemeter [-]."""
_KNOT = 30.0
_STEP = 0.02
"""Step of a transient; the spool is stiff at full speed and wants it this fine [s]."""
_MOVED_AT, _LAG = 1.0, 0.35
_SLAM, _SPOOL_UP = 1.0, 2.8
"""A lever moved faster than this is slammed; about how long the engine then takes [s]."""
_ACCELERATION, _SPEED_GAIN = 1.03, 1.5
"""The engine's own fuel control against the type's: acceleration fuel, gain of the speed loop [-]."""


def controlled(model: EngineModel, acceleration: float) -> EngineModel:
    """The model with the engine's own fuel control; `acceleration` multiplies the acceleration fuel."""
    control = model.data.control
    if control is None:
        raise RangeError("the type's model has no fuel control.", mend="Give [model.control].")
    curve = control.acceleration
    scaled = Curve(curve.x, tuple(y * _ACCELERATION * acceleration for y in curve.y))
    control = replace(control, acceleration=scaled, speed_gain=control.speed_gain * _SPEED_GAIN)
    return EngineModel(replace(model.data, control=control))


@dataclass(frozen=True)
class Lever:
    """A lever movement: from where to where [relative Ng], and how long it takes [s]."""

    first: float
    last: float
    seconds: float

    def at(self, time: FloatArray, moved_at: float) -> FloatArray:
        """Lever at times [s]."""
        return np.asarray(np.interp(time, [moved_at, moved_at + self.seconds], [self.first, self.last]))


class Dynamics:
    """One engine on one day; every method gives a piece of a run with times from 0."""

    def __init__(self, day: Day, model: EngineModel) -> None:
        self.day, self.model = day, model
        self.reference = model.data.reference
        self.speed = rated_output_speed(day.known, day.engine)

    def flow_guess(self, ng: float | FloatArray) -> FloatArray:
        """Relative speed that stands for the flow through intake and exhaust."""
        return np.asarray(ng / self.reference.gas_generator_speed)

    def condition(self, now: FloatArray | float, ng: float) -> Condition:
        """Where the engine runs at a time of the run [s] near a speed [rpm]; floats for a float."""
        day, guess = self.day, self.flow_guess(ng)
        time = np.asarray(now, dtype=float)
        temperature = day.cell.inlet_temperature(day.weather.temperature_at(time), guess)
        ambient = day.weather.pressure_at(time)
        pressure = day.cell.inlet_pressure(ambient, guess)
        ratio = day.cell.exhaust_pressure(ambient, guess) / pressure
        plain = (lambda x: float(x)) if time.ndim == 0 else (lambda x: x)
        return self.model.data.condition(
            temperature=plain(temperature),
            pressure=plain(pressure),
            exhaust_pressure_ratio=plain(ratio),
            output_speed=self.speed,
            water_air_ratio=day.weather.water_air_ratio,
            lower_heating_value=day.fuel.lower_heating_value,
            fuel_temperature=day.fuel.temperature,
        )

    def steady(self, now: float, set_by: SetBy, target: float, near: float) -> dict[str, float]:
        """The settled engine at a time of the run, set by a quantity."""
        found = solve(
            self.model, self.condition(now, near), self.day.engine.factors, set_by=set_by, target=target
        )
        if not found.solved:
            raise RangeError(found.sentence(), mend="Ask for milder weather or smaller faults.")
        return {k: float(v) for k, v in named(found).items()} | {
            "air_flow": float(found.air_flow),
            "t41": float(found.T41),
        }

    def lever_angle(self, lever: FloatArray) -> FloatArray:
        """Lever angle [deg] at a relative Ng asked for: 20 at idle, 90 at the main rating."""
        idle = self.model.data.control.idle_speed if self.model.data.control else 0.68
        return np.asarray(20.0 + 70.0 * (lever - idle) / (1.0 - idle))

    def held(self, now: float, seconds: float, ng: float, lever: float) -> Traces:
        """A hold at constant Ng in the weather of those seconds."""
        knots = np.linspace(0.0, seconds, max(2, math.ceil(seconds / _KNOT) + 1))
        found = solve(
            self.model,
            self.condition(now + knots, ng),
            self.day.engine.factors,
            set_by="ng",
            target=np.full(knots.size, ng),
        )
        if not np.all(found.solved):
            lost = int(np.flatnonzero(~found.solved)[0])
            raise RangeError(found.sentence(lost), mend="Ask for milder weather or smaller faults.")
        time = np.arange(0.0, seconds + 1e-9, 0.5)
        piece = {k: np.interp(time, knots, v) for k, v in named(found).items() if k != "t4"}
        piece |= {"time": time, "np": np.full_like(time, self.speed)}
        return self._with_states(piece, np.full_like(time, lever))

    def moved(self, now: float, first: float, lever: Lever, seconds: float) -> Traces:
        """Lever moved from a settled speed [rpm] a second after the start, the brake holding the output
        speed.
        """
        condition = self.condition(now, lever.last * self.reference.gas_generator_speed)
        time = np.arange(0.0, seconds + 0.05, 0.05)
        levers = lever.at(time, _MOVED_AT)
        load = self._steady_load(condition, lever, time)
        if lever.seconds < _SLAM:
            rough = self._run(condition, time, load, levers, seconds)
            load = np.interp(time, rough.time, np.maximum(rough.power, 0.02 * self.reference.power))
        return self._piece(self._run(condition, time, load, levers, seconds), time, levers)

    def _steady_load(self, condition: Condition, lever: Lever, time: FloatArray) -> FloatArray:
        """Power that the engine settles at for each place of the lever, as the engine follows it."""
        places = np.linspace(lever.first, lever.last, 9)
        factors, speeds = self.day.engine.factors, places * self.reference.gas_generator_speed
        power = np.asarray(solve(self.model, condition, factors, set_by="ng", target=speeds).power)
        taken = max(lever.seconds, _SPOOL_UP if lever.seconds < _SLAM else 0.0)
        reached = np.interp(time, [_MOVED_AT + _LAG, _MOVED_AT + _LAG + taken], [lever.first, lever.last])
        order = np.argsort(places)
        return np.asarray(np.interp(reached, places[order], power[order]))

    def _run(
        self,
        condition: Condition,
        time: FloatArray,
        load: FloatArray,
        levers: FloatArray,
        seconds: float,
    ) -> Transient:
        asked = np.full(time.size, _LEAN_ON_LEVER * self.speed)
        asked[0] = self.speed
        schedule = Schedule(time.tolist(), load.tolist(), asked.tolist(), levers.tolist())
        return transient(self.model, condition, schedule, self.day.engine.factors, step=_STEP)

    def governed(self, now: float, loads: tuple[float, float], pause: float, step_time: float) -> Traces:
        """Load stepped up and down again [W] while the governor holds the output speed; a pause before each
        step.
        """
        low, high = loads
        times = [0.0, pause, pause + step_time, 2 * pause, 2 * pause + step_time, 3 * pause]
        time = np.arange(0.0, 3 * pause + 0.05, 0.05)
        load = np.interp(time, times, [low, low, high, high, low, low])
        ng = self.steady(now, "power", low, self.reference.gas_generator_speed)["ng"]
        schedule = Schedule(time.tolist(), load.tolist(), [self.speed] * time.size, [_LEVER_STOP] * time.size)
        run = transient(self.model, self.condition(now, ng), schedule, self.day.engine.factors, step=_STEP)
        return self._piece(run, time, np.full(time.size, _LEVER_STOP))

    def _piece(self, run: Transient, time: FloatArray, levers: FloatArray) -> Traces:
        fraction = max(self.model.data.handling_bleed.fraction, 1e-12)
        piece = {
            "time": run.time,
            "power": run.load_power + _COUPLING * (run.power - run.load_power),
            "ng": run.gas_generator_speed,
            "np": run.output_speed,
            "mgt": run.measured_gas_temperature,
            "t3": run.T3,
            "p3": run.p3,
            "p45": run.p45,
            "t5": run.T5,
            "fuel_flow": run.fuel_flow,
            "vane_angle": run.vane_angle,
            "bleed": np.clip(run.handling_bleed / fraction, 0.0, 1.0),
        }
        return self._with_states(piece, np.interp(run.time, time, levers))

    def _with_states(self, piece: Traces, levers: FloatArray) -> Traces:
        none = np.zeros(piece["time"].size)
        return piece | {
            "lever": self.lever_angle(levers), "ignition": none, "starter": none, "starter_torque": none,
        }  # fmt: skip

    def slow_settling(self, now: float, ng: float, before: float, after: float) -> SlowSettling:
        """What casings do after T4 has gone from `before` to `after` [K], at the new speed [rpm]."""
        share = 1.0 - SLOW_SHARE * (after - before) / after
        day = self.day
        factors = day.engine.factors
        cold = replace(
            factors,
            compressor_efficiency=factors.compressor_efficiency * share,
            gas_generator_turbine_efficiency=factors.gas_generator_turbine_efficiency * share,
        )
        condition = self.condition(now, ng)
        settled, soaked = (
            {k: float(v) for k, v in named(solve(self.model, condition, f, set_by="ng", target=ng)).items()}
            for f in (factors, cold)
        )
        return SlowSettling(now, SLOW_TIME, {k: soaked[k] - settled[k] for k in settled})
