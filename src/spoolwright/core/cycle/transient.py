"""Transients: two spools, heat taken up by metal, and fuel control, faster than real time on plain floats.

The gas path is taken as quasi-steady: at each time step it is solved for the speeds and the fuel flow of that
moment; what drives the spools is what its balances leave over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.control import Governor
from spoolwright.core.cycle.engine import HeatSoak
from spoolwright.core.cycle.gaspath import GasPath, Soak
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.solution import outputs
from spoolwright.core.cycle.solve import solve
from spoolwright.core.newton import broyden
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError, RangeError

_RAD: Final = math.pi / 30.0
_LONGEST: Final = 0.02  # the control and the fuel it meters part from the speeds where a step is longer [s]
_TOLERANCE: Final = 1e-6  # of the gas path's balances; its effect on the outputs is of the same size


@dataclass(frozen=True)
class Schedule:
    """What is asked of the engine over time; straight lines between the given times.

    Parameters
    ----------
    time : rising times from 0 to the end of the run [s]
    load : power that the load takes at 100 % output speed; its torque goes with speed squared [W]
    output_speed : output speed that the governor holds [rpm]
    lever : highest Ng that the power lever allows, relative to 100 % [-]
    """

    time: Sequence[float]
    load: Sequence[float]
    output_speed: Sequence[float]
    lever: Sequence[float]


@dataclass(frozen=True)
class Transient:
    """A run over time; each output is an attribute (`run.power`), see `OUTPUTS` for names and units.

    Parameters
    ----------
    time : array, shape (N,)
        Time [s].
    values : dict
        Outputs by name, arrays of shape (N,), and "output_speed" [rpm], "load_power" [W],
        "compressor_metal" and "turbine_metal" [K].
    """

    time: FloatArray
    values: dict[str, FloatArray]

    def __getattr__(self, name: str) -> FloatArray:
        try:
            values: dict[str, FloatArray] = self.__dict__["values"]
            return values[name]
        except KeyError:
            raise AttributeError(f"a transient has no {name}; see OUTPUTS for the names") from None


def transient(
    model: EngineModel,
    condition: Condition,
    schedule: Schedule,
    factors: ConditionFactors = HEALTHY,
    *,
    step: float = 0.02,
    metal: tuple[float, float] | None = None,
) -> Transient:
    """Run an engine through a schedule, from steady running at its first moment.

    Parameters
    ----------
    model : EngineModel
        The engine, with `heat_soak` and `control` [-].
    condition : Condition
        Where it runs, all floats; its `output_speed` is not used [-].
    schedule : Schedule
        What is asked of it [-].
    factors : ConditionFactors
        Module condition, all floats [-].
    step : float
        Time between two rows of the result [s].
    metal : (float, float), optional
        Metal temperatures along compressor and turbine at the start; default soaked through [K].

    Returns
    -------
    Transient
        Outputs at every step [-].

    Raises
    ------
    InputError
        The schedule does not fit together, or the engine data hold no fuel control or heat soak.
    RangeError
        The engine cannot run steadily at the first moment, or the gas path is lost on the way.

    Notes
    -----
    Second-order Adams-Bashforth in the speeds, exponential steps for metal and valve; the fuel
    control samples once a step, as a digital control does. A step over 0.02 s is taken in equal parts of at
    most that, so that a coarse result is a fine one with rows left out. Range: from the slowest speed of
    the compressor map upwards; no start and no shut-down. The probes' own lag is not modelled here.
    """
    if not 0.0 < step <= 0.1:
        raise RangeError(f"the time step is {step:g} s", mend="Use 0.005 to 0.1 s.")
    parts = math.ceil(step / _LONGEST - 1e-9)
    run = _Run(model, condition, _sampled(schedule, step, parts), factors, step / parts, metal)
    rows = [run.advance(i) for i in range(len(run.asked))][::parts]
    count = len(rows)
    names = list(rows[0])
    table = np.array([list(row.values()) for row in rows])
    return Transient(np.arange(count, dtype=np.float64) * step, {n: table[:, k] for k, n in enumerate(names)})


class _Run:
    """The state of a run between two time steps."""

    def __init__(
        self,
        model: EngineModel,
        condition: Condition,
        asked: list[tuple[float, float, float]],
        factors: ConditionFactors,
        step: float,
        metal: tuple[float, float] | None,
    ) -> None:
        if model.data.heat_soak is None:
            raise InputError(
                "the engine data hold no heat soak", mend="Fill `heat_soak`.", where=model.data.name
            )
        self.model, self.factors, self.step = model, factors, step
        self.heat: HeatSoak = model.data.heat_soak
        self.asked = asked
        self.inlet = Inlet(model, condition)
        self._begin(condition, metal)

    def _begin(self, condition: Condition, metal: tuple[float, float] | None) -> None:
        """Steady running at the first moment."""
        load, speed, _ = self.asked[0]
        reference = self.model.data.reference
        self.full_speed = reference.power_turbine_speed / self.model.data.shafts.gear_ratio
        self.output_speed = speed
        self.condition = replace(condition, output_speed=speed)
        power = load * (speed / self.full_speed) ** 3
        steady = solve(self.model, self.condition, self.factors, set_by="power", target=power)
        if not steady.solved:
            raise RangeError(
                steady.sentence(), mend="Begin the schedule with a load that the engine can carry."
            )
        self.ng = float(steady.gas_generator_speed)
        self.x = [float(v) for v in steady.x[1:]]
        self.before = self.x
        self.metal = list(metal or (float(steady.T3), float(steady.T41)))
        self.governor = Governor(
            self.model.data, self.ng / reference.gas_generator_speed, float(steady.fuel_flow)
        )
        self.inverse = _reduced(self.model, float(steady.x[0]))
        self.rates: tuple[float, float] | None = None
        self.soak = Soak()
        self.T3, self.T41, self.flow = float(steady.T3), float(steady.T41), float(steady.air_flow)

    def advance(self, i: int) -> dict[str, float]:
        """One time step: the gas path now, then the states a step later."""
        load, demanded, lever = self.asked[i]
        self.condition = replace(self.condition, output_speed=self.output_speed)
        path = self._gas_path()
        reference, shafts, step = self.model.data.reference, self.model.data.shafts, self.step
        load_power = load * (self.output_speed / self.full_speed) ** 3
        row = {k: float(v) for k, v in outputs(self.model, path, self.condition, self.factors).items()}
        row.update(output_speed=self.output_speed, load_power=load_power)
        row.update(compressor_metal=self.metal[0], turbine_metal=self.metal[1])

        speed = self.ng / reference.gas_generator_speed
        error = (demanded - self.output_speed) / self.full_speed
        allowed = self.governor.demanded_speed(error, lever, path.measured_gas_temperature, step)
        self.governor.advance(allowed, speed, path.corrected_speed, path.p3, step)

        turbine_speed = self.output_speed * shafts.gear_ratio
        inertia = shafts.power_turbine_inertia + shafts.load_inertia
        rates = (
            path.spool_surplus / (shafts.gas_generator_inertia * self.ng * _RAD) / _RAD,
            (path.power - load_power) / (inertia * turbine_speed * _RAD) / _RAD / shafts.gear_ratio,
        )
        last = self.rates or rates
        self.ng += step * (1.5 * rates[0] - 0.5 * last[0])
        self.output_speed += step * (1.5 * rates[1] - 0.5 * last[1])
        self.rates = rates
        self.T3, self.T41, self.flow = path.T3, path.T41, path.air_flow
        self._heat_metal()
        return row

    def _gas_path(self) -> GasPath:
        """The gas path at the speeds and the fuel flow of this moment."""
        model, inlet, condition, factors, soak = (
            self.model,
            self.inlet,
            self.condition,
            self.factors,
            self.soak,
        )
        fuel = self.governor.fuel_flow
        reference = model.data.reference.gas_generator_speed * inlet.sound / model.sound
        log_speed = math.log(self.ng / reference)

        def equations(x: list[float]) -> tuple[GasPath, list[float]]:
            path = GasPath(model, inlet, (log_speed, *x), condition, factors, soak)
            burnt = math.log(path.fuel_flow / fuel)
            return path, [path.capacity_41, path.capacity_46, path.exhaust, burnt]

        guess = [2.0 * a - b for a, b in zip(self.x, self.before, strict=True)]
        x, path = _followed(equations, guess, self.x, self.inverse)
        if path is None:
            raise RangeError(
                f"the gas path is lost at {self.ng:.0f} rpm and {fuel:.5f} kg/s of fuel",
                mend="Ask for a gentler schedule, or check the acceleration and deceleration schedules.",
            )
        self.before, self.x = self.x, x
        return path

    def _heat_metal(self) -> None:
        """Heat flow into the metal over the next step, and what its lag costs in tip clearance."""
        h, scale = self.heat, (self.flow / self.model.data.compressor.air_flow) ** 0.8
        heats = []
        for k, (gas, capacity, conductance) in enumerate(
            (
                (self.T3, h.compressor_heat_capacity, h.compressor_conductance),
                (self.T41, h.turbine_heat_capacity, h.turbine_conductance),
            )
        ):
            share = -math.expm1(-conductance * scale * self.step / capacity)
            rise = (gas - self.metal[k]) * share
            self.metal[k] += rise
            heats.append(rise * capacity / self.step)
        self.soak = Soak(
            heats[0],
            heats[1],
            1.0 - h.compressor_clearance * (self.T3 - self.metal[0]) / self.T3,
            1.0 - h.turbine_clearance * (self.T41 - self.metal[1]) / self.T41,
        )


def _followed(
    equations: Any, guess: list[float], last: list[float], inverse: list[list[float]]
) -> tuple[list[float], GasPath | None]:
    """Solve from the extrapolated guess; if that fails, from the last step with a fresh Jacobian."""
    try:
        x, path, _ = broyden(equations, guess, inverse, _TOLERANCE)
        if path is not None:
            return x, path
    except (ValueError, OverflowError, ZeroDivisionError):
        pass
    try:
        inverse[:] = _fresh(equations, last)
        x, path, _ = broyden(equations, last, inverse, _TOLERANCE)
        return x, path
    except (ValueError, OverflowError, ZeroDivisionError, np.linalg.LinAlgError):
        return last, None


def _fresh(equations: Any, x: list[float]) -> list[list[float]]:
    """Inverse Jacobian by differences."""
    h = 1e-6
    base = np.array(equations(x)[1])
    columns = []
    for i in range(len(x)):
        moved = [v + h if k == i else v for k, v in enumerate(x)]
        columns.append((np.array(equations(moved)[1]) - base) / h)
    inverse: list[list[float]] = np.linalg.inv(np.array(columns).T).tolist()
    return inverse


def _reduced(model: EngineModel, log_speed: float) -> list[list[float]]:
    """Inverse Jacobian at a held speed and fuel flow, from the nearest point of the nominal line."""
    line = operating_line(model)
    nearest = int(np.argmin(np.abs(line.x[0] - log_speed)))
    full = np.linalg.inv(np.array(line.inverse_jacobian("fuel_flow", nearest)))
    inverse: list[list[float]] = np.linalg.inv(full[np.ix_([0, 2, 3, 4], [1, 2, 3, 4])]).tolist()
    return inverse


def _sampled(schedule: Schedule, step: float, parts: int) -> list[tuple[float, float, float]]:
    """Load, demanded output speed and lever at every part of a step, to the last whole step."""
    time = np.asarray(schedule.time, dtype=float)
    rows = [np.asarray(v, dtype=float) for v in (schedule.load, schedule.output_speed, schedule.lever)]
    if (
        any(len(r) != len(time) for r in rows)
        or len(time) < 2
        or np.any(np.diff(time) <= 0.0)
        or time[0] != 0.0
    ):
        raise InputError(
            "the schedule's times do not rise from 0 or its columns differ in length", where="schedule"
        )
    at = np.arange(round(time[-1] / step) * parts + 1) * (step / parts)
    return list(zip(*(np.interp(at, time, r).tolist() for r in rows), strict=True))
