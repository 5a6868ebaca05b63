"""Schedule, steadiness, gates, correction and cells can be carried out as written."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.typefile.checking.context import Context, inner
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.model import (
    Cell,
    Correction,
    CorrectionLaw,
    Factor,
    Gate,
    Limit,
    ScheduleItem,
)

_SET_FIELDS = ("set_by", "target", "tolerance", "unit")
_LAW_OF_ROLE = {
    "gas_generator_speed": "gas_generator_speed",
    "measured_gas_temperature": "measured_gas_temperature",
    "torque": "power",
    "dynamometer_torque": "power",
    "fuel_mass_flow": "fuel_flow",
    "fuel_volume_flow": "fuel_flow",
}


def hold_set_point(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """A hold tells by which channel, where, and how near it is set."""
    given = [f for f in _SET_FIELDS if getattr(item, f) not in (None, "")]
    lacking = [f for f in _SET_FIELDS if f not in given]
    if item.kind == "hold" and lacking:
        yield Mistake(
            path, f"hold '{item.id}' does not tell {', '.join(lacking)}.", "Give how the point is set."
        )
    if item.kind != "hold" and given and lacking:
        mend = "Give all four of set_by, target, tolerance and unit, or none."
        yield Mistake(path, f"'{item.id}' gives {', '.join(given)} without {', '.join(lacking)}.", mend)
    c = ctx.channels.get(item.set_by or "")
    target = inner(item.target, item.unit)
    if c is not None and target is not None and c.plausible is not None:
        low, high = inner(c.plausible[0], c.unit), inner(c.plausible[1], c.unit)
        if low is not None and high is not None and not low <= target <= high:
            what = f"target {item.target:g} {item.unit} is outside what channel '{c.id}' can plausibly read."
            yield Mistake((*path, "target"), what, "Check figure and unit.")


def corrected_target(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """A corrected target needs the correction of what sets it."""
    c = ctx.channels.get(item.set_by or "")
    if not item.corrected or c is None:
        return
    laws = {law.quantity for _, law in ctx.draft.of(CorrectionLaw)}
    if _LAW_OF_ROLE.get(c.role) not in laws:
        what = f"the target is corrected, but there is no correction law for '{c.id}'."
        yield Mistake(
            (*path, "corrected"), what, "Add the law under [correction], or set by another channel."
        )


def hold_can_count(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """A hold is long enough to count as a point."""
    if item.kind != "hold":
        return
    if ctx.steady is None:
        what = f"hold '{item.id}' can never count: nothing tells when a hold is steady."
        yield Mistake(path, what, "Add a [steady] table: settle_s, window_s, criteria, source.")
        return
    need = ctx.steady.settle_s + ctx.steady.window_s
    if item.at_least_s < need:
        what = f"{item.at_least_s:g} s are too short to count: settling and averaging take {need:g} s."
        yield Mistake((*path, "at_least_s"), what, "Hold longer, or correct [steady].")


def hold_within_rating(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """A hold is no longer than its rating allows."""
    rating = ctx.ratings.get(item.rating or "")
    allowed = rating.time_limit_s if rating is not None else None
    if item.kind == "hold" and rating is not None and allowed is not None and item.at_least_s > allowed:
        what = f"the hold lasts {item.at_least_s:g} s, rating '{rating.id}' allows {allowed:g} s."
        yield Mistake((*path, "at_least_s"), what, "Shorten the hold, or correct the rating's time limit.")


def rating_shown(ctx: Context) -> Iterator[Mistake]:
    """Every rating with a performance limit is held in the schedule of that limit's sets."""
    items = [i for _, i in ctx.draft.of(ScheduleItem)]
    if not any(i.kind == "hold" for i in items):
        return
    for path, limit in ctx.draft.whole(Limit):
        if limit.regime != "rating" or limit.rating not in ctx.ratings:
            continue
        holds = [i for i in items if i.kind == "hold" and i.rating == limit.rating]
        lacking = [s for s in limit.sets if not any(s in (i.sets or ()) for i in holds)]
        if lacking:
            what = f"the schedule holds no point of rating '{limit.rating}' for {', '.join(lacking)}."
            yield Mistake(
                (*path, "sets"), what, "Add a hold of this rating, or take the set out of the limit."
            )


def gate_fields(ctx: Context, path: Path, gate: Gate) -> Iterator[Mistake]:
    """A window gate has a window, a fuel gate an age; no other gate has either."""
    for field, check in (("window", "window"), ("days", "fuel_sample")):
        given = getattr(gate, field) is not None
        if gate.check == check and not given:
            yield Mistake(path, f"gate '{gate.id}' of check '{check}' gives no {field}.", f"Add {field} = ….")
        if gate.check != check and given:
            what = f"gate '{gate.id}' of check '{gate.check}' has no use for {field}."
            yield Mistake((*path, field), what, f'Remove it, or set check = "{check}".')


def one_gate_each(ctx: Context) -> Iterator[Mistake]:
    """Only window gates may stand more than once."""
    seen: set[str] = set()
    for path, gate in ctx.draft.of(Gate):
        if gate.check in seen:
            yield Mistake((*path, "check"), f"a second gate of check '{gate.check}'.", "Keep one.")
        if gate.check is not None and gate.check != "window":
            seen.add(gate.check)


def gate_can_hold(ctx: Context, path: Path, gate: Gate) -> Iterator[Mistake]:
    """A gate on cell or calibration needs cells."""
    if gate.check in ("calibration", "correlation", "configuration") and not ctx.draft.of(Cell):
        yield Mistake(path, f"gate '{gate.id}' needs test cells; there is none.", "Add a [[cell]].")


def law_exponents(ctx: Context, path: Path, law: CorrectionLaw) -> Iterator[Mistake]:
    """Exponents are of the size that similarity gives."""
    for name in ("theta_exponent", "delta_exponent"):
        x = getattr(law, name)
        if not -0.5 <= x <= 1.5:
            what = f"{x:g} is not of the size that similarity gives."
            yield Mistake((*path, name), what, "Exponents lie between -0.5 and 1.5.")


REFERENCE_RANGES = {
    "reference_temperature": (250.0, 320.0, "a standard day has 288.15 K"),
    "reference_pressure": (80e3, 108e3, "a standard day has 101.325 kPa"),
    "reference_humidity": (0.0, 0.03, "dry air has 0 g/kg"),
    "reference_heating_value": (40e6, 46e6, "turbine fuels have about 43 MJ/kg"),
}
"""What a reference condition may be, in inner units, and what is usual."""


def reference_condition(ctx: Context, path: Path, c: Correction) -> Iterator[Mistake]:
    """The reference condition is one in which engines run."""
    for name, (low, high, usual) in REFERENCE_RANGES.items():
        amount = getattr(c, name)
        value = inner(amount.value, amount.unit)
        if value is not None and not low <= value <= high:
            what = f"{amount.value:g} {amount.unit} is no reference condition of an engine."
            yield Mistake((*path, name), what, f"Check figure and unit: {usual}.")
    for name in ("reference_inlet_loss", "reference_exhaust_loss"):
        x = getattr(c, name)
        if not 0 <= x < 0.2:
            yield Mistake((*path, name), f"{x:g} is not a loss as a fraction.", "1 % is 0.01.")


def cell_factor(ctx: Context, path: Path, f: Factor) -> Iterator[Mistake]:
    """A factor multiplies the reading, so it is near one."""
    if not 0.8 <= f.factor <= 1.25:
        what = f"factor {f.factor:g} on '{f.quantity}'."
        yield Mistake((*path, "factor"), what, "It multiplies the reading: +0.2 % is 1.002.")
    if f.standard_uncertainty > 0.1:
        what = f"standard uncertainty {f.standard_uncertainty:g} of a factor."
        yield Mistake((*path, "standard_uncertainty"), what, "As a fraction: 0.1 % is 0.001.")


def cell_dates(ctx: Context, path: Path, cell: Cell) -> Iterator[Mistake]:
    """Correlation and calibrations fall due after they were made."""
    if cell.correlation_due_on <= cell.correlated_on:
        what = f"correlated on {cell.correlated_on}, due on {cell.correlation_due_on}."
        yield Mistake(
            (*path, "correlation_due_on"), what, "The due date comes after; swap or correct the dates."
        )
    for i, tool in enumerate(cell.instruments):
        if tool.due_on <= tool.calibrated_on:
            what = f"calibrated on {tool.calibrated_on}, due on {tool.due_on}."
            place = (*path, "instruments", i, "due_on")
            yield Mistake(place, what, "The due date comes after; swap or correct the dates.")
