"""What a limit demands of one reading: the value in force there, its exceptions, and times beyond a value."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.reading import ScalarReading
from spoolwright.crafts.typefile.base import Condition
from spoolwright.crafts.typefile.curve import curve_value
from spoolwright.crafts.typefile.limit import Limit, LimitException
from spoolwright.units import to_inner

_SECONDS = Shown("time", "s")


@dataclass(frozen=True)
class Demand:
    """One comparison that a limit asks for: `value` against `limit`, in the inner unit of `shown`."""

    value: float
    uncertainty: float
    limit: float
    bound: str
    shown: Shown
    what: str = ""


@dataclass(frozen=True)
class Untold:
    """Why a limit cannot be put to a reading, and what would mend it."""

    why: str
    mend: str


def holds(condition: Condition, conditions: dict[str, float]) -> bool | None:
    """Whether a window holds at a reading; None when the channel is not known there."""
    x = conditions.get(condition.channel, math.nan)
    if not math.isfinite(x):
        return None
    low = -math.inf if condition.min is None else to_inner(condition.min, condition.unit)
    high = math.inf if condition.max is None else to_inner(condition.max, condition.unit)
    return low <= x <= high


def all_hold(windows: tuple[Condition, ...], conditions: dict[str, float]) -> bool | None:
    """Whether all windows hold; None when that is not known."""
    states = [holds(w, conditions) for w in windows]
    if False in states:
        return False
    return None if None in states else True


def demands(limit: Limit, reading: ScalarReading, shown: Shown) -> list[Demand] | Untold:
    """All comparisons a limit asks for at a reading."""
    base = _base(limit, reading)
    if isinstance(base, Untold):
        return base
    out: list[Demand] = []
    if base is not None:
        excused = _excused(limit, reading, base, shown)
        if isinstance(excused, Untold):
            return excused
        out += excused
    for at in limit.time_at:
        timed = _time_beyond(limit, reading, to_inner(at.value, limit.unit), at.seconds, longest=False)
        if isinstance(timed, Untold):
            return timed
        out.append(timed)
    return out


def _base(limit: Limit, reading: ScalarReading) -> float | Untold | None:
    """The limit's plain value; None for a limit of times alone."""
    if limit.curve is not None:
        x = reading.conditions.get(limit.curve.of, math.nan)
        if not math.isfinite(x):
            return Untold(f"'{limit.curve.of}' is not known at this reading", f"Record '{limit.curve.of}'.")
        value = curve_value(limit.curve, limit.unit, x)
        if value is None:
            return Untold(
                f"the approved document states no limit for this value of '{limit.curve.of}'",
                "Take the reading within the range of the limit, or refer to engineering.",
            )
        return value
    return None if limit.value is None else to_inner(limit.value, limit.unit)


def _excused(limit: Limit, reading: ScalarReading, base: float, shown: Shown) -> list[Demand] | Untold:
    plain = Demand(reading.value, reading.uncertainty, base, limit.bound, shown)
    if _within(reading.value, base, limit.bound):
        return [plain]
    for exception in limit.exceptions:
        state = all_hold(exception.when, reading.conditions)
        if state is None:
            return Untold(
                f"whether the exception '{exception.note}' holds is not known",
                "Record the channels it depends on.",
            )
        if state:
            return _excepted(limit, reading, base, exception, shown)
    return [plain]


def _excepted(
    limit: Limit, reading: ScalarReading, base: float, exception: LimitException, shown: Shown
) -> list[Demand] | Untold:
    value = to_inner(exception.value, limit.unit)
    out = [Demand(reading.value, reading.uncertainty, value, limit.bound, shown, exception.note)]
    if exception.for_seconds is not None:
        timed = _time_beyond(limit, reading, base, exception.for_seconds, longest=True)
        if isinstance(timed, Untold):
            return timed
        out.append(timed)
    return out


def _time_beyond(
    limit: Limit, reading: ScalarReading, level: float, seconds: float, *, longest: bool
) -> Demand | Untold:
    what = "longest time beyond the value in one go" if longest else "time beyond the value in all"
    if _within(reading.value, level, limit.bound):
        return Demand(0.0, 0.0, seconds, "max", _SECONDS, what)
    for e in reading.excursions:
        if math.isclose(e.above, level, rel_tol=1e-9, abs_tol=1e-9):
            time = e.longest_s if longest else e.total_s
            return Demand(time, e.uncertainty_s, seconds, "max", _SECONDS, what)
    return Untold(
        "how long the reading stood beyond the value is not known", "Record the channel throughout."
    )


def _within(value: float, limit: float, bound: str) -> bool:
    return value <= limit if bound == "max" else value >= limit
