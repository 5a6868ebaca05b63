"""Rests: stretches of a running engine in which the operator keeps the setting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.trace import Trace, runs_of

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class RestRules:
    """What counts as a rest. Shares are of full speed and of full torque.

    Parameters
    ----------
    short_window, long_window : float
        Windows over which the fitted change is looked at [s].
    speed, torque : float
        Largest change over the short window [-].
    slow_speed, slow_torque : float
        Largest change over the long window [-].
    swing_speed, swing_torque : float
        Hunting about a level that is kept may swing this far [-].
    near_speed, near_torque : float
        Distance from the level at either end within which the rest goes on [-].
    least : float
        A shorter rest is part of the motion around it [s].
    """

    short_window: float = 8.0
    long_window: float = 30.0
    speed: float = 0.003
    torque: float = 0.012
    slow_speed: float = 0.004
    slow_torque: float = 0.02
    swing_speed: float = 0.01
    swing_torque: float = 0.04
    near_speed: float = 0.0025
    near_torque: float = 0.012
    least: float = 20.0


def find_rests(
    trace: Trace, full_speed: float, full_torque: float, rules: RestRules, a: int, b: int
) -> list[tuple[int, int]]:
    """Rests of a running engine.

    Parameters
    ----------
    trace : Trace
        Holds `gas_generator_speed`; `torque` is used where recorded [inner units].
    full_speed : float
        Gas generator speed at the highest rating [rpm].
    full_torque : float
        Torque at the highest rating [N m].
    rules : RestRules
        What counts as a rest [-].
    a, b : int
        First and one-past-last row to look at [-].

    Returns
    -------
    list of (int, int)
        Half-open row ranges, in order, without overlap [-].

    Notes
    -----
    A row rests when the line fitted over the short window hardly moves and, away from fast motion, that over
    the long window neither: the first sees small steps of the setting, the second slow sweeps. A row also
    rests when the long window keeps its level while the reading swings about it (hunting). The ends are
    then moved out to where the reading leaves the level it had.
    """
    lines = [_Line(trace, "gas_generator_speed", full_speed, rules, a, b)]
    if "torque" in trace and np.isfinite(trace["torque"][a:b]).any():
        lines.append(_Line(trace, "torque", full_torque, rules, a, b))
    still = np.logical_and.reduce([x.still for x in lines])
    slow = np.logical_and.reduce([x.slow for x in lines])
    swings = np.logical_and.reduce([x.bounded for x in lines])
    calm = _eroded(still, trace.rows(rules.long_window / 2))
    resting = (still & (slow | ~calm)) | (slow & swings)
    shortest = trace.rows(rules.least)
    runs = [r for r in runs_of(resting) if r[1] - r[0] >= trace.rows(rules.short_window / 4)]
    runs = _merged(runs, lines, trace.rows(1.5 * rules.short_window))
    runs = _stretched([r for r in runs if r[1] - r[0] >= shortest / 2], lines, trace)
    return [(a + i, a + j) for i, j in runs if j - i >= shortest]


class _Line:
    """What one reading does in rows a to b, in shares of its full value."""

    def __init__(self, trace: Trace, name: str, full: float, rules: RestRules, a: int, b: int) -> None:
        short, long = rules.short_window, rules.long_window
        torque = name == "torque"
        pad = trace.rows(long)
        low, high = max(0, a - pad), b + pad
        part = Trace(trace.time[low:high], {name: trace[name][low:high] / full}, trace.step)
        keep = slice(a - low, b - low)
        self.level = part.smooth(name, 1.0)[keep]
        self.near = rules.near_torque if torque else rules.near_speed
        quiet, slow = (rules.torque, rules.slow_torque) if torque else (rules.speed, rules.slow_speed)
        swing = rules.swing_torque if torque else rules.swing_speed
        inner = Trace(part.time[keep], {name: part[name][keep]}, trace.step)
        self.still: BoolArray = np.abs(part.slope(name, short)[keep]) * short < quiet
        # The ends of the powered part are taken to go on: what lies beyond them must not shorten a rest.
        self.slow: BoolArray = np.abs(inner.slope(name, long)) * long < slow
        self.bounded: BoolArray = np.abs(self.level - inner.smooth(name, long)) < swing

    def around(self, i: int, j: int) -> float:
        """Mean over rows i to j."""
        x = self.level[max(i, 0) : j]
        x = x[np.isfinite(x)]
        return float(x.mean()) if x.size else np.nan

    def wiggle(self, i: int, j: int) -> float:
        """Distance from a level that the scatter in rows i to j explains, as a share of `near`."""
        x = self.level[max(i, 0) : j]
        x = x[np.isfinite(x)]
        return float(np.clip(4.0 * x.std() / self.near, 0.1, 0.4)) if x.size else 0.4

    def keeps(self, rows: slice, level: float, times: float = 1.0) -> BoolArray:
        """Rows near a level."""
        return np.abs(self.level[rows] - level) < times * self.near


def _eroded(mask: BoolArray, rows: int) -> BoolArray:
    """Rows with nothing but true values for so many rows on either side, as far as the mask goes."""
    count = np.concatenate(([0], np.cumsum(~mask)))
    at = np.arange(mask.size)
    low, high = np.maximum(at - rows, 0), np.minimum(at + rows + 1, mask.size)
    return np.asarray(count[high] - count[low] == 0)


def _merged(runs: list[tuple[int, int]], lines: list[_Line], longest: int) -> list[tuple[int, int]]:
    """Rests parted only by a short disturbance, with the same level before and after, are one."""
    out: list[tuple[int, int]] = []
    for i, j in runs:
        if out and i - out[-1][1] <= longest:
            p, q = out[-1]
            span = max(longest // 2, 1)
            same = [
                abs(x.around(max(p, q - span), q) - x.around(i, min(j, i + span))) < x.near
                and bool(np.all(x.keeps(slice(q, i), x.around(p, q), 4.0)))
                for x in lines
            ]
            if all(same):
                out[-1] = (p, j)
                continue
        out.append((i, j))
    return out


def _stretched(runs: list[tuple[int, int]], lines: list[_Line], trace: Trace) -> list[tuple[int, int]]:
    """Move the ends of each rest out to where a reading leaves the level it has there."""
    size = lines[0].level.size
    reach = trace.rows(20.0)
    span = trace.rows(8.0)
    out: list[tuple[int, int]] = []
    for n, (i, j) in enumerate(runs):
        floor = out[-1][1] if out else 0
        roof = runs[n + 1][0] if n + 1 < len(runs) else size
        first = _reach(lines, slice(max(i - reach, floor), i), (i, min(i + span, j)), backward=True)
        last = _reach(lines, slice(j, min(j + reach, roof)), (max(i, j - span), j), backward=False)
        out.append((i - first, j + last))
    return out


def _reach(lines: list[_Line], rows: slice, end: tuple[int, int], *, backward: bool) -> int:
    """Rows that the level at an end goes on for; stops where the motion that leaves it began."""
    shortest: int = rows.stop - rows.start
    for x in lines:
        level = x.around(*end)
        order = slice(None, None, -1) if backward else slice(None)
        left = np.flatnonzero(~x.keeps(rows, level)[order])
        if left.size:
            near = np.flatnonzero(x.keeps(rows, level, x.wiggle(*end))[order][: left[0]])
            shortest = min(shortest, int(near[-1]) + 1 if near.size else 0)
    return shortest
