"""Which item of the schedule a rest shows: by target and tolerance, in the order of the schedule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.crafts.testcell.run.points import BLUR, Piece, long_enough_to_count, window_of
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.typefile.model import Channel, Correction, Role, ScheduleItem
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
    """A piece of a hold or idle, and the schedule item it shows."""

    piece: Piece
    idle: bool
    item: ScheduleItem | None = None


@dataclass(frozen=True)
class _Target:
    """What an item asks a channel to read at the reference condition or as it is [inner]."""

    channel: str
    value: float
    tolerance: float
    law: str


def assigned(data: RunData, rests: Sequence[Rest]) -> list[Rest]:
    """The rests of a run, in order of time, each with its schedule item.

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
    return [replace(rest, item=item) for rest, item in zip(rests, out, strict=True)]


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
    reading = None if target is None else _reading(data, rest.piece, target)
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


def _reading(data: RunData, piece: Piece, target: _Target) -> float | None:
    """What the setting channel read, at the reference condition where the target is."""
    mean = _level(data, piece, target.channel)
    if mean is None or not target.law:
        return mean
    correction = data.type_file.correction
    factor = _setting_factor(data, piece, correction, target.law) if correction else None
    return None if factor is None else mean / factor


def _setting_factor(data: RunData, piece: Piece, correction: Correction, quantity: str) -> float | None:
    """Today's value over that at the reference, by temperature and pressure, as an operator's chart has."""
    law = next((x for x in correction.laws if x.quantity == quantity), None)
    temperature = _first(data, piece, "inlet_temperature", "ambient_temperature")
    pressure = _first(data, piece, "inlet_pressure", "ambient_pressure")
    if law is None:
        return None
    factor = 1.0
    for now, reference, exponent in (
        (temperature, correction.reference_temperature, law.theta_exponent),
        (pressure, correction.reference_pressure, law.delta_exponent),
    ):
        if exponent:
            if now is None or not now > 0.0:
                return None
            factor *= (now / to_inner(reference.value, reference.unit)) ** exponent
    return factor


def _first(data: RunData, piece: Piece, *roles: Role) -> float | None:
    """Level of the first of these roles that was recorded."""
    for role in roles:
        channel = data.of_role(role)
        level = None if channel is None else _level(data, piece, channel)
        if level is not None:
            return level
    return None


def _level(data: RunData, piece: Piece, channel: str) -> float | None:
    """Mean of a channel over the averaging window."""
    level = data.level(channel, *window_of(data, piece)) if data.knows(channel) else math.nan
    return level if math.isfinite(level) else None
