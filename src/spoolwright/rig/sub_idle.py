"""Below idle, where no component map reaches: starting and running down.

The gas generator is a rotor between the torques of starter, compressor, turbine, accessories and bearings.
From the matched idle point downward the compressor obeys similarity with loss (flow with speed^1.25,
pressure rise with speed^2.1, work with speed^2); the turbine works between burner temperature and the
pressure ratio left to it; its constant is set so that the power balance closes exactly at idle. Fuel
follows a start schedule of fuel-air ratio over speed. Metal takes up heat on the way up and gives it back
on the way down. Without fuel the same balance, now short of heat, brings the rotor to rest; at the end
bearing friction alone does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP = 0.02
"""Step of the integration [s]."""
_CP_AIR = 1010.0
_CP_GAS = 1140.0
_FLOW, _RISE, _WORK = 1.25, 2.3, 1.65
_TURBINE_SHARE = 0.14
"""Exponent of pressure ratio in the gas generator turbine's temperature drop: (gamma - 1) / gamma times its
share.
"""
_METAL_SHARE = 0.20
_UNLOADED = 0.08
"""Compressor work and pressure rise without heat, relative to those of the idle line at the same speed [-].
Compressor work and pressure rise without heat, relative to those of the idle line at the same speed [-].
"""
_METAL_TIME = 14.0
_RAD = math.pi / 30.0
ENRICHMENT = (2.1, 1.3)
"""Start fuel over that of idle at equal air flow: just lit, and close to idle [-]."""


@dataclass(frozen=True)
class IdlePoint:
    """The matched idle point from which the sub-idle laws start.

    Parameters
    ----------
    ng, rated_ng, np_speed : idle and rated gas generator speed, output speed at idle [rpm]
    air_flow, fuel_flow : [kg/s]
    t2, t3, t45, t5 : temperatures [K]
    p2, p3, p45, ambient : pressures [Pa]
    torque : at the output shaft [N m]
    inertia : of the gas generator [kg m2]
    output_inertia : of power turbine, gears and load, at the output shaft [kg m2]
    accessory_power : at idle [W]
    heating_value : of the fuel [J/kg]
    """

    ng: float
    rated_ng: float
    np_speed: float
    air_flow: float
    fuel_flow: float
    t2: float
    t3: float
    t45: float
    t5: float
    p2: float
    p3: float
    p45: float
    ambient: float
    torque: float
    inertia: float
    output_inertia: float
    accessory_power: float
    heating_value: float


@dataclass(frozen=True)
class StartSystem:
    """Starter, start fuel and bearings of one engine.

    Parameters
    ----------
    starter_torque : at standstill, referred to the gas generator [N m]
    starter_free : its no-load speed, relative to rated Ng [-]
    fuel_on : relative Ng at which fuel is turned on [-]
    cut_out : relative Ng at which the starter lets go [-]
    light_off_delay : from fuel on to light-off [s]
    enrichment : fuel-air ratio over that of idle, just lit and close to idle [-, -]
    friction : torque of bearings and seals that does not depend on speed [N m]
    """

    starter_torque: float
    starter_free: float
    fuel_on: float
    cut_out: float
    light_off_delay: float
    enrichment: tuple[float, float]
    friction: float


def drawn_start_system(idle: IdlePoint, start_fuel: float, rub: float, generator: Generator) -> StartSystem:
    """Start system of one engine; `start_fuel` multiplies the fuel, `rub` [N m] adds to the friction.

    The starter is sized to the engine: half as much again as it takes anywhere between fuel on and letting
    go.
    """
    g = generator
    friction = 0.00025 * idle.inertia * idle.rated_ng * _RAD * math.exp(0.1 * g.standard_normal())
    system = StartSystem(
        starter_torque=0.0,
        starter_free=0.70,
        fuel_on=0.12,
        cut_out=0.50,
        light_off_delay=0.8 * math.exp(0.15 * g.standard_normal()),
        enrichment=ENRICHMENT,
        friction=friction,
    )
    needed = _starter_needed(SubIdle(idle, system)) * 1.5 * math.exp(0.05 * g.standard_normal())
    rich = (ENRICHMENT[0] * start_fuel, ENRICHMENT[1] * start_fuel)
    return replace(system, starter_torque=needed, enrichment=rich, friction=friction + rub)


def _starter_needed(engine: SubIdle) -> float:
    """Least starter torque at standstill that carries the engine from fuel on, lit or not, to letting go [N
    m].
    """
    s, to_idle = engine.start, engine.idle.rated_ng / engine.idle.ng
    needed = 0.0
    for n in np.linspace(s.fuel_on, s.cut_out, 20):
        x = float(n) * to_idle
        drag = max(
            -engine.net_torque(x, fuel)[0] for fuel in (0.0, engine.start_fuel(x)) if fuel or n == s.fuel_on
        )
        needed = max(needed, (drag + s.friction) / (1.0 - float(n) / s.starter_free))
    return needed


@dataclass
class _Rotor:
    """State of the integration."""

    x: float
    np_speed: float
    metal: float


@dataclass(frozen=True)
class SubIdle:
    """Sub-idle laws of one engine on one day."""

    idle: IdlePoint
    start: StartSystem

    def _burner(self, x: float, fuel: float) -> tuple[float, float, float, float]:
        """Air flow, loading, compressor delivery and burner temperature at relative idle speed x.

        Loading is 1 with the heat of idle; without heat the turbines swallow more and the compressor unloads.
        """
        i = self.idle
        flow = i.air_flow * math.exp(_FLOW * math.log(max(x, 1e-6)))
        burning = 0.80 + 0.20 * min(x, 1.0)
        heat = burning * fuel * i.heating_value / (_CP_GAS * max(flow, 0.02 * i.air_flow))
        rise = self._burner_constant * heat
        loading = _UNLOADED + (1.0 - _UNLOADED) * min(rise / (i.t45 + self._drop_at_idle - i.t3), 1.0)
        t3 = i.t2 + (i.t3 - i.t2) * x**_WORK * loading
        return flow, loading, t3, t3 + rise

    @property
    def _burner_constant(self) -> float:
        """Makes the burner temperature at idle that which the turbine's drop and MGT ask for."""
        i = self.idle
        drop = self._drop_at_idle
        return (i.t45 + drop - i.t3) * _CP_GAS * i.air_flow / (i.fuel_flow * i.heating_value)

    @property
    def _drop_at_idle(self) -> float:
        i = self.idle
        needed = i.air_flow * _CP_AIR * (i.t3 - i.t2) + i.accessory_power
        needed += self.start.friction * i.ng * _RAD
        return needed / (_CP_GAS * i.air_flow)

    def _expansion(self, x: float, loading: float) -> float:
        """1 - pressure ratio^-k at relative idle speed x."""
        ratio = 1.0 + (self.idle.p3 / self.idle.p2 - 1.0) * x**_RISE * loading
        return 1.0 - math.exp(-_TURBINE_SHARE * math.log(ratio))

    def _drop(self, x: float, loading: float, t4: float) -> float:
        i = self.idle
        full = self._drop_at_idle / ((i.t45 + self._drop_at_idle) * self._expansion(1.0, 1.0))
        return full * t4 * self._expansion(x, loading) * (0.55 + 0.45 * x)

    def net_torque(self, x: float, fuel: float) -> tuple[float, tuple[float, float, float, float]]:
        """Torque of gas path and accessories on the rotor; with it air flow, loading, T3, gas temperature
        behind it.
        """
        i = self.idle
        flow, loading, t3, t4 = self._burner(x, fuel)
        drop = self._drop(x, loading, t4)
        power = flow * (_CP_GAS * drop - _CP_AIR * (t3 - i.t2)) - i.accessory_power * x**2
        # near standstill power over speed is meaningless: torque is held to what 2 % of idle speed gives
        return power / (max(x, 0.02) * i.ng * _RAD), (flow, loading, t3, t4 - drop)

    def step(self, rotor: _Rotor, fuel: float, starter: bool) -> tuple[float, float, float, float, float]:
        """One step of the rotors: air flow, loading, T3, gas temperature seen at station 45, starter
        torque.
        """
        i = self.idle
        torque, (flow, loading, t3, gas) = self.net_torque(rotor.x, fuel)
        free = rotor.x * i.ng / (self.start.starter_free * i.rated_ng)
        driven = self.start.starter_torque * max(1.0 - free, 0.0) if starter else 0.0
        net = torque + driven - (self.start.friction if rotor.x > 0.0 else min(self.start.friction, driven))
        rotor.x = max(rotor.x + STEP * net / (i.inertia * i.ng * _RAD), 0.0)
        seen = gas - _METAL_SHARE * (gas - rotor.metal)
        rotor.metal += STEP / _METAL_TIME * min(flow / i.air_flow + 0.02, 1.0) * (gas - rotor.metal)
        self._turn_output(rotor, flow, loading, seen)
        return flow, loading, t3, seen, driven

    def _turn_output(self, rotor: _Rotor, flow: float, loading: float, gas: float) -> None:
        """Power turbine: torque in a straight line from twice its idle value at rest to 0 at twice the
        speed.
        """
        i = self.idle
        given = flow * gas * self._expansion(rotor.x, loading)
        given = given / (i.air_flow * i.t45 * self._expansion(1.0, 1.0))
        r = rotor.np_speed / i.np_speed
        drag = 0.02 * (1.0 if r > 0.0 else 0.0)
        net = i.torque * ((1.0 + drag) * given * (2.0 - r) - r * r - drag)
        rotor.np_speed = max(rotor.np_speed + STEP * net / (i.output_inertia * _RAD), 0.0)

    def start_fuel(self, x: float) -> float:
        """Start schedule: fuel flow over relative idle speed x, down to the idle flow at idle."""
        i = self.idle
        rich, close = self.start.enrichment
        over = (rich + (close - rich) * x - 1.0) * min(1.0, max(0.0, (1.0 - x) / 0.10))
        return i.fuel_flow * math.exp(_FLOW * math.log(max(x, 1e-6))) * (1.0 + over)

    def start_up(self, seconds: float) -> dict[str, FloatArray]:
        """Traces from starter engaged at standstill, for a time."""
        rotor = _Rotor(0.0, 0.0, self.idle.t2)
        cold = self.start.fuel_on * self.idle.rated_ng / self.idle.ng
        cut = self.start.cut_out * self.idle.rated_ng / self.idle.ng
        lit_at = math.inf
        rows = []
        for k in range(round(seconds / STEP)):
            t = k * STEP
            flowing = rotor.x >= cold or lit_at < math.inf
            if flowing and lit_at == math.inf:
                lit_at = t + self.start.light_off_delay
            fuel = self.start_fuel(rotor.x) if flowing else 0.0
            burnt = fuel * min(max((t - lit_at) / 0.6, 0.0), 1.0)
            starter = rotor.x < cut
            seen = self.step(rotor, burnt, starter)
            rows.append((rotor.x, rotor.np_speed, fuel, *seen, float(starter), float(starter and flowing)))
        return self._traces(np.array(rows))

    def run_down(self, np_speed: float, most: float = 240.0) -> dict[str, FloatArray]:
        """Traces from fuel off at idle until the rotor has stood still for a while, at most `most` seconds.
        Traces from fuel off at idle until the rotor has stood still for a while, at most `most` seconds.
        """
        rotor = _Rotor(1.0, np_speed, self.idle.t45)
        rows = []
        for _ in range(round(most / STEP)):
            seen = self.step(rotor, 0.0, starter=False)
            rows.append((rotor.x, rotor.np_speed, 0.0, *seen, 0.0, 0.0))
        return self._traces(np.array(rows))

    def _traces(self, rows: FloatArray) -> dict[str, FloatArray]:
        i = self.idle
        x, np_speed, fuel, flow, loading, t3, seen, driven, starter, ignition = rows.T
        rise = np.maximum(x, 0.0) ** _RISE * loading
        expanded = [self._expansion(float(a), float(b)) for a, b in zip(x, loading, strict=True)]
        square = (np_speed / i.np_speed) ** 2
        return {
            "time": STEP * np.arange(1, x.size + 1),
            "ng": x * i.ng,
            "np": np_speed,
            "fuel_flow": fuel,
            "air_flow": flow,
            "t3": t3,
            "mgt": seen,
            "t5": seen * (1.0 - (1.0 - i.t5 / i.t45) * np.array(expanded) / self._expansion(1.0, 1.0)),
            "p3": i.p2 * (1.0 + (i.p3 / i.p2 - 1.0) * rise),
            "p45": i.ambient * (1.0 + (i.p45 / i.ambient - 1.0) * rise),
            "torque": i.torque * square,
            "starter": starter,
            "ignition": ignition,
            "starter_torque": driven,
        }


def resampled(traces: dict[str, FloatArray], time: FloatArray) -> dict[str, FloatArray]:
    """Traces at other times [s], by straight lines; states keep the earlier value."""
    pick: Callable[[FloatArray], FloatArray] = lambda y: np.interp(time, traces["time"], y)  # noqa: E731
    before = np.clip(np.searchsorted(traces["time"], time, side="right") - 1, 0, None)
    return {
        k: time if k == "time" else y[before] if k in ("starter", "ignition") else pick(y)
        for k, y in traces.items()
    }
