"""Data too thin to show that a limit is met: a reading beyond the limit counts, one within it does not.

One row over a red line is enough to say that it was passed. That it was never passed takes a record of the
whole run, or of a fair time of it, with rows close together, from instruments in date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from spoolwright.core.reduction.segments import Stretch
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.wording import joined
from spoolwright.crafts.typefile.model import TypeFile

LONGEST_STEP = 1.0
"""Rows farther apart do not show what moves: engines accelerate, overshoot and light within seconds [s]."""
_USUAL_SPAN = 60.0
"""Time under power asked for where the type file names no averaging window [s]."""
_ROUNDING = 1.001
"""Time stamps are rounded: an interval this much over the longest is not over it [-]."""


@dataclass(frozen=True)
class Thin:
    """Why data cannot show that a limit is met, and what would mend it."""

    why: str
    mend: str


def out_of_date(type_file: TypeFile, sheet: RunSheet, channels: Iterable[str]) -> Thin | None:
    """Instruments of these channels not in calibration on the day, where the document asks for that."""
    gate = next((g for g in type_file.gate if g.check == "calibration"), None)
    cell = next((c for c in type_file.cell if c.id == sheet.cell.cell), None)
    if gate is None or cell is None:
        return None
    day, names = sheet.performed_on, set(channels)
    late = [
        f"'{i.channel}' (serial {i.serial}, due {i.due_on.isoformat()})"
        for i in cell.instruments
        if i.channel in names and not i.calibrated_on <= day <= i.due_on
    ]
    if not late:
        return None
    return Thin(f"not in calibration on {day.isoformat()}: {joined(late)}", gate.mend)


def sparse(data: RunData) -> Thin | None:
    """Rows too far apart for readings of anything that moves."""
    if data.time.size < 2 or data.step <= _ROUNDING * LONGEST_STEP:
        return None
    return Thin(
        f"rows are {data.step:.3g} s apart; at most {LONGEST_STEP:g} s shows what happens between them",
        "Record at least one row a second and repeat.",
    )


def short(course: Course) -> Thin | None:
    """Neither the whole run from rest to rest on record, nor a fair time of it under power."""
    data, stretches = course.data, course.stretches
    rule = data.type_file.steady
    needed = rule.window_s if rule else _USUAL_SPAN
    powered = sum(s.length for s in course.powered)
    ran = any(s.kind != "off" for s in stretches)
    whole = ran and stretches[0].kind == "off" and stretches[-1].kind == "off"
    if whole or powered >= needed:
        return None
    rows = round(needed / LONGEST_STEP) + 1
    seen = f"{powered:.1f} s under power" if powered else "no running under power"
    count = f"{data.time.size} row{'' if data.time.size == 1 else 's'}"
    return Thin(
        f"the recording holds {seen} ({count}); the least that tells is {needed:g} s under power in {rows} "
        "rows, or the run from standstill to standstill",
        "Record the run from before the start to standstill, at least one row a second.",
    )


def cut_short(course: Course) -> Thin | None:
    """No motion from rest to rest on record: what transients show may lie outside the recording."""
    moving = course.of_kind("acceleration", "deceleration", "transient")
    if any(course.before(s) is not None and course.after(s) is not None for s in moving):
        return None
    return Thin(
        "no acceleration, deceleration or load step is on record from its beginning to its end",
        "Record the run from before the start to standstill, at least one row a second.",
    )


def unbegun(start: Stretch) -> Thin | None:
    """A start whose beginning is not on record: its hottest moment may lie before the recording."""
    if start.begun:
        return None
    return Thin("the start had begun before the recording did", "Record the start from standstill.")
