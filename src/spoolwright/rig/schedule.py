"""The test schedule of a type as the operator of the bench runs it: steps in order, each with its set point
today.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast

from spoolwright.core.cycle.setting import SetBy
from spoolwright.crafts.typefile.model import Amount, Rating, ScheduleItem, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import to_inner, unit_of

Kind = Literal[
    "start", "idle", "hold", "acceleration", "deceleration", "governing", "shut_down", "coast_down"
]

SET_BY: dict[str, tuple[SetBy, str]] = {
    "gas_generator_speed": ("ng", "gas_generator_speed"),
    "measured_gas_temperature": ("mgt", "measured_gas_temperature"),
    "torque": ("torque", "power"),
    "dynamometer_torque": ("torque", "power"),
    "fuel_mass_flow": ("fuel_flow", "fuel_flow"),
}
"""Role of the channel that sets a point: what the engine is solved for, and the correction law that goes
with it.
"""

MARGIN = 15.0
"""What an operator holds longer than asked [s]."""


@dataclass(frozen=True)
class Step:
    """One step of a run.

    Parameters
    ----------
    item : schedule item
    kind : what is done
    set_by : quantity that sets the point
    target : set point [unit of the quantity]
    tolerance : how close the operator must come [unit of the quantity]
    law : correction law that turns a corrected target into today's; empty when the target stands as it is
    channel : channel by which the operator sets the point; empty for steps without one
    seconds : how long it is held [s]
    rating : rating the step belongs to, if any
    """

    item: str
    kind: Kind
    set_by: SetBy = "ng"
    target: float = 0.0
    tolerance: float = 0.0
    law: str = ""
    channel: str = ""
    seconds: float = 0.0
    rating: str | None = None


def steps(known: TypeFile, limit_set: str) -> list[Step]:
    """Steps that the type's schedule asks for under a limit set, in order; an acceleration takes its
    deceleration along.

    Raises
    ------
    InputError
        When the type file has no such limit set, or nothing to hold in it.
    """
    if limit_set not in {s.id for s in known.limit_set}:
        names = ", ".join(s.id for s in known.limit_set)
        raise InputError(f"limit set '{limit_set}' is not in the type file.", mend=f"Use one of: {names}.")
    out: list[Step] = []
    for item in known.schedule:
        if limit_set in item.sets and item.kind != "check":
            out += [_step(known, item)] * item.repeats
    if not any(s.kind == "hold" for s in out):
        raise InputError(
            f"the schedule holds no point for limit set '{limit_set}'.",
            mend="Add a [[schedule]] of kind hold.",
        )
    return _slams_in_pairs(out)


def _slams_in_pairs(steps: list[Step]) -> list[Step]:
    """Accelerations and decelerations in turns, as an engine can only run them."""
    up = [s for s in steps if s.kind == "acceleration"]
    down = [s for s in steps if s.kind == "deceleration"]
    if not up:
        return [s for s in steps if s.kind != "deceleration"]
    pairs = [s for i, a in enumerate(up) for s in (a, down[min(i, len(down) - 1)] if down else a)]
    first = steps.index(up[0])
    rest = [s for s in steps[first:] if s.kind not in ("acceleration", "deceleration")]
    return [s for s in steps[:first] if s.kind != "deceleration"] + pairs + rest


def _step(known: TypeFile, item: ScheduleItem) -> Step:
    kind = cast(Kind, item.kind)
    seconds = _held_for(known, item)
    if kind in ("start", "shut_down", "coast_down", "governing"):
        return Step(item.id, kind, rating=item.rating)
    if kind == "idle":
        return Step(item.id, kind, "ng", idle_speed(known), seconds=seconds, rating=item.rating)
    if item.set_by is not None and item.target is not None:
        return _set_by_channel(known, item, kind, seconds)
    rating = next((r for r in known.rating if r.id == item.rating), None)
    if rating is None:
        raise InputError(
            f"schedule item '{item.id}' has neither a set point nor a rating.", mend="Give set_by and target."
        )
    channel = next((c.id for c in known.channel if c.role == "gas_generator_speed"), "")
    speed = _inner(rating.gas_generator_speed)
    return Step(item.id, kind, "ng", speed, 0.003 * speed, "gas_generator_speed", channel, seconds, rating.id)


def _held_for(known: TypeFile, item: ScheduleItem) -> float:
    """What the operator holds: a little longer than asked, yet within the rating's time limit [s]."""
    if not item.at_least_s:
        return 0.0
    limit = next((r.time_limit_s for r in known.rating if r.id == item.rating), None)
    return min(item.at_least_s + MARGIN, limit - 1.0) if limit else item.at_least_s + MARGIN


def _set_by_channel(known: TypeFile, item: ScheduleItem, kind: Kind, seconds: float) -> Step:
    channel = next(c for c in known.channel if c.id == item.set_by)
    if channel.role not in SET_BY:
        raise InputError(
            f"schedule item '{item.id}' is set by '{channel.id}', which does not set an engine.",
            mend=f"Set it by a channel with one of the roles {', '.join(SET_BY)}.",
        )
    set_by, law = SET_BY[channel.role]
    unit = unit_of(item.unit or channel.unit, channel.dimension)
    return Step(
        item=item.id,
        kind=kind,
        set_by=set_by,
        target=(item.target or 0.0) * unit.factor + unit.offset,
        tolerance=(item.tolerance or 0.0) * unit.factor,
        law=law if item.corrected else "",
        channel=channel.id,
        seconds=seconds,
        rating=item.rating,
    )


def idle_speed(known: TypeFile) -> float:
    """Gas generator speed at ground idle [rpm]: of the data sheet, else of a rating named idle, else 68 %
    of rated.
    """
    if known.data_sheet.idle_gas_generator_speed is not None:
        return _inner(known.data_sheet.idle_gas_generator_speed)
    idle = next((r for r in known.rating if "idle" in r.id), None)
    if idle is not None:
        return _inner(idle.gas_generator_speed)
    return 0.68 * _inner(main_rating(known).gas_generator_speed)


def main_rating(known: TypeFile) -> Rating:
    """The rating to which the type's model is scaled."""
    return next(r for r in known.rating if r.id == known.data_sheet.rating)


def target_today(known: TypeFile, step: Step, temperature: float, pressure: float) -> float:
    """Set point of a step at today's inlet temperature [K] and pressure [Pa], by the type's own correction.
    Set point of a step at today's inlet temperature [K] and pressure [Pa], by the type's own correction.
    """
    correction = known.correction
    law = next((x for x in correction.laws if x.quantity == step.law), None) if correction else None
    if correction is None or law is None:
        return step.target
    theta = temperature / _inner(correction.reference_temperature)
    delta = pressure / _inner(correction.reference_pressure)
    return float(step.target * theta**law.theta_exponent * delta**law.delta_exponent)


def _inner(amount: Amount) -> float:
    return to_inner(amount.value, amount.unit)
