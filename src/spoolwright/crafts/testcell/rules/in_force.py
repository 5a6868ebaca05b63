"""What a limit demands of one reading: the value in force there, and times beyond a value."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.reading import ScalarReading
from spoolwright.crafts.typefile.limit import Limit, TimeAt
from spoolwright.crafts.typefile.limit_value import limit_at
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


def demands(limit: Limit, reading: ScalarReading, shown: Shown) -> list[Demand] | Untold | None:
    """All comparisons a limit asks for at a reading; None where the limit does not hold there."""
    state = limit_at(limit, reading.conditions, reading.excused_s)
    if state.state == "does_not_apply":
        return None
    if state.state == "cannot_tell":
        return Untold(state.why, "Record the channels the limit depends on and repeat the reading.")
    out: list[Demand] = []
    if state.value is not None:
        note = state.exception.note if state.exception else ""
        out.append(Demand(reading.value, reading.uncertainty, state.value, limit.bound, shown, note))
    for at in limit.time_at:
        timed = _time_beyond(limit, reading, at)
        if isinstance(timed, Untold):
            return timed
        out.append(timed)
    return out


def _time_beyond(limit: Limit, reading: ScalarReading, at: TimeAt) -> Demand | Untold:
    level = to_inner(at.value, limit.unit)
    what = f"time beyond {at.value:g} {limit.unit}"
    if reading.value <= level if limit.bound == "max" else reading.value >= level:
        return Demand(0.0, 0.0, at.seconds, "max", _SECONDS, what)
    for e in reading.excursions:
        if math.isclose(e.above, level, rel_tol=1e-9, abs_tol=1e-9):
            return Demand(e.total_s, e.uncertainty_s, at.seconds, "max", _SECONDS, what)
    return Untold(f"{what} is not known", "Record the channel throughout and repeat.")
