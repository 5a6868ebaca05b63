"""Holds as points: averaging window, steadiness, means with their uncertainty, block by block."""

from __future__ import annotations

import math
from collections.abc import Container
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.averaging import HoldMean, hold_mean
from spoolwright.core.reduction.point import ChannelMean, Criterion, PointData
from spoolwright.core.reduction.scatter import scatter_correlation
from spoolwright.core.reduction.segments import Stretch
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.even_rows import even_rows
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.typefile.model import ScheduleItem, SteadyRule
from spoolwright.units import difference_to_inner

FloatArray = NDArray[np.float64]

GUARD = 3.0
"""The averaging window ends so long before the rest does: beyond what the rest's end is known to [s]."""
BLUR = 3.0
"""Both ends of a rest together are found within this [s]."""
_NOTED = 5.0
"""Moments of adjustment are noted by hand: nothing so near to one is used [s]."""
_LEAST = 10.0
"""A shorter piece of a hold is no hold [s]."""
_USUAL_WINDOW = 60.0
"""Averaging window where the type file has no rule; such a point never counts as steady [s]."""
_FEW = 16
"""With fewer samples, a mean gets no credit for averaging."""


@dataclass(frozen=True)
class Piece:
    """A hold or idle, or the part of one on either side of an adjustment."""

    stretch: Stretch
    from_s: float
    to_s: float

    @property
    def length(self) -> float:
        """How long it was held [s]."""
        return self.to_s - self.from_s


def pieces_of(course: Course, kind: str) -> list[Piece]:
    """Rests of a kind, cut at every adjustment: what was held across one is never mixed."""
    out = []
    for stretch in course.of_kind(kind):
        begin = stretch.from_s
        for at in course.data.adjusted_at:
            if begin < at < stretch.to_s:
                out.append(Piece(stretch, begin, at - _NOTED))
                begin = at + _NOTED
        out.append(Piece(stretch, begin, stretch.to_s))
    return [p for p in out if p.length >= _LEAST]


def window_of(data: RunData, piece: Piece) -> tuple[float, float]:
    """The averaging window of a piece, by one fixed rule: its last, whatever it shows."""
    rule = data.type_file.steady
    to_s = piece.to_s - min(GUARD, 0.5 * piece.length)
    return max(to_s - (rule.window_s if rule else _USUAL_WINDOW), piece.from_s), to_s


def point_of(
    data: RunData,
    piece: Piece,
    name: str,
    item: ScheduleItem | None = None,
    only: Container[str] | None = None,
) -> PointData:
    """A piece of a hold as a point; all its channels, or only some."""
    rule = data.type_file.steady
    from_s, to_s = window_of(data, piece)
    channels, values = _recorded(data, from_s, to_s, only)
    means = hold_mean(values, data.step) if channels and len(values) else None
    found = _channel_means(data, channels, values, means, from_s, to_s) if means is not None else {}
    kept = [i for i, c in enumerate(channels) if c in found]
    return PointData(
        id=name,
        run=data.run,
        from_s=from_s,
        to_s=to_s,
        block=data.block_at(to_s),
        channels=found,
        schedule_item=item.id if item else None,
        rating=item.rating if item else None,
        criteria=_criteria(rule, found) if rule else (),
        random_correlation=scatter_correlation(values[:, kept]) if kept else None,
        why_not=_why_not(data, piece, found),
    )


def _recorded(
    data: RunData, from_s: float, to_s: float, only: Container[str] | None
) -> tuple[list[str], FloatArray]:
    known = [c.id for c in data.type_file.channel if data.knows(c.id) and c.dimension != "state"]
    channels = [c for c in known if only is None or c in only]
    return channels, even_rows(data, channels, from_s, to_s)


def _channel_means(
    data: RunData, channels: list[str], values: FloatArray, means: HoldMean, from_s: float, to_s: float
) -> dict[str, ChannelMean]:
    out = {}
    recorded = _means_as_recorded(data, channels, from_s, to_s)
    for i, name in enumerate(channels):
        if means.samples[i] < 2:
            continue
        random, effective, freedom = _scatter(data, name, values[:, i], means, i)
        mean = float(means.mean[i])
        slope = float(means.drift[i])
        out[name] = ChannelMean(
            channel=name,
            mean=mean,
            random=random,
            effective_samples=effective,
            random_degrees_of_freedom=freedom,
            drift=slope * (to_s - from_s) if math.isfinite(slope) else 0.0,
            systematic=data.systematic(name, mean),
            as_recorded=recorded.get(name),
            findings=data.doubts([name], from_s, to_s),
        )
    return out


def _scatter(
    data: RunData, name: str, values: FloatArray, means: HoldMean, i: int
) -> tuple[float, float, float]:
    """Random uncertainty of a mean, what it is worth in samples, and its degrees of freedom."""
    samples = float(means.samples[i])
    if samples >= _FEW and math.isfinite(means.standard_uncertainty[i]):
        return (
            float(means.standard_uncertainty[i]),
            float(means.effective_samples[i]),
            float(means.degrees_of_freedom[i]),
        )
    return max(float(np.nanstd(values, ddof=1)), data.noise(name)), 1.0, samples - 1.0


def _means_as_recorded(data: RunData, channels: list[str], from_s: float, to_s: float) -> dict[str, float]:
    """Means of the values as recorded, of the channels that a signed correction changed."""
    changed = [c for c in channels if c in data.corrected]
    if not changed:
        return {}
    values = even_rows(data, changed, from_s, to_s, as_recorded=True)
    return {c: float(np.nanmean(x)) for c, x in zip(changed, values.T, strict=True) if np.isfinite(x).any()}


def _criteria(rule: SteadyRule, means: dict[str, ChannelMean]) -> tuple[Criterion, ...]:
    out = []
    for c in rule.criteria:
        if c.channel in means:
            allowed = difference_to_inner(c.max_drift, c.unit)
            drift = means[c.channel].drift
            out.append(Criterion(c.channel, drift, allowed, abs(drift) <= allowed))
    return tuple(out)


def _why_not(data: RunData, piece: Piece, means: dict[str, ChannelMean]) -> tuple[str, ...]:
    rule = data.type_file.steady
    if rule is None:
        return ("the type file has no rule for when a hold is steady",)
    lacking = [c.channel for c in rule.criteria if c.channel not in means]
    out = [f"'{c}', which must be steady, was not recorded" for c in lacking]
    settle, window = f"{rule.settle_s:g} s to settle", f"{rule.window_s:g} s to average"
    if not long_enough_to_count(data, piece):
        out.append(f"held for {piece.length:.0f} s; {settle} and {window} are asked for")
    return tuple(out)


def long_enough_to_count(data: RunData, piece: Piece) -> bool:
    """Whether a hold lasts long enough to settle and to be averaged."""
    rule = data.type_file.steady
    return rule is None or piece.length >= rule.settle_s + rule.window_s - BLUR
