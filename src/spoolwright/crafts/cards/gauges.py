"""Gauges and tools: until which day the calibration of each holds."""

from __future__ import annotations

from datetime import date

from spoolwright.crafts.cards.model import GaugeKnown
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body, Entry, New
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError


def gauge_of(desk: Desk, number: str) -> GaugeKnown:
    """A gauge by its number.

    Raises
    ------
    InputError
        No gauge has it.
    """
    found = desk.records.current(GaugeKnown, under=f"gauge/{number.strip()}")
    if not number.strip() or len(found) != 1:
        raise InputError(
            f"gauge or tool '{number}' is not known here.",
            mend="Give the number engraved on it; the inspector or lead enters new ones under Gauges.",
        )
    return found[0].body


def record_gauge(desk: Desk, gauge: GaugeKnown, after: int, reason: str = "") -> Entry[Body]:
    """Enter a gauge, or its next calibration."""
    desk.entitled(Role.LEAD, Role.INSPECTOR, Role.RECORDS)
    why = reason or ("calibrated again" if after else "")
    return desk.record(New(f"gauge/{gauge.id}", gauge, after=after, reason=why))[0]


def gauges(desk: Desk) -> list[Entry[GaugeKnown]]:
    """Every gauge, those due first at the top."""
    return sorted(desk.records.current(GaugeKnown), key=lambda e: (e.body.due_on, e.body.id))


def state_words(gauge: GaugeKnown, today: date) -> tuple[str, str]:
    """The state of a gauge as a word and the shape drawn beside it."""
    if gauge.withdrawn:
        return "withdrawn", "cross"
    if not gauge.valid_on(today):
        return "out of date", "bar"
    days = (gauge.due_on - today).days
    return (f"in date, {days} days left", "triangle") if days <= 14 else ("in date", "dot")
