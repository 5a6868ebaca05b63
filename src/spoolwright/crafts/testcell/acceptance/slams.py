"""Accelerations and decelerations, timed as the approved document defines it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.crossing import Crossing, first_crossing
from spoolwright.core.reduction.segments import Stretch
from spoolwright.crafts.testcell.acceptance.reading_parts import Asked, asked_for, channel_input, document
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.typefile.definition import SlamDefinition
from spoolwright.units import difference_to_inner

FloatArray = NDArray[np.float64]

_LEVEL = 3.0
"""Time before the change from which its first level is read [s]."""
_AFTER = 25.0
"""Longest time after the change within which its last level is read [s]."""
_QUICK = 2.0
"""A lever that takes longer over its way makes no slam [s]."""
_QUICK_SHARE = 0.25
"""Without a lever: share of the whole change that some two seconds of a slam hold [-]."""
_CLEAR = 5.0
"""A reading so many noise deviations off its level has left it [-]."""


@dataclass(frozen=True)
class Level:
    """Mean of a settled reading, and how well it is known."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Slam:
    """A quick change of load; `why_not` says why its time could not be read, where it could not."""

    kind: Literal["acceleration", "deceleration"]
    stretch: Stretch
    channel: str
    before: Level
    after: Level
    begin: float
    end: float | None
    uncertainty: float
    why_not: str = ""

    @property
    def seconds(self) -> float | None:
        """Time by the document's definition [s]."""
        return None if self.end is None else self.end - self.begin


def definition_of(data: RunData, kind: str) -> SlamDefinition | None:
    """The document's definition of one kind of slam."""
    given = data.type_file.definitions
    return given.acceleration if kind == "acceleration" else given.deceleration


def slams_of(course: Course) -> list[Slam]:
    """Every acceleration and deceleration that is a slam by the document's definition."""
    out = []
    for stretch in course.of_kind("acceleration", "deceleration"):
        definition = definition_of(course.data, stretch.kind)
        slam = _slam(course, stretch, definition) if definition else None
        if slam is not None:
            out.append(slam)
    return out


def slam_readings(course: Course, slams: list[Slam]) -> list[ScalarReading]:
    """Times of the slams that a limit asks for."""
    data, out = course.data, []
    for slam in slams:
        quantity = f"{slam.kind}_time"
        if asked_for(data, quantity):
            out.append(_reading(data, slam, quantity))
    for kind in ("acceleration", "deceleration"):
        stretches, why = course.of_kind(kind), _untimed(data, kind)
        if why and stretches and asked_for(data, f"{kind}_time"):
            asked = _asked(data, f"{kind}_time", stretches[0].from_s, stretches[-1].to_s, (), None)
            out.append(asked.not_made(data, why))
    return out


def _untimed(data: RunData, kind: str) -> str:
    """Why no slam of a kind can be timed in this run; empty when it can."""
    definition = definition_of(data, kind)
    if definition is None:
        return f"the type file does not define how an {kind} is timed"
    if data.of_role(definition.measured_on) is None:
        return f"no channel of {definition.measured_on} was recorded, on which the document times an {kind}"
    return ""


def _slam(course: Course, stretch: Stretch, definition: SlamDefinition) -> Slam | None:
    """The slam in a stretch; None where the change is too small or too slow to be one."""
    data, kind = course.data, stretch.kind
    assert kind in ("acceleration", "deceleration")
    channel = data.of_role(definition.measured_on)
    if channel is None:
        return None
    sign = 1.0 if kind == "acceleration" else -1.0
    until = _end(course, stretch)
    rows = data.rows(stretch.from_s - _LEVEL - 1.0, until)
    t, x = data.time[rows], data.values(channel)[rows]
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if t.size < 5:
        return None
    lever = _lever_way(course, stretch, sign)
    noise = data.noise(channel)
    begin = lever.moved if lever is not None else stretch.from_s - 1.0
    before = _level(t, x, noise, begin - _LEVEL, begin)
    after = _level(t, x, noise, *_last_window(course, stretch, until))
    if before is None or after is None:
        return None
    change = sign * (after.value - before.value)
    least = difference_to_inner(definition.least_change.value, definition.least_change.unit)
    quick = lever.quick if lever is not None else _is_quick(t, sign * x, stretch, change)
    if change < least or not quick:
        return None
    return _timed(data, stretch, channel, definition, (t, x), before, after, lever)


def _end(course: Course, stretch: Stretch) -> float:
    """End of the time within which a change settles: before the next motion, at most 25 s on."""
    after = course.after(stretch)
    if after is None:
        return stretch.to_s
    if after.kind in ("idle", "hold"):
        return min(after.to_s, stretch.to_s + _AFTER)
    return stretch.to_s


def _last_window(course: Course, stretch: Stretch, until: float) -> tuple[float, float]:
    """When the last level is read: in the rest that follows, else at the end of the motion."""
    after = course.after(stretch)
    if after is not None and after.kind in ("idle", "hold"):
        return max(stretch.to_s, until - 10.0), until
    return until - 1.0, until


def _level(t: FloatArray, x: FloatArray, noise: float, low: float, high: float) -> Level | None:
    part = x[(t >= low) & (t <= high)]
    if part.size == 0:
        return None
    # Noise of neighbouring rows resembles each other: a second's worth counts as one reading.
    independent = max(1.0, min(float(part.size), high - low))
    return Level(float(np.median(part)), max(noise, 0.0) / math.sqrt(independent))


@dataclass(frozen=True)
class _Lever:
    """How the power lever moved: when it left its place, how sure that is, and whether it was quick."""

    moved: float
    uncertainty: float
    quick: bool


def _lever_way(course: Course, stretch: Stretch, sign: float) -> _Lever | None:
    """The lever's movement that begins a stretch; None where no lever was recorded or it did not move."""
    data = course.data
    channel = data.of_role("power_lever")
    if channel is None:
        return None
    before = course.before(stretch)
    at_rest = before is not None and before.kind in ("idle", "hold")
    rows = data.rows(stretch.from_s - (6.0 if at_rest else 1.0), stretch.to_s)
    t, x = data.time[rows], sign * data.values(channel)[rows]
    good = np.isfinite(x)
    t, x = t[good], x[good]
    noise = data.noise(channel)
    if t.size < 5:
        return None
    rise = x - np.minimum.accumulate(x)
    top = int(np.argmax(rise))
    t, x = t[: top + 1], x[: top + 1]
    half = np.flatnonzero(x < x[-1] - 0.5 * rise[top])
    if half.size == 0:
        return None
    still = x[t < t[half[-1]] - 0.75 * _QUICK]
    foot = float(np.median(still)) if still.size else float(x.min())
    way = float(x[-1]) - foot
    band = max(_CLEAR * noise, 0.01 * way)
    resting = np.flatnonzero(x < foot + band)
    if way < max(20.0 * noise, 1e-9) or resting.size == 0 or resting[-1] + 1 >= t.size:
        return None
    left = int(resting[-1]) + 1
    seconds = float(t[np.argmax(x >= foot + 0.95 * way)] - t[left - 1])
    interval = float(t[left] - t[left - 1])
    gone = band / (0.95 * way) * max(seconds - interval, 0.0)
    moved = 0.5 * float(t[left - 1] + t[left]) - gone
    return _Lever(moved, math.hypot(interval / math.sqrt(12.0), 0.5 * gone), seconds <= _QUICK + interval)


def _is_quick(t: FloatArray, x: FloatArray, stretch: Stretch, change: float) -> bool:
    part = (t >= stretch.from_s - 1.0) & (t <= stretch.to_s)
    t, x = t[part], x[part]
    if t.size < 3:
        return False
    later = np.interp(t + 2.0, t, x)
    return bool(np.max(later - x) >= _QUICK_SHARE * change)


def _timed(
    data: RunData,
    stretch: Stretch,
    channel: str,
    definition: SlamDefinition,
    series: tuple[FloatArray, FloatArray],
    before: Level,
    after: Level,
    lever: _Lever | None,
) -> Slam:
    kind: Literal["acceleration", "deceleration"] = (
        "acceleration" if stretch.kind == "acceleration" else "deceleration"
    )
    sign = 1.0 if kind == "acceleration" else -1.0
    t, x = series
    noise = data.noise(channel)
    change = after.value - before.value
    target = before.value + definition.fraction * change
    u_target = math.hypot(
        definition.fraction * after.uncertainty, (1.0 - definition.fraction) * before.uncertainty
    )
    clock, u_clock, why = _clock(definition, lever, t, sign * (x - before.value), stretch, noise, abs(change))
    begin = stretch.from_s if clock is None else clock
    late = t >= begin
    reached = first_crossing(
        t[late], x[late], target, rising=sign > 0.0, noise=noise, level_uncertainty=u_target, lasting=0.2
    )
    if clock is None or reached is None:
        why = why or f"the reading did not come to {definition.fraction:.0%} of its change on record"
        return Slam(kind, stretch, channel, before, after, begin, None, math.nan, why)
    u = math.hypot(u_clock, reached.uncertainty)
    return Slam(kind, stretch, channel, before, after, clock, reached.time, u)


def _clock(
    definition: SlamDefinition,
    lever: _Lever | None,
    t: FloatArray,
    gone: FloatArray,
    stretch: Stretch,
    noise: float,
    change: float,
) -> tuple[float | None, float, str]:
    """The moment the document times from, its uncertainty, and why there is none."""
    if definition.clock_from == "lever_moved":
        if lever is None:
            return None, math.nan, "the document times from the lever's movement, which is not on record"
        return lever.moved, lever.uncertainty, ""
    near = t >= stretch.from_s - 2.0
    band = max(_CLEAR * noise, 0.01 * change)
    left: Crossing | None = first_crossing(t[near], gone[near], band, noise=noise, lasting=0.2)
    if left is None:
        return None, math.nan, "the moment the reading left its level is not on record"
    back = band / left.slope if left.slope > 0.0 else 0.0
    return left.time - back, math.hypot(left.uncertainty, back / math.sqrt(3.0)), ""


def _asked(
    data: RunData, quantity: str, from_s: float, to_s: float, channels: tuple[str, ...], share: float | None
) -> Asked:
    kind = quantity.removesuffix("_time")
    definition = definition_of(data, kind)
    start = (
        "lever moved" if definition and definition.clock_from == "lever_moved" else "reading left its level"
    )
    return Asked(
        quantity=quantity,
        regime="transient",
        title=f"{kind.capitalize()} time",
        calculation="testcell.acceptance.slams.slam_readings",
        formula=_formula(share, start) if share else "",
        reference=document(data, definition.source if definition else None),
        channels=channels,
        from_s=from_s,
        to_s=to_s,
    )


def _formula(share: float, start: str) -> str:
    change = f"the change to the level settled within {_AFTER:.0f} s"
    return f"moment {share:.0%} of {change} was first reached - moment the {start}"


def _reading(data: RunData, slam: Slam, quantity: str) -> ScalarReading:
    definition = definition_of(data, slam.kind)
    assert definition is not None
    lever = data.of_role("power_lever") if definition.clock_from == "lever_moved" else None
    channels = tuple(c for c in (slam.channel, lever) if c)
    end = slam.stretch.to_s if slam.end is None else max(slam.end, slam.begin)
    asked = _asked(data, quantity, slam.begin, end, channels, definition.fraction)
    seconds = slam.seconds
    if seconds is None:
        return asked.not_made(data, slam.why_not)
    inputs = [
        channel_input(data, slam.channel, slam.before.value, slam.begin),
        channel_input(data, slam.channel, slam.after.value, end),
    ]
    shares = [Share("sampling interval and noise", slam.uncertainty)]
    return asked.made(data, seconds, slam.uncertainty, inputs=inputs, shares=shares, at_s=slam.begin)
