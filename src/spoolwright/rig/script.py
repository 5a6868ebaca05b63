"""The operator of the bench: takes an engine through the schedule and leaves the true traces of the whole
run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.crafts.testcell.run_sheet import Adjustment
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.day import Day
from spoolwright.rig.draws import stream
from spoolwright.rig.dynamics import Dynamics, Lever, controlled
from spoolwright.rig.pieces import Run, Traces
from spoolwright.rig.result import HoldTruth
from spoolwright.rig.schedule import Step, idle_speed, target_today
from spoolwright.rig.sheet import OPERATOR
from spoolwright.rig.sub_idle import IdlePoint, SubIdle, drawn_start_system, resampled

FloatArray = NDArray[np.float64]
Tell = Callable[[str, float], None]

_BEFORE_START, _AFTER_STANDSTILL = 20.0, 20.0
_START_SECONDS = 75.0
_SETTLE = 15.0
"""How long a full transient goes on behind a lever movement; from then on a hold is quasi-steady [s]."""
_JOIN = 12.0
_LEVER_RATE, _LEAST_LEVER, _SLAM_LEVER = 350.0, 4.0, 0.3
"""How fast an operator moves between points [rpm/s], at least how long it takes him, and how long a slam
[s].
"""
_LOADS, _LOAD_STEP, _LOAD_PAUSE = (0.40, 0.90), 1.0, 40.0
_BETWEEN_SLAMS = 35.0


@dataclass(frozen=True)
class PlannedAdjustment:
    """An adjustment that the operator makes once an item is done, and what is run again after it.

    Parameters
    ----------
    after : schedule item after which it is made
    kind : kind of adjustment, as the schedule's `repeat_after` names it
    text : what is written on the sheet
    changes : condition factors to what they are set
    """

    after: str
    kind: str
    text: str
    changes: Mapping[str, float]


class Operator:
    """Runs the steps of a schedule; `run` grows piece by piece."""

    def __init__(self, day: Day, seed: int) -> None:
        self.day, self.seed = day, seed
        self.run = Run()
        self.holds: list[HoldTruth] = []
        self.adjustments: list[Adjustment] = []
        g = stream(day.engine.seed, "control")
        pulled = day.engine.mechanical("acceleration_fuel")
        self.engine = Dynamics(
            day, controlled(day.engine.model, pulled * (1.0 + 0.01 * float(g.standard_normal())))
        )
        self.scatter = stream(seed, "operator")
        self.reference = self.engine.reference
        self.idle = idle_speed(day.known)
        self.ng = 0.0

    @property
    def known(self) -> TypeFile:
        """The type."""
        return self.day.known

    def take(self, step: Step) -> None:
        """One step of the schedule."""
        if step.kind == "start":
            self._start()
        elif step.kind == "idle":
            self._to(self.idle)
            self._hold(step.seconds)
        elif step.kind == "hold":
            self._point(step)
        elif step.kind == "acceleration":
            self._to(self.idle)
            self._hold(_BETWEEN_SLAMS)
            self._to(self._aimed(step, 0.0), _SLAM_LEVER)
            self._hold(_BETWEEN_SLAMS)
        elif step.kind == "deceleration":
            self._to(self.idle, _SLAM_LEVER)
            self._hold(_BETWEEN_SLAMS)
        elif step.kind == "governing":
            self._governing()
        elif step.kind == "shut_down":
            self._shut_down()

    def adjust(self, planned: PlannedAdjustment) -> None:
        """Back to idle, the adjustment, and a word on the sheet; later steps run the engine as it then is."""
        self._to(self.idle)
        self._hold(40.0)
        self.adjustments.append(
            Adjustment(at_s=round(self.run.now, 1), kind=planned.kind, text=planned.text, by=OPERATOR)
        )
        factors = replace(self.day.engine.factors, **dict(planned.changes))
        self.day = replace(self.day, engine=replace(self.day.engine, factors=factors))
        self.engine = Dynamics(self.day, self.engine.model)
        self._hold(40.0)

    # ------------------------------------------------------------------ what the steps are made of

    def _lever(self, ng: float) -> float:
        return ng / self.reference.gas_generator_speed

    def _aimed(self, step: Step, scatter: float) -> float:
        """True Ng at which the channel that sets the step reads today's set point."""
        now, near = self.run.now, max(self.ng, self.idle)
        condition = self.engine.condition(now, near)
        today = target_today(self.known, step, float(condition.temperature), float(condition.pressure))
        true = self.day.true_setting(step, today + scatter * step.tolerance)
        return true if step.set_by == "ng" else self.engine.steady(now, step.set_by, true, near)["ng"]

    def _point(self, step: Step) -> None:
        self._to(self._aimed(step, 0.25 * float(self.scatter.standard_normal())))
        begun = self.run.now - _SETTLE
        self._hold(step.seconds - _SETTLE)
        settled = self.engine.steady(0.5 * (begun + self.run.now), "ng", self.ng, self.ng)
        condition = self.engine.condition(0.5 * (begun + self.run.now), self.ng)
        settled |= {
            "t2": float(condition.temperature),
            "p2": float(condition.pressure),
            "np": self.engine.speed,
        }
        self.holds.append(HoldTruth(step.item, step.rating, begun, self.run.now, settled))

    def _to(self, ng: float, lever_seconds: float = 0.0) -> None:
        """Lever to a new speed, through a full transient, unless the engine is there already."""
        if abs(ng - self.ng) < 1.0:
            return
        taken = lever_seconds or max(_LEAST_LEVER, abs(ng - self.ng) / _LEVER_RATE)
        now = self.run.now
        before = self.engine.steady(now, "ng", self.ng, self.ng)["t4"]
        after = self.engine.steady(now, "ng", ng, ng)["t4"]
        lever = Lever(self._lever(self.ng), self._lever(ng), taken)
        self.run.add(self.engine.moved(now, self.ng, lever, taken + 1.0 + _SETTLE), joined_over=2.0)
        self.run.slow.append(self.engine.slow_settling(now + 1.0 + 0.5 * taken, ng, before, after))
        self.ng = ng

    def _hold(self, seconds: float) -> None:
        if seconds > 1.0:
            self.run.add(
                self.engine.held(self.run.now, seconds, self.ng, self._lever(self.ng)), joined_over=_JOIN
            )

    def _governing(self) -> None:
        power = [share * self.reference.power for share in _LOADS]
        now = self.run.now
        low = self.engine.steady(now, "power", power[0], max(self.ng, self.idle))["ng"]
        self._to(low)
        self._hold(15.0)
        piece = self.engine.governed(self.run.now, (power[0], power[1]), _LOAD_PAUSE, _LOAD_STEP)
        self.run.add(piece, joined_over=2.0)

    # ------------------------------------------------------------------ below idle

    def _start(self) -> None:
        sub = self._sub_idle()
        self.run.add(self._stopped(_BEFORE_START))
        up = resampled(sub.start_up(_START_SECONDS), np.arange(0.05, _START_SECONDS, 0.05))
        lit = up["fuel_flow"] > 0.0
        self.run.add(
            self._from_sub_idle(
                up, np.where(lit, float(self.engine.lever_angle(np.array(self._lever(self.idle)))), 0.0)
            )
        )
        self.ng = self.idle

    def _shut_down(self) -> None:
        self._to(self.idle)
        self._hold(5.0)
        down = self._sub_idle().run_down(self.run.last()["np"])
        stop = (
            down["time"][int(np.argmax(down["ng"] <= 0.0))] if np.any(down["ng"] <= 0.0) else down["time"][-1]
        )
        times = np.arange(0.05, min(stop + _AFTER_STANDSTILL, down["time"][-1]), 0.1)
        self.run.add(self._from_sub_idle(resampled(down, times), np.zeros(times.size)))
        self.ng = 0.0

    def _sub_idle(self) -> SubIdle:
        now, day, shafts = self.run.now, self.day, self.engine.model.data.shafts
        s = self.engine.steady(now, "ng", self.idle, self.idle)
        condition = self.engine.condition(now, self.idle)
        turning = (shafts.power_turbine_inertia + shafts.load_inertia) * shafts.gear_ratio**2
        point = IdlePoint(
            ng=self.idle,
            rated_ng=self.reference.gas_generator_speed,
            np_speed=self.engine.speed,
            air_flow=s["air_flow"],
            fuel_flow=s["fuel_flow"],
            t2=float(condition.temperature),
            t3=s["t3"],
            t45=s["mgt"],
            t5=s["t5"],
            p2=float(condition.pressure),
            p3=s["p3"],
            p45=s["p45"],
            ambient=float(day.weather.pressure_at(np.array(now))),
            torque=s["power"] / (self.engine.speed * math.pi / 30.0),
            inertia=shafts.gas_generator_inertia,
            output_inertia=turning,
            accessory_power=shafts.accessory_power * self._lever(self.idle) ** 2,
            heating_value=day.fuel.lower_heating_value,
        )
        fuel, rub = day.engine.mechanical("start_fuel"), day.engine.mechanical("rub")
        return SubIdle(point, drawn_start_system(point, fuel, rub, stream(day.engine.seed, "start")))

    def _from_sub_idle(self, traces: Traces, lever: FloatArray) -> Traces:
        model, now = self.engine.model, self.run.now
        schedule = model.data.vanes.schedule
        relative = np.maximum(traces["ng"] / self.reference.gas_generator_speed, schedule.x[0])
        names = (
            "time",
            "ng",
            "np",
            "mgt",
            "t3",
            "p3",
            "p45",
            "t5",
            "fuel_flow",
            "starter",
            "ignition",
            "starter_torque",
        )
        piece = {k: traces[k] for k in names}
        temperature = self.day.weather.temperature_at(np.array(now))
        angle = model.vane_schedule(relative * math.sqrt(288.15 / float(temperature)))[0]
        return piece | {
            "power": traces["torque"] * traces["np"] * math.pi / 30.0,
            "vane_angle": angle + self.day.engine.factors.vane_offset,
            "bleed": np.ones_like(relative),
            "lever": lever,
        }

    def _stopped(self, seconds: float) -> Traces:
        """The engine at rest, soaked through to the air's temperature."""
        time = np.arange(0.0, seconds, 0.5)
        none, air = np.zeros_like(time), self.day.weather
        temperature, pressure = air.temperature_at(time), air.pressure_at(time)
        traces = dict.fromkeys(
            ("ng", "np", "torque", "fuel_flow", "starter", "ignition", "starter_torque"), none
        )
        traces |= {
            "time": time,
            "mgt": temperature,
            "t3": temperature,
            "t5": temperature,
            "p3": pressure,
            "p45": pressure,
        }
        return self._from_sub_idle(traces, none)
