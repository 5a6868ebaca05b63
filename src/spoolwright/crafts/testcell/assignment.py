"""Which item of the schedule a rest shows: by target and tolerance, in the order of the schedule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.points import BLUR, Piece, long_enough_to_count
from spoolwright.crafts.testcell.run_data import RunData
from spoolwright.crafts.typefile.model import Channel, Correction, ScheduleItem
from spoolwright.units import to_inner, unit_of

_LAW = {
    "gas_generator_speed": "gas_generator_speed",
    "measured_gas_temperature": "measured_gas_temperature",
    "fuel_mass_flow": "fuel_flow",
    "torque": "power",
    "dynamometer_torque": "power",
}
"""Role of the channel that sets a point: quantity whose correction turns its target into today's."""
_RATED_WITHIN = 0.003
"""Tolerance of an item that gives a rating and no target, as a share of the rating's speed."""


@dataclass(frozen=True)
class Rest:
    """A piece of a hold or idle with its point."""

    piece: Piece
    point: PointData
    idle: bool


@dataclass(frozen=True)
class _Target:
    """What an item asks a channel to read at the reference condition or as it is [inner]."""

    channel: str
    value: float
    tolerance: float
    law: str


def assigned(data: RunData, rests: Sequence[Rest]) -> list[ScheduleItem | None]:
    """The schedule item of each rest of a run, in the order of the rests.

    Rests are matched in the order of the schedule first: as many as can be, then as close as can be. A rest
    left over that fits an item's target out of that order (a repeat, a point on the way) is given to the
    closest one, if it is long enough to count. Idle is matched in order alone.
    """
    items = [
        i
        for i in data.type_file.schedule
        if i.kind in ("hold", "idle") and data.sheet.limit_set in i.sets
        for _ in range(i.repeats)
    ]
    worth = np.array([[_worth(data, r, i) for i in items] for r in rests]).reshape(len(rests), len(items))
    out: list[ScheduleItem | None] = [None] * len(rests)
    for r, i in _in_order(worth):
        out[r] = items[i]
    for r, rest in enumerate(rests):
        spare = out[r] is None and not rest.idle and long_enough_to_count(data, rest.piece)
        if spare and items and worth[r].max() > 0.0:
            out[r] = items[int(np.argmax(worth[r]))]
    return out


def _in_order(worth: np.ndarray) -> list[tuple[int, int]]:
    """Pairs of rows and columns, both rising, with the greatest worth in all (longest common subsequence)."""
    rows, columns = worth.shape
    best = np.zeros((rows + 1, columns + 1))
    for r in range(rows - 1, -1, -1):
        for c in range(columns - 1, -1, -1):
            best[r, c] = max(best[r + 1, c], best[r, c + 1])
            if worth[r, c] > 0.0:
                best[r, c] = max(best[r, c], worth[r, c] + best[r + 1, c + 1])
    out, r, c = [], 0, 0
    while r < rows and c < columns:
        if worth[r, c] > 0.0 and best[r, c] == worth[r, c] + best[r + 1, c + 1]:
            out.append((r, c))
            r, c = r + 1, c + 1
        elif best[r, c] == best[r + 1, c]:
            r += 1
        else:
            c += 1
    return out


def _worth(data: RunData, rest: Rest, item: ScheduleItem) -> float:
    """What a match is worth: 0 where there is none, 2 on target; a long enough idle more than a short one."""
    if rest.idle != (item.kind == "idle"):
        return 0.0
    if rest.idle:
        return 1.0 if held_long_enough(rest.piece, item) else 0.1
    target = _target(data, item)
    reading = None if target is None else _reading(data, rest.point, target)
    if target is None or reading is None:
        return 0.0
    off = abs(reading - target.value) / target.tolerance
    return 2.0 - off * off if off <= 1.0 else 0.0


def held_long_enough(piece: Piece, item: ScheduleItem) -> bool:
    """Whether a rest lasts as long as its item asks, within what its ends are known to."""
    return piece.length >= item.at_least_s - BLUR


def _target(data: RunData, item: ScheduleItem) -> _Target | None:
    channels = {c.id: c for c in data.type_file.channel}
    if item.set_by in channels and item.target is not None and item.tolerance:
        channel = channels[item.set_by]
        unit = unit_of(item.unit or channel.unit, channel.dimension)
        law = _LAW.get(channel.role, "") if item.corrected else ""
        if item.corrected and not law:
            return None
        return _Target(channel.id, item.target * unit.factor + unit.offset, item.tolerance * unit.factor, law)
    rating = next((r for r in data.type_file.rating if r.id == item.rating), None)
    speed: Channel | None = next((c for c in channels.values() if c.role == "gas_generator_speed"), None)
    if rating is None or speed is None or item.target is not None:
        return None
    value = to_inner(rating.gas_generator_speed.value, rating.gas_generator_speed.unit)
    return _Target(speed.id, value, _RATED_WITHIN * value, "gas_generator_speed")


def _reading(data: RunData, point: PointData, target: _Target) -> float | None:
    """What the setting channel read, at the reference condition where the target is."""
    mean = point.channels.get(target.channel)
    if mean is None:
        return None
    if not target.law:
        return mean.mean
    correction = data.type_file.correction
    factor = _setting_factor(data, point, correction, target.law) if correction else None
    return None if factor is None else mean.mean / factor


def _setting_factor(data: RunData, point: PointData, correction: Correction, quantity: str) -> float | None:
    """Today's value over that at the reference, by temperature and pressure, as an operator's chart has."""
    law = next((x for x in correction.laws if x.quantity == quantity), None)
    temperature = _first(data, point, ("inlet_temperature", "ambient_temperature"))
    pressure = _first(data, point, ("inlet_pressure", "ambient_pressure"))
    if (
        law is None
        or (temperature is None and law.theta_exponent)
        or (pressure is None and law.delta_exponent)
    ):
        return None
    reference = correction.reference_temperature, correction.reference_pressure
    theta = (temperature or 1.0) / to_inner(reference[0].value, reference[0].unit)
    delta = (pressure or 1.0) / to_inner(reference[1].value, reference[1].unit)
    if not (theta > 0.0 and delta > 0.0):
        return None
    factor = theta**law.theta_exponent if law.theta_exponent else 1.0
    return float(factor * (delta**law.delta_exponent if law.delta_exponent else 1.0))


def _first(data: RunData, point: PointData, roles: tuple[str, ...]) -> float | None:
    for role in roles:
        for c in data.type_file.channel:
            if c.role == role and c.id in point.channels:
                return point.channels[c.id].mean
    return None
