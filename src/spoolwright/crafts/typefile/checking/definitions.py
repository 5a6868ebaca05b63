"""Definitions of timed readings can be applied."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.checking.context import Context, inner
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.definition import CoastDownDefinition, SlamDefinition, StartDefinition
from spoolwright.crafts.typefile.model import DataSheet


def start_speeds(ctx: Context, path: Path, d: StartDefinition) -> Iterator[Mistake]:
    """Idle speed is the data sheet's, and the window around it is smaller than it."""
    idle, within, rise = _inner(d.idle_speed), _inner(d.idle_within), _inner(d.light_off_rise)
    if idle is not None and within is not None and not 0 < within < 0.2 * idle:
        what = f"within {within:g} rpm of an idle speed of {idle:g} rpm."
        yield Mistake((*path, "idle_within"), what, "Give a small speed difference above zero.")
    if rise is not None and rise <= 0:
        yield Mistake((*path, "light_off_rise"), "the rise is not above zero.", "Give a rise, unit 'K diff'.")
    for _, sheet in ctx.draft.of(DataSheet):
        stated = _inner(sheet.idle_gas_generator_speed)
        if idle is not None and stated is not None and abs(idle / stated - 1.0) > 0.02:
            what = f"idle speed {idle:g} rpm; the data sheet has {stated:g} rpm."
            yield Mistake((*path, "idle_speed"), what, "Check both figures.")


def slam_change(ctx: Context, path: Path, d: SlamDefinition) -> Iterator[Mistake]:
    """What a slam is measured on is recorded, and the least change is above zero."""
    if d.measured_on is not None and d.measured_on not in ctx.roles:
        what = f"measured on {d.measured_on.replace('_', ' ')}, but no channel has that role."
        yield Mistake((*path, "measured_on"), what, "Measure on a role that is recorded.")
    if d.clock_from == "lever_moved" and "power_lever" not in ctx.roles:
        what = "timed from the lever, but no channel has the role 'power_lever'."
        yield Mistake((*path, "clock_from"), what, "Add the channel, or time from 'reading_left'.")
    least = _inner(d.least_change)
    if least is not None and least <= 0:
        yield Mistake(
            (*path, "least_change"), "the least change is not above zero.", "Give a positive change."
        )


def coast_down_speeds(ctx: Context, path: Path, d: CoastDownDefinition) -> Iterator[Mistake]:
    """A coast-down goes from the higher to the lower speed."""
    high, low = _inner(d.from_speed), _inner(d.to_speed)
    if high is not None and low is not None and not 0 <= low < high:
        what = f"from {high:g} rpm to {low:g} rpm."
        yield Mistake((*path, "to_speed"), what, "A coast-down runs from the higher speed to the lower one.")


def _inner(a: Amount | None) -> float | None:
    return inner(a.value, a.unit) if a is not None else None
