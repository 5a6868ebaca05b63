"""Governing: how output speed answers load steps, and how steadily it stands in a hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.averaging import hold_mean
from spoolwright.core.reduction.point import PointData
from spoolwright.core.reduction.segments import Stretch
from spoolwright.core.reduction.trace import running_mean
from spoolwright.crafts.testcell.acceptance.reading_parts import Asked, asked_for, channel_input
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.even_rows import even_rows
from spoolwright.crafts.testcell.run.run_data import RunData

FloatArray = NDArray[np.float64]

_STEP = 0.25
"""Share of full torque by which load must step, and carry before and after [-]."""
_CARRIED = 0.15
_ALIKE = 0.04
"""Output speeds before and after a load step at one demanded speed are alike within this share [-]."""
_SETTLED = 10.0
"""Time over which the speeds before and after a step are averaged [s]."""
_SWING = 0.25
"""Hunting is read from means over this time: they leave out noise, not swings slower than 1 Hz [s]."""
_SCATTER = "scatter"


@dataclass(frozen=True)
class LoadStep:
    """A load step at constant demanded output speed."""

    stretch: Stretch
    on: bool
    before: tuple[float, float]
    after: tuple[float, float]
    extreme: tuple[float, float]
    torque: tuple[float, float]

    @property
    def kind(self) -> str:
        """In words."""
        return "load on" if self.on else "load off"


def load_steps(course: Course) -> list[LoadStep]:
    """Load steps of a run: between two loaded rests at like output speeds, the lever left where it was."""
    data = course.data
    torque = data.of_role("torque") or data.of_role("dynamometer_torque")
    speed = data.of_role("power_turbine_speed")
    if torque is None or speed is None:
        return []
    found = [
        _load_step(course, s, torque, speed)
        for s in course.of_kind("acceleration", "deceleration", "transient")
    ]
    return [s for s in found if s is not None]


def _load_step(course: Course, stretch: Stretch, torque: str, speed: str) -> LoadStep | None:
    before, after = course.before(stretch), course.after(stretch)
    if before is None or after is None or before.kind != "hold" or after.kind != "hold":
        return None
    data, full = course.data, course.rules.full_torque
    first = (max(before.from_s, before.to_s - _SETTLED), before.to_s - 0.5)
    last = (max(after.from_s, after.to_s - _SETTLED), after.to_s - 0.5)
    loads = data.level(torque, *first), data.level(torque, *last)
    change = loads[1] - loads[0]
    if not (abs(change) >= _STEP * full and min(loads) >= _CARRIED * full):
        return None
    speeds = _mean(data, speed, first), _mean(data, speed, last)
    if not abs(speeds[1][0] - speeds[0][0]) <= _ALIKE * speeds[0][0] or _lever_moved(data, first, last):
        return None
    rows = data.rows(stretch.from_s - 1.0, min(after.to_s, stretch.to_s + _SETTLED))
    x, t = data.values(speed)[rows], data.time[rows]
    if not np.isfinite(x).any():
        return None
    i = int(np.nanargmin(x) if change > 0.0 else np.nanargmax(x))
    return LoadStep(stretch, change > 0.0, speeds[0], speeds[1], (float(t[i]), float(x[i])), loads)


def _lever_moved(data: RunData, first: tuple[float, float], last: tuple[float, float]) -> bool:
    lever = data.of_role("power_lever")
    if lever is None:
        return False
    change = data.level(lever, *last) - data.level(lever, *first)
    return bool(abs(change) > max(20.0 * data.noise(lever), 1e-9))


def _mean(data: RunData, channel: str, window: tuple[float, float]) -> tuple[float, float]:
    """Mean over a time and its uncertainty from scatter; the usual noise where too few rows tell it."""
    result = hold_mean(even_rows(data, [channel], *window), data.step)
    u = float(result.standard_uncertainty[0])
    return float(result.mean[0]), u if math.isfinite(u) else data.noise(channel)


def governing_readings(
    course: Course, steps: Sequence[LoadStep], points: Sequence[PointData]
) -> list[ScalarReading]:
    """Droop, undershoot and overshoot at every load step, hunting at every point, as far as limits ask."""
    data, out = course.data, []
    speed = data.of_role("power_turbine_speed")
    if speed is None:
        return []
    for step in steps:
        if asked_for(data, "governing_droop"):
            out.append(_droop(data, step, speed))
        quantity = "speed_undershoot" if step.on else "speed_overshoot"
        if asked_for(data, quantity):
            out.append(_shoot(data, step, speed, quantity))
    if asked_for(data, "governing_hunting"):
        out.extend(_hunting(data, p, speed) for p in points)
    return out


def _droop(data: RunData, step: LoadStep, speed: str) -> ScalarReading:
    """Settled speed at the lower load less that at the higher: the meter's own error is the same in both."""
    light, heavy = (step.before, step.after) if step.on else (step.after, step.before)
    asked = _asked(
        data, step, speed, "governing_droop", "Governing droop", "settled speed at low load - at high load"
    )
    u = math.hypot(light[1], heavy[1])
    return asked.made(
        data, light[0] - heavy[0], u, inputs=_inputs(data, step, speed), shares=[Share(_SCATTER, u)]
    )


def _shoot(data: RunData, step: LoadStep, speed: str, quantity: str) -> ScalarReading:
    """How far speed passes the value it then settles at."""
    words = "lowest" if step.on else "highest"
    formula = f"distance of the {words} single row from the settled speed after the step"
    title = "Output speed undershoot" if step.on else "Output speed overshoot"
    asked = _asked(data, step, speed, quantity, title, formula)
    sign = 1.0 if step.on else -1.0
    value = sign * (step.after[0] - step.extreme[1])
    shares = [Share(_SCATTER, step.after[1]), Share("noise of a single row", data.noise(speed))]
    u = math.hypot(*(s.uncertainty for s in shares))
    inputs = [*_inputs(data, step, speed), channel_input(data, speed, step.extreme[1], step.extreme[0])]
    return asked.made(data, value, u, inputs=inputs, shares=shares, at_s=step.extreme[0])


def _asked(data: RunData, step: LoadStep, speed: str, quantity: str, title: str, formula: str) -> Asked:
    channels = [speed, data.of_role("torque") or data.of_role("dynamometer_torque")]
    return Asked(
        quantity=quantity,
        regime="transient",
        title=f"{title}, {step.kind}",
        calculation="testcell.acceptance.governing.governing_readings",
        formula=f"{formula}; settled: mean of the last {_SETTLED:.0f} s of the hold",
        reference="definition of the program; the limit's document governs what is asked",
        channels=tuple(c for c in channels if c),
        from_s=step.stretch.from_s,
        to_s=step.stretch.to_s,
    )


def _inputs(data: RunData, step: LoadStep, speed: str) -> list[Input]:
    return [
        channel_input(data, speed, step.before[0], step.stretch.from_s),
        channel_input(data, speed, step.after[0], step.stretch.to_s),
        Input(name="torque before", value=step.torque[0], unit="N m", origin="mean before the step"),
        Input(name="torque after", value=step.torque[1], unit="N m", origin="mean after the step"),
    ]


def _hunting(data: RunData, point: PointData, speed: str) -> ScalarReading:
    """Half the widest swing of output speed over a point's averaging window, its drift taken off."""
    asked = Asked(
        quantity="governing_hunting",
        regime="steady",
        title=f"Hunting of output speed, point {point.id}",
        calculation="testcell.acceptance.governing.governing_readings",
        formula=f"half of highest less lowest {_SWING} s mean over the window, straight line taken off",
        reference="definition of the program; the limit's document governs what is asked",
        channels=(speed,),
        from_s=point.from_s,
        to_s=point.to_s,
    )
    x = even_rows(data, [speed], point.from_s, point.to_s)[:, 0]
    rows = max(1, round(_SWING / data.step))
    known = np.isfinite(x)
    if known.sum() < 8:
        return asked.not_made(data, "output speed holds too little there")
    at = np.arange(x.size, dtype=float)
    swing = running_mean(x - np.polyval(np.polyfit(at[known], x[known], 1), at), rows)
    value = 0.5 * float(np.nanmax(swing) - np.nanmin(swing))
    u = data.noise(speed) / math.sqrt(2.0 * rows)
    made = asked.made(
        data,
        value,
        u,
        inputs=[channel_input(data, speed, float(np.nanmean(x)), point.from_s, point.to_s)],
        shares=[Share("noise of the two extremes", u)],
    )
    return replace(
        made, point=point.id, rating=point.rating, schedule_item=point.schedule_item, block=point.block
    )
