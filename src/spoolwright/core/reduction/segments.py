"""What happened in a run: off, starts, idle, holds, accelerations, decelerations, shut-down, coast-down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.rests import RestRules, find_rests
from spoolwright.core.reduction.trace import Trace, runs_of
from spoolwright.core.reduction.turning_points import legs_of

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Kind = Literal[
    "off", "start", "idle", "hold", "transient", "acceleration", "deceleration", "shut_down", "coast_down"
]

_DIP = 15.0
"""A shorter dip under the running speed is an undershoot, not a shut-down and a new start [s]."""
_DEEPEST_DIP = 0.75
"""Share of the running speed under which a short dip is no undershoot any more [-]."""
_SHALLOW_DIP = 0.9
"""The same for a dip of any length: no rotor that coasts down stays above it [-]."""
_REVERSAL = 0.03
"""Share of full speed by which speed must turn back before a start counts as given up [-]."""
_DROPOUT = 0.3
"""Share of full speed between which and standstill no rotor passes within half a second [-]."""
_SETTLING = 60.0
"""A start whose idle speed is not reached this long after the engine runs by itself ends without it [s]."""


_FLOWING = 0.85
"""Share of the last steady fuel flow under which fuel is being cut off; flow meters follow with a lag [-]."""


@dataclass(frozen=True)
class SegmentRules:
    """Scales that tell rest from motion. Taken from the type file's ratings and definitions.

    Parameters
    ----------
    full_speed : float
        Gas generator speed at the highest rating [rpm].
    idle_speed : float
        Gas generator speed at ground idle [rpm].
    idle_within : float
        Half width of the idle band [rpm].
    full_torque : float
        Torque at the highest rating [N m].
    rest : RestRules
        What counts as a rest of speed and torque [-].
    fast_share : float
        Share of full torque within `fast_time` that makes a change an acceleration or deceleration [-].
    fast_time : float
        See `fast_share` [s].
    standstill : float
        Share of full speed under which the rotor counts as stopped [-].
    """

    full_speed: float
    idle_speed: float
    idle_within: float
    full_torque: float
    rest: RestRules = RestRules()  # noqa: RUF009 - frozen
    fast_share: float = 0.35
    fast_time: float = 10.0
    standstill: float = 0.02

    @property
    def running_speed(self) -> float:
        """Speed above which the engine runs by itself, a low idle included [rpm]."""
        return self.idle_speed - max(self.idle_within, 0.08 * self.idle_speed)


@dataclass(frozen=True)
class Stretch:
    """A stretch of a run.

    Parameters
    ----------
    kind : str
        What it is [-].
    from_s, to_s : float
        Begin and end [s].
    complete : bool
        For a start: whether idle was reached; for a coast-down: whether the rotor came to rest on record [-].
    begun : bool
        Whether its beginning is on record [-].
    """

    kind: Kind
    from_s: float
    to_s: float
    complete: bool = True
    begun: bool = True

    @property
    def length(self) -> float:
        """Length of the stretch [s]."""
        return self.to_s - self.from_s


def find_stretches(trace: Trace, rules: SegmentRules) -> list[Stretch]:
    """Cut a run into stretches.

    Parameters
    ----------
    trace : Trace
        Holds `gas_generator_speed`; `torque` and `fuel_flow` are used where recorded [inner units].
    rules : SegmentRules
        Scales of the type [-].

    Returns
    -------
    list of Stretch
        In order of time, without overlap, from the first to the last known speed [-].

    Notes
    -----
    While the rotor turns without running by itself, every rise is a start and every fall a coast-down; a fall
    must reach 3 % of full speed before a start counts as given up. A gap in the record between two turning
    stretches counts as turning.
    """
    speed = _plausible_speed(trace, rules)
    known = np.flatnonzero(np.isfinite(speed))
    if known.size < 2:
        return []
    first, end = int(known[0]), int(known[-1]) + 1
    at = np.arange(first, end)
    speed[first:end] = np.interp(at, known, speed[known])
    course = _Course(trace, rules, speed, first, end)
    turning = speed > rules.standstill * rules.full_speed
    out: list[Stretch] = []
    last = first
    for a, b in runs_of(turning):
        if b - a < trace.rows(1.0):
            continue
        if a > last:
            out.append(course.stretch("off", last, a))
        out.extend(_turning(course, a, b))
        last = b
    if last < end:
        out.append(course.stretch("off", last, end))
    return out


@dataclass(frozen=True)
class _Course:
    """A run's speed without gaps between its first and last known row."""

    trace: Trace
    rules: SegmentRules
    speed: FloatArray
    first: int
    end: int

    def stretch(self, kind: Kind, a: int, b: int, *, complete: bool = True) -> Stretch:
        """Rows a to b as a stretch; neighbours share their border."""
        time = self.trace.time
        return Stretch(
            kind, float(time[a]), float(time[min(b, self.end - 1)]), complete, begun=a > self.first
        )


def _plausible_speed(trace: Trace, rules: SegmentRules) -> FloatArray:
    """Speed with drop-outs of the pickup marked as not known: no rotor falls to a stop and back at once."""
    if trace.time.size == 0 or "gas_generator_speed" not in trace:
        return np.zeros(0)
    speed = trace["gas_generator_speed"].copy()
    still = np.nan_to_num(speed, nan=np.inf) <= rules.standstill * rules.full_speed
    near = trace.rows(0.5)
    high = _DROPOUT * rules.full_speed
    for a, b in runs_of(still):
        before, after = speed[max(0, a - near) : a], speed[b : b + near]
        if np.any(before > high) and np.any(after > high):
            speed[max(0, a - near) : b + near] = np.nan
    return speed


def _turning(course: _Course, a: int, b: int) -> list[Stretch]:
    """Stretches while the rotor turns, rows a to b."""
    powered = _powered_runs(course, a, b)
    out: list[Stretch] = []
    last = a
    for n, (i, j) in enumerate(powered):
        out.extend(_legs(course, last, i, ends_running=True))
        i = _idle_reached(course, i, j, out)
        next_start = powered[n + 1][0] if n + 1 < len(powered) else b
        cut = _fuel_cut(course, i, j, next_start) if j < b else j
        cut = max(cut, i)
        out.extend(_under_power(course, i, cut))
        left = max(cut, _leaves_idle(course, j))
        if left > cut:
            out.append(course.stretch("shut_down", cut, left))
        last = left
    out.extend(_legs(course, last, b, ends_running=False))
    return out


def _powered_runs(course: _Course, a: int, b: int) -> list[tuple[int, int]]:
    """Row ranges in which the engine runs by itself; short dips are bridged."""
    level = course.rules.running_speed
    runs = [(a + i, a + j) for i, j in runs_of(course.speed[a:b] >= level)]
    out: list[tuple[int, int]] = []
    for i, j in runs:
        if out:
            dip = course.speed[out[-1][1] : i]
            deepest = _DEEPEST_DIP if dip.size <= course.trace.rows(_DIP) else _SHALLOW_DIP
            if dip.min() > deepest * level:
                out[-1] = (out[-1][0], j)
                continue
        out.append((i, j))
    return [(i, j) for i, j in out if j - i >= course.trace.rows(3.0)]


def _legs(course: _Course, a: int, b: int, *, ends_running: bool) -> list[Stretch]:
    """Rises and falls of a rotor that does not run by itself, rows a to b."""
    if b <= a:
        return []
    legs = legs_of(course.speed[a:b], _REVERSAL * course.rules.full_speed)
    out = []
    for i, j, rising in legs:
        last = a + j >= b
        if rising:
            out.append(course.stretch("start", a + i, a + j, complete=last and ends_running))
        else:
            out.append(course.stretch("coast_down", a + i, a + j, complete=last and b < course.end))
    return out


def _idle_reached(course: _Course, i: int, j: int, out: list[Stretch]) -> int:
    """First row after the start proper: speed comes within the idle band, or settles without reaching it."""
    if not out or out[-1].kind != "start":
        return i
    within = course.speed[i:j] >= course.rules.idle_speed - course.rules.idle_within
    reached = int(np.argmax(within)) if within.any() else within.size
    if reached > course.trace.rows(_SETTLING):
        reached = 0
    start = out[-1]
    at = min(i + reached, course.end - 1)
    out[-1] = Stretch("start", start.from_s, float(course.trace.time[at]), start.complete, start.begun)
    return i + reached


def _leaves_idle(course: _Course, j: int) -> int:
    """Row at which the last fall before row j leaves the idle band."""
    low = course.rules.idle_speed - course.rules.idle_within
    near = max(course.first, j - course.trace.rows(30.0))
    above = np.flatnonzero(course.speed[near:j] >= low)
    return near + int(above[-1]) + 1 if above.size else j


def _fuel_cut(course: _Course, a: int, j: int, b: int) -> int:
    """Row at which the fall at row j begins: fuel falls off; without that reading, speed leaves idle."""
    left = max(a, min(j, _leaves_idle(course, j)))
    fuel = course.trace.values.get("fuel_flow")
    if fuel is None or not np.isfinite(fuel[a:j]).any():
        return left
    last = fuel[max(a, left - course.trace.rows(2.0)) : left]
    usual = float(np.nanmedian(last)) if np.isfinite(last).any() else 0.0
    if not usual > 0.0:
        return left
    on = np.flatnonzero(np.nan_to_num(fuel[a:b], nan=0.0) > _FLOWING * usual)
    cut = a + int(on[-1]) + 1 if on.size else left
    return cut if left - course.trace.rows(60.0) <= cut <= left else left


def _under_power(course: _Course, a: int, b: int) -> list[Stretch]:
    """Rests and the motion between them while the engine runs by itself, rows a to b."""
    if b <= a:
        return []
    rules = course.rules
    out: list[Stretch] = []
    last = a
    for i, j in find_rests(course.trace, rules.full_speed, rules.full_torque, rules.rest, a, b):
        out.extend(_motion(course, last, i))
        level = float(np.median(course.speed[i:j]))
        idle = abs(level - rules.idle_speed) <= max(rules.idle_within, rules.idle_speed - rules.running_speed)
        out.append(course.stretch("idle" if idle else "hold", i, j))
        last = j
    if out and out[-1].kind in ("idle", "hold") and b - last < course.trace.rows(1.0):
        rest = out.pop()
        return [*out, replace(rest, to_s=float(course.trace.time[min(b, course.end - 1)]))]
    return [*out, *_motion(course, last, b)]


def _motion(course: _Course, a: int, b: int) -> list[Stretch]:
    """The motion between two rests, cut where load turns round and named by how fast load changes in it."""
    if b <= a:
        return []
    trace, rules = course.trace, course.rules
    with_torque = "torque" in trace and bool(np.isfinite(trace["torque"][a:b]).any())
    full = rules.full_torque if with_torque else rules.full_speed - rules.idle_speed
    x = trace["torque"] if with_torque else course.speed
    edge = trace.rows(2.0)
    low, high = max(course.first, a - edge), min(b + edge, course.end)
    load = _filled(x[low:high])
    share = rules.fast_share * full
    lag = trace.rows(rules.fast_time)
    out: list[Stretch] = []
    for i, j, rising in legs_of(load, 0.5 * share):
        change = _fastest(load[i:j], lag)
        kind: Kind = "transient" if change < share else ("acceleration" if rising else "deceleration")
        i, j = max(low + i, a), min(low + j, b)
        if j > i:
            out.append(course.stretch(kind, i, j))
    return _joined(out)


def _filled(x: FloatArray) -> FloatArray:
    known = np.flatnonzero(np.isfinite(x))
    return np.interp(np.arange(x.size), known, x[known]) if known.size else np.zeros(x.size)


def _fastest(x: FloatArray, lag: int) -> float:
    lag = min(lag, x.size - 1)
    return float(np.abs(x[lag:] - x[:-lag]).max()) if lag >= 1 else 0.0


def _joined(stretches: list[Stretch]) -> list[Stretch]:
    """Neighbouring slow motions are one."""
    out: list[Stretch] = []
    for s in stretches:
        if out and s.kind == "transient" and out[-1].kind == "transient":
            out[-1] = Stretch("transient", out[-1].from_s, s.to_s, begun=out[-1].begun)
        else:
            out.append(s)
    return out
