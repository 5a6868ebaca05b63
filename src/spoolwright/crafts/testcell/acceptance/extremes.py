"""Worst readings along a run: in starts, transients, shut-down, coast-down, and over the whole run.

A limit that depends on another channel is met by the row with the least margin, not by the highest or lowest.
Rows under an exception of a limit and rows outside it are read apart, for another value holds in each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.crossing import time_beyond
from spoolwright.core.reduction.trace import running_mean
from spoolwright.crafts.testcell.acceptance.reading_parts import Asked, channel_input, channels_of, lacking
from spoolwright.crafts.testcell.acceptance.start_readings import start_end
from spoolwright.crafts.testcell.acceptance.starts import Start
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import Excursion, ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run.thin import Thin, cut_short, short, unbegun
from spoolwright.crafts.typefile.curve import curve_values
from spoolwright.crafts.typefile.limit_value import limit_over
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES, Limit
from spoolwright.units import to_inner

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_AFTER_MOTION = 10.0
"""A transient is answerable for what a reading does so long after it [s]."""
_SINGLE_ROWS = {
    "measured_gas_temperature", "gas_generator_speed", "power_turbine_speed", "torque", "dynamometer_torque",
    "vibration", "chip_detector",
}  # fmt: skip
"""Roles read row by row, as indicated. The others are slower than their noise: one-second means count."""
_WORDS = {
    "start": "in the start",
    "transient": "in transients",
    "run": "in the run",
    "shut_down": "in the shut-down",
    "coast_down": "in the coast-down",
}


@dataclass(frozen=True)
class _Window:
    """Rows of a regime: half-open row ranges, and what they are called."""

    mask: BoolArray
    words: str
    from_s: float
    to_s: float
    thin: Thin | None = None


def extreme_readings(course: Course, starts: Sequence[Start]) -> list[ScalarReading]:
    """The worst readings of every channel limit of the regimes that are judged row by row.

    What stands before an adjustment and what stands after it are read apart; where the limit counts in one of
    these blocks alone, the others are silent.
    """
    out: list[ScalarReading] = []
    reader = _Reader(course)
    for limit in course.data.limits:
        if limit.regime not in _WORDS or limit.quantity in DERIVED_QUANTITIES:
            continue
        for window in _windows(course, starts, limit):
            found = [r for w in _by_block(course.data, window) for r in reader.read(limit, w)]
            made = [r for r in found if math.isfinite(r.value)]
            out.extend(made or found[-1:])
    return out


def _by_block(data: RunData, window: _Window) -> list[_Window]:
    """A window cut at the adjustments."""
    edges = [window.from_s, *(a for a in data.adjusted_at if window.from_s < a < window.to_s), window.to_s]
    if len(edges) == 2:
        return [window]
    out = []
    for from_s, to_s in pairwise(edges):
        mask = np.zeros_like(window.mask)
        rows = data.rows(from_s, to_s if to_s == window.to_s else np.nextafter(to_s, -np.inf) - 1e-9)
        mask[rows] = window.mask[rows]
        if mask.any():
            out.append(_Window(mask, window.words, from_s, to_s, window.thin))
    return out


def _windows(course: Course, starts: Sequence[Start], limit: Limit) -> list[_Window]:
    data = course.data
    if data.time.size == 0:
        return []
    if limit.regime == "start":
        return [
            replace(w, thin=unbegun(s.stretch))
            for s in starts
            if not s.outcome.startswith("motoring")
            and (w := _window(data, [(s.begin, start_end(course, s))], f"in start {s.number}"))
        ]
    thin = {"run": short, "transient": cut_short}.get(limit.regime, lambda _: None)(course)
    window = _window(data, _spans(course, limit), _WORDS[limit.regime])
    return [replace(window, thin=thin)] if window else []


def _spans(course: Course, limit: Limit) -> list[tuple[float, float]]:
    """Times of a regime. Least values count only while the engine runs by itself."""
    if limit.regime == "run":
        if limit.bound == "max":
            return [(float(course.data.time[0]), float(course.data.time[-1]))]
        return [(s.from_s, s.to_s) for s in course.powered]
    if limit.regime == "transient":
        moving = course.of_kind("acceleration", "deceleration", "transient")
        return [(s.from_s, min(s.to_s + _AFTER_MOTION, _power_ends(course, s.to_s))) for s in moving]
    kinds = ("shut_down", "coast_down") if limit.regime == "shut_down" else ("coast_down",)
    return [(s.from_s, s.to_s) for s in course.of_kind(*kinds)]


def _power_ends(course: Course, after: float) -> float:
    """End of the stay under power that a moment belongs to."""
    later = [s.from_s for s in course.of_kind("shut_down", "coast_down", "off") if s.from_s >= after]
    return min(later, default=float(course.data.time[-1]))


def _window(data: RunData, spans: list[tuple[float, float]], words: str) -> _Window | None:
    mask = np.zeros(data.time.size, dtype=bool)
    for from_s, to_s in spans:
        mask[data.rows(from_s, to_s)] = True
    if not mask.any():
        return None
    return _Window(mask, words, min(a for a, _ in spans), max(b for _, b in spans))


class _Reader:
    """Reads channels against limits; a channel's readings are prepared once."""

    def __init__(self, course: Course) -> None:
        self.data = course.data
        self._prepared: dict[str, FloatArray] = {}
        spans = [(s.from_s, s.to_s) for s in course.stretches if s.kind != "off"]
        turning = _window(course.data, spans, "") if spans else None
        self._turning = np.zeros(course.data.time.size, dtype=bool) if turning is None else turning.mask

    def readings(self, name: str) -> FloatArray:
        """Rows of a channel as they are judged."""
        if name not in self._prepared:
            x = self.data.values(name)
            if self.data.channel(name).role not in _SINGLE_ROWS:
                x = running_mean(x, max(1, round(1.0 / self.data.step)))
            self._prepared[name] = x
        return self._prepared[name]

    def read(self, limit: Limit, window: _Window) -> list[ScalarReading]:
        """The worst reading outside every exception, and the worst within each."""
        data = self.data
        asked = self._asked(limit, window)
        if not data.knows(limit.quantity):
            return [asked.not_made(data, f"'{limit.quantity}' was not recorded")]
        missing = [c for c in channels_of(limit) if not data.knows(c)]
        if missing:
            return [asked.not_made(data, f"'{missing[0]}', on which the limit depends, was not recorded")]
        over = limit_over(limit, self._conditions(limit), data.time)
        x = self.readings(limit.quantity)
        counts = window.mask & over.applies & np.isfinite(x)
        if not counts.any():
            return [asked.not_made(data, _never(limit, window))]
        value = np.where(np.isnan(over.value), 0.0, over.value)
        parts = [counts & (over.excused == k) for k in range(-1, len(limit.exceptions))]
        return [self._worst(limit, window, part, counts, value) for part in parts if part.any()]

    def _conditions(self, limit: Limit) -> dict[str, FloatArray]:
        """Readings that a limit depends on; for an exception, time counts only while the engine turns."""
        excusing = {c.channel for e in limit.exceptions for c in e.when}
        return {
            c: np.where(self._turning, self.readings(c), np.nan) if c in excusing else self.readings(c)
            for c in channels_of(limit)
        }

    def _worst(
        self, limit: Limit, window: _Window, part: BoolArray, counts: BoolArray, value: FloatArray
    ) -> ScalarReading:
        data, x = self.data, self.readings(limit.quantity)
        sign = 1.0 if limit.bound == "max" else -1.0
        i = int(np.argmax(np.where(part, sign * (x - value), -np.inf)))
        reading = float(x[i])
        shares = self._shares(limit, reading, i)
        u = math.sqrt(sum(s.uncertainty**2 for s in shares))
        excursions = self._excursions(limit, counts, value, i, u)
        inputs = [*self._inputs(limit, i, excursions), *self._times(limit, window, counts)]
        asked = self._asked(limit, window)
        made = asked.made(data, reading, u, inputs=inputs, shares=shares, at_s=float(data.time[i]))
        return replace(
            lacking(made, window.thin),
            conditions={c: float(self.readings(c)[i]) for c in channels_of(limit)},
            excused_s=self._excused(limit, i),
            excursions=excursions,
            limit=limit.id,
        )

    def _excused(self, limit: Limit, i: int) -> float:
        """How long the conditions of an exception had held at a row, with the engine turning."""
        for exception in limit.exceptions:
            met = self._turning.copy()
            for c in exception.when:
                low = -math.inf if c.min is None else to_inner(c.min, c.unit)
                high = math.inf if c.max is None else to_inner(c.max, c.unit)
                met &= (self.readings(c.channel) >= low) & (self.readings(c.channel) <= high)
            if met[i]:
                off = np.flatnonzero(~met[:i])
                return float(self.data.time[i] - self.data.time[off[-1] + 1 if off.size else 0])
        return 0.0

    def _shares(self, limit: Limit, reading: float, i: int) -> list[Share]:
        data = self.data
        shares = [*data.shares(limit.quantity, reading), Share("noise", data.noise(limit.quantity))]
        if limit.curve is not None:
            of = limit.curve.of
            x = float(self.readings(of)[i])
            u = math.hypot(data.systematic_uncertainty(of, x), data.noise(of))
            ends = curve_values(limit.curve, limit.unit, np.array([x - u, x, x + u]))
            moved = np.abs(ends - ends[1])
            shares.append(Share(f"limit's dependence on {of}", float(np.nanmax(moved)) if u > 0.0 else 0.0))
        return [s for s in shares if s.uncertainty > 0.0]

    def _excursions(
        self, limit: Limit, counts: BoolArray, value: FloatArray, i: int, u: float
    ) -> tuple[Excursion, ...]:
        """Time beyond every level that the limit names a time for, and beyond the limit itself."""
        x, above = self.readings(limit.quantity), limit.bound == "max"
        out = []
        for level in dict.fromkeys(to_inner(t.value, limit.unit) for t in limit.time_at):
            out.append(self._beyond(x, level, level, above, u, counts))
        if limit.value is not None or limit.curve is not None:
            out.append(self._beyond(x - value, 0.0, float(value[i]), above, u, counts))
        return tuple(out)

    def _beyond(
        self, x: FloatArray, level: float, name: float, above: bool, u: float, counts: BoolArray
    ) -> Excursion:
        reach = x[counts] - level if above else level - x[counts]
        if float(np.max(reach, initial=-np.inf)) < -u:
            return Excursion(name, 0.0, 0.0)
        found = time_beyond(self.data.time, x, level, above=above, uncertainty=u, where=counts)
        return Excursion(name, found.total, found.uncertainty)

    def _inputs(self, limit: Limit, i: int, excursions: tuple[Excursion, ...]) -> list[Input]:
        data, at = self.data, float(self.data.time[i])
        inputs = [channel_input(data, limit.quantity, float(self.readings(limit.quantity)[i]), at)]
        single = float(data.values(limit.quantity)[i])
        if single != inputs[0].value and math.isfinite(single):
            name = "the same, single row"
            inputs.append(channel_input(data, limit.quantity, single, at).model_copy(update={"name": name}))
        inputs += [channel_input(data, c, float(self.readings(c)[i]), at) for c in channels_of(limit)]
        unit = inputs[0].unit
        for e in excursions:
            name = f"time beyond {e.above:.6g} {unit}, in all"
            inputs.append(Input(name=name, value=e.total_s, unit="s", origin=f"channel {limit.quantity}"))
        return inputs

    def _times(self, limit: Limit, window: _Window, counts: BoolArray) -> list[Input]:
        """How much of the regime lay inside and outside the window in which the limit counts."""
        if not limit.valid_when:
            return []
        inside, outside = counts.sum() * self.data.step, (window.mask & ~counts).sum() * self.data.step
        where = ", ".join(f"channel {c.channel}" for c in limit.valid_when)
        return [
            Input(
                name="time within the limit's window", value=round(float(inside), 2), unit="s", origin=where
            ),
            Input(name="time outside it", value=round(float(outside), 2), unit="s", origin=where),
        ]

    def _asked(self, limit: Limit, window: _Window) -> Asked:
        data = self.data
        known = limit.quantity in {c.id for c in data.type_file.channel}
        channel = data.channel(limit.quantity) if known else None
        single = channel is None or channel.role in _SINGLE_ROWS
        what = "single row as indicated" if single else "one-second mean"
        extreme = "highest" if limit.bound == "max" else "lowest"
        formula = f"{extreme} {what} {window.words}"
        if limit.curve is not None:
            formula = f"{what} with the least margin to the limit, {window.words}"
        band = f" ({channel.band})" if channel is not None and channel.band else ""
        return Asked(
            quantity=limit.quantity,
            regime=limit.regime,
            title=f"{channel.name if channel else limit.quantity}{band}: {formula}",
            calculation="testcell.acceptance.extremes.extreme_readings",
            formula=formula,
            reference=source_text(data.type_file, limit.source),
            channels=(limit.quantity, *channels_of(limit)),
            from_s=window.from_s,
            to_s=window.to_s,
        )


def _never(limit: Limit, window: _Window) -> str:
    held = " and ".join(
        f"'{c.channel}' {'at least ' + format(c.min, 'g') if c.min is not None else ''}"
        f"{' and ' if c.min is not None and c.max is not None else ''}"
        f"{'at most ' + format(c.max, 'g') if c.max is not None else ''} {c.unit}"
        for c in limit.valid_when
    )
    return f"no reading {window.words} in which the limit counts" + (f" ({held})" if held else "")
