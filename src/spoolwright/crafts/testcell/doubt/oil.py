"""Oil temperature, oil pressure and vibration: no model predicts them, but a wrong unit shows.

What such a channel usually reads is taken from the type file: the middle of its limits and gates. Against it
stand the readings as they are, the readings under every other unit, and an engine that truly is that far off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.doubt.scan import seen_noise
from spoolwright.crafts.testcell.doubt.channels import Look
from spoolwright.crafts.testcell.doubt.draft import Draft, called, shown
from spoolwright.crafts.testcell.doubt.mistakes import Subject, Suspicion, unit_mistakes
from spoolwright.crafts.testcell.wording import percent
from spoolwright.crafts.typefile.model import Channel
from spoolwright.units import to_inner

FloatArray = NDArray[np.float64]

_MISTAKEN = 0.004
"""Probability of one wrong unit of one such channel before looking [-]."""
_SWAPPED = 0.001
"""Probability that oil pressure and temperature are swapped [-]."""
_TRULY_OFF = 0.01
"""Probability that such a reading is truly far from what is usual [-]."""
_NAMED = 0.6
_IMPOSSIBLE = math.log(1e-4)
_NOISE_FACTOR = 0.8
"""Standard deviation of ln of a channel's noise over its usual one [-]."""


@dataclass(frozen=True)
class Usual:
    """What a channel usually reads at a running level: normal in its own unit, or in the logarithm."""

    middle: float
    deviation: float
    log: bool

    def log_density(self, value: float) -> float:
        """ln density of a reading in the channel's own unit."""
        if self.log and value <= 0.0:
            return -math.inf
        x = math.log(value) if self.log else value
        z = (x - self.middle) / self.deviation
        return -0.5 * z * z - math.log(self.deviation * math.sqrt(2.0 * math.pi)) - (x if self.log else 0.0)


def oil_drafts(look: Look) -> list[Draft]:
    """Wrong units among the channels that no model predicts, and oil pressure swapped with temperature."""
    running = np.array([not level.resting for level in look.levels], dtype=bool)
    if not running.any():
        return []
    out = []
    swap = _oil_swap(look, running)
    if swap is not None:
        return [swap]
    for role in ("oil_temperature", "oil_pressure", "vibration"):
        for channel in look.channels.values():
            if channel.role == role:
                draft = _unit_draft(look, channel, running)
                out += [draft] if draft is not None else []
    return out


def _middle(look: Look, channel: Channel, running: NDArray[np.bool_]) -> float:
    """Middle reading over the later running levels, when oil is warm [inner]."""
    values, _ = look.level_values(channel.id)
    values = values[running]
    values = values[len(values) // 2 :]
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else math.nan


def usual_of(look: Look, channel: Channel) -> Usual | None:
    """From limits and gates of the type file; None where they tell nothing."""
    lows, highs = _limits(look, channel)
    if not lows or not highs or max(lows) >= min(highs):
        return None
    low, high = max(lows), min(highs)
    if channel.dimension in ("pressure", "gauge pressure") and low > 0.0:
        return Usual(0.5 * (math.log(low) + math.log(high)), 0.4 * math.log(high / low) + 0.1, True)
    return Usual(0.5 * (low + high), 0.4 * (high - low), False)


def _limits(look: Look, channel: Channel) -> tuple[list[float], list[float]]:
    """Lower and upper limits of a running engine and ends of gate windows, in the channel's own unit."""
    lows: list[float] = []
    highs: list[float] = []
    for limit in look.type_file.limit:
        if limit.quantity == channel.id and limit.regime in ("steady", "run"):
            values = [limit.value] if limit.value is not None else []
            values += [limit.curve.points[-1][1]] if limit.curve else []
            own = [_own(look, channel, v, limit.unit) for v in values]
            (lows if limit.bound == "min" else highs).extend(own)
    for gate in look.type_file.gate:
        if gate.window is not None and gate.window.channel == channel.id:
            for end, side in ((gate.window.min, lows), (gate.window.max, highs)):
                if end is not None:
                    side.append(_own(look, channel, end, gate.window.unit))
    return lows, highs


def _own(look: Look, channel: Channel, value: float, unit: str) -> float:
    return (to_inner(value, unit) - look.inner(channel, 0.0)) / look.factor(channel)


def _unit_draft(look: Look, channel: Channel, running: NDArray[np.bool_]) -> Draft | None:
    read = _middle(look, channel, running)
    if not math.isfinite(read):
        return None
    subject = Subject(channel, look.recording.series[channel.id], np.array([read]))
    mistakes = unit_mistakes(subject, 101325.0, 800.0)
    usual, noise = usual_of(look, channel), _noise_ratio(look, channel)
    if not mistakes or (usual is None and noise is None):
        return None
    logs = _logs(look, channel, mistakes, read, usual, noise)
    p = np.exp(logs - logs.max())
    p /= p.sum()
    best = int(np.argmax(p[2:]))
    if p[2 + best] < _NAMED:
        return None
    return _draft(look, channel, mistakes[best], read, float(p[2 + best]))


def _logs(
    look: Look,
    channel: Channel,
    mistakes: Sequence[Suspicion],
    read: float,
    usual: Usual | None,
    noise: float | None,
) -> FloatArray:
    """ln probability: usual as read, truly off as read, and each mistake.

    Level and noise shrink and grow together with the unit; a channel that truly is off keeps its noise, or
    has lost its signal and with it both.
    """
    zero, factor = look.inner(channel, 0.0), look.factor(channel)

    def level(value: float) -> float:
        return usual.log_density(value) if usual is not None else 0.0

    def scatter(shift: float) -> float:
        return -0.5 * ((noise + shift) / _NOISE_FACTOR) ** 2 if noise is not None else 0.0

    value = (read - zero) / factor
    off = math.log(_TRULY_OFF) + _anywhere(channel, value, usual)
    out = [
        math.log(1.0 - _TRULY_OFF) + level(value) + scatter(0.0),
        off + max(scatter(0.0), -0.5 * abs(noise) - 1.0 if noise is not None else 0.0),
    ]
    for m in mistakes:
        inner = float(m.alternative.values[channel.id][0])
        slope = float(m.alternative.log_slope[channel.id][0])
        before = math.log(_MISTAKEN * m.alternative.weight)
        low, high = look.plausible(channel)
        can = low <= inner <= high
        density = level((inner - zero) / factor) + (slope if usual is not None else 0.0)
        out.append(before + density + scatter(slope) if can else -math.inf)
    return np.array(out)


def _anywhere(channel: Channel, value: float, usual: Usual | None) -> float:
    """ln density of a reading that may stand anywhere in the plausible window."""
    if usual is None:
        return 0.0
    low, high = channel.plausible
    outside = 0.0 if low <= value <= high else _IMPOSSIBLE
    if usual.log:
        return outside - math.log(math.log(high / max(low, 0.01 * high))) - math.log(max(value, 1e-9))
    return outside - math.log(high - low)


def _noise_ratio(look: Look, channel: Channel) -> float | None:
    """ln of the noise seen at running levels over the usual one; None where it cannot be seen."""
    x = look.values(channel.id)
    seen = [seen_noise(x[level.first : level.last]) for level in look.levels if not level.resting]
    seen = [s for s in seen if s > 0.0]
    if not seen or channel.noise <= 0.0:
        return None
    return math.log(float(np.median(seen)) / look.noise(channel))


def _draft(look: Look, channel: Channel, m: Suspicion, read: float, probability: float) -> Draft:
    true = float(m.alternative.values[channel.id][0])
    mistake = m.mistake
    text = (
        f"{called(channel)} is probably written in {mistake.unit}, not in {mistake.label} as read: it reads "
        f"{shown(channel, read)}; in {mistake.unit} it would be {shown(channel, true)}, which is usual. "
        f"Probability: {percent(probability)}."
    )
    mend = (
        "Check unit and scaling in the channel's set-up, and the gauge itself: a true reading this far off "
        f"is a fault of the engine. {mistake.to_sign()}"
    )
    return Draft("wrong_unit", (channel.id,), text, mend, True, probability=probability)


def _oil_swap(look: Look, running: NDArray[np.bool_]) -> Draft | None:
    """The numbers of oil pressure and oil temperature, each in the other's column."""
    pair = [
        next((c for c in look.channels.values() if c.role == r), None)
        for r in ("oil_pressure", "oil_temperature")
    ]
    if pair[0] is None or pair[1] is None:
        return None
    a, b = pair[0], pair[1]
    usual = [usual_of(look, c) for c in (a, b)]
    numbers = [_own_number(look, c, running) for c in (a, b)]
    if usual[0] is None or usual[1] is None or not all(math.isfinite(n) for n in numbers):
        return None
    straight = usual[0].log_density(numbers[0]) + usual[1].log_density(numbers[1])
    crossed = usual[0].log_density(numbers[1]) + usual[1].log_density(numbers[0]) + math.log(_SWAPPED)
    wide = (a.plausible[1] - a.plausible[0]) * (b.plausible[1] - b.plausible[0])
    off = 2.0 * math.log(_TRULY_OFF) - math.log(wide)
    logs = np.array([straight, off, crossed])
    p = float(np.exp(crossed - logs.max()) / np.exp(logs - logs.max()).sum())
    if p < _NAMED:
        return None
    text = (
        f"The numbers of {called(a)} and {called(b)} probably stand in each other's column: {numbers[0]:.4g} "
        f"and {numbers[1]:.4g} fit the other way round. Probability: {percent(p)}."
    )
    mend = "Check the columns' names; correct the channel map and read the file again."
    return Draft("swapped", (a.id, b.id), text, mend, True, probability=p)


def _own_number(look: Look, channel: Channel, running: NDArray[np.bool_]) -> float:
    return (_middle(look, channel, running) - look.inner(channel, 0.0)) / look.factor(channel)
