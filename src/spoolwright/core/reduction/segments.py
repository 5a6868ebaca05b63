"""What happened in a run: off, starts, idle, holds, accelerations, decelerations, shut-down, coast-down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.trace import Trace, runs_of

BoolArray = NDArray[np.bool_]
Kind = Literal[
    "off", "start", "idle", "hold", "transient", "acceleration", "deceleration", "shut_down", "coast_down"
]


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
    quiet_window : float
        Window in which a hold moves less than the two shares below [s].
    quiet_speed, quiet_torque : float
        Shares of full speed and full torque [-].
    least_hold : float
        A shorter rest is part of the motion around it [s].
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
    quiet_window: float = 8.0
    quiet_speed: float = 0.006
    quiet_torque: float = 0.02
    least_hold: float = 20.0
    fast_share: float = 0.35
    fast_time: float = 10.0
    standstill: float = 0.02


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
    """

    kind: Kind
    from_s: float
    to_s: float
    complete: bool = True

    @property
    def length(self) -> float:
        """Length of the stretch."""
        return self.to_s - self.from_s


def find_stretches(trace: Trace, rules: SegmentRules) -> list[Stretch]:
    """Cut a run into stretches.

    Parameters
    ----------
    trace : Trace
        Holds `gas_generator_speed`; `torque` and `fuel_mass_flow` are used where recorded [inner units].
    rules : SegmentRules
        Scales of the type [-].

    Returns
    -------
    list of Stretch
        In order of time, without overlap [-].
    """
    if trace.time.size == 0 or "gas_generator_speed" not in trace:
        return []
    ng = trace["gas_generator_speed"]
    turning = np.nan_to_num(ng, nan=0.0) > rules.standstill * rules.full_speed
    bridged = _bridge(turning, np.isfinite(ng))
    out: list[Stretch] = []
    last = 0
    for a, b in runs_of(bridged):
        if a > last:
            out.append(_stretch(trace, "off", last, a))
        out.extend(_turning(trace, rules, a, b))
        last = b
    if last < trace.time.size:
        out.append(_stretch(trace, "off", last, trace.time.size))
    return out


def _bridge(turning: BoolArray, known: BoolArray) -> BoolArray:
    """A gap in the record between two turning stretches counts as turning."""
    out = turning.copy()
    for a, b in runs_of(~known):
        if a > 0 and b < out.size and out[a - 1] and out[b]:
            out[a:b] = True
    return out


def _stretch(trace: Trace, kind: Kind, a: int, b: int, complete: bool = True) -> Stretch:
    end = min(b, trace.time.size - 1)
    return Stretch(kind, float(trace.time[a]), float(trace.time[end]), complete)


def _turning(trace: Trace, rules: SegmentRules, a: int, b: int) -> list[Stretch]:
    """Stretches while the rotor turns, rows a to b."""
    ng = trace["gas_generator_speed"][a:b]
    running = np.nan_to_num(ng, nan=rules.idle_speed) >= rules.idle_speed - rules.idle_within
    if not running.any():
        return [_stretch(trace, "start", a, b, complete=False)]
    first = a + int(np.argmax(running))
    out: list[Stretch] = []
    starts_turning = a > 0 or ng[0] < 0.5 * rules.idle_speed
    if starts_turning and first > a:
        out.append(_stretch(trace, "start", a, first))
    elif first > a:
        out.append(_stretch(trace, "transient", a, first))
    cut = _fuel_cut(trace, rules, first, b)
    out.extend(_powered(trace, rules, first, cut))
    if cut < b:
        at_rest = b < trace.time.size
        out.append(_stretch(trace, "coast_down", cut, b, complete=at_rest))
    return out


def _fuel_cut(trace: Trace, rules: SegmentRules, a: int, b: int) -> int:
    """Row at which the last coast-down begins: fuel off, or without that reading speed leaving idle."""
    ng = trace["gas_generator_speed"][a:b]
    above = np.flatnonzero(np.nan_to_num(ng, nan=0.0) >= rules.idle_speed - rules.idle_within)
    left_idle = a + int(above[-1]) + 1
    if left_idle >= b or np.nanmin(ng[-max(1, int(2 / trace.step)) :]) > 0.5 * rules.idle_speed:
        return b
    fuel = trace.values.get("fuel_mass_flow")
    if fuel is None or not np.isfinite(fuel[a:b]).any():
        return left_idle
    running_flow = np.nanmedian(fuel[a:left_idle])
    lit = np.flatnonzero(np.nan_to_num(fuel[a:b], nan=0.0) > 0.1 * running_flow)
    return min(b, a + int(lit[-1]) + 1) if lit.size else left_idle


def _powered(trace: Trace, rules: SegmentRules, a: int, b: int) -> list[Stretch]:
    """Holds and the motion between them while the engine runs under its own power, rows a to b."""
    quiet = _quiet(trace, rules)[a:b]
    least = int(rules.least_hold / trace.step)
    holds = [(a + i, a + j) for i, j in runs_of(quiet) if j - i >= least]
    out: list[Stretch] = []
    last = a
    for i, j in holds:
        if i > last:
            out.append(_motion(trace, rules, last, i))
        level = float(np.nanmedian(trace["gas_generator_speed"][i:j]))
        idle = abs(level - rules.idle_speed) <= rules.idle_within
        out.append(_stretch(trace, "idle" if idle else "hold", i, j))
        last = j
    if last < b:
        out.append(_motion(trace, rules, last, b))
    return out


def _quiet(trace: Trace, rules: SegmentRules) -> BoolArray:
    """Rows at which neither speed nor torque moves beyond the quiet shares within the quiet window."""
    window = rules.quiet_window
    speed = np.abs(trace.slope("gas_generator_speed", window)) * window
    quiet = speed < rules.quiet_speed * rules.full_speed
    if "torque" in trace and np.isfinite(trace["torque"]).any():
        torque = np.abs(trace.slope("torque", window)) * window
        quiet &= ~(torque >= rules.quiet_torque * rules.full_torque)
    return quiet


def _motion(trace: Trace, rules: SegmentRules, a: int, b: int) -> Stretch:
    """Name the motion between two rests by how far and how fast load changes in it."""
    name = (
        "torque" if "torque" in trace and np.isfinite(trace["torque"][a:b]).any() else "gas_generator_speed"
    )
    full = rules.full_torque if name == "torque" else rules.full_speed - rules.idle_speed
    edge = max(1, int(rules.quiet_window / 2 / trace.step))
    x = trace[name][max(0, a - edge) : min(b + edge, trace.time.size)]
    lag = max(1, int(rules.fast_time / trace.step))
    lag = min(lag, x.size - 1)
    if lag < 1:
        return _stretch(trace, "transient", a, b)
    change = x[lag:] - x[:-lag]
    if np.nanmax(change, initial=0.0) > rules.fast_share * full:
        return _stretch(trace, "acceleration", a, b)
    if np.nanmin(change, initial=0.0) < -rules.fast_share * full:
        return _stretch(trace, "deceleration", a, b)
    return _stretch(trace, "transient", a, b)
