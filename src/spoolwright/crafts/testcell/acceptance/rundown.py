"""Coast-down time and oil consumption."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spoolwright.core.reduction.crossing import Crossing, first_crossing
from spoolwright.core.reduction.point import PointData
from spoolwright.core.reduction.segments import Stretch
from spoolwright.crafts.testcell.acceptance.reading_parts import Asked, asked_for, channel_input, document
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run_sheet import OilAccount
from spoolwright.crafts.typefile.definition import CoastDownDefinition
from spoolwright.units import difference_to_inner, to_inner, unit_named

_OIL_EXPANSION = 7.5e-4
"""Thermal expansion of a synthetic turbine oil, about [1/K]: sizes an uncertainty, corrects nothing."""
_WARMED = 40.0
"""Change of oil temperature between two idle holds where it was not recorded [K]."""


def coast_down_readings(course: Course) -> list[ScalarReading]:
    """Time of every coast-down from power, between the document's two speeds."""
    if not asked_for(course.data, "coast_down_time"):
        return []
    return [_coast_down(course, s) for s in course.of_kind("coast_down") if _from_power(course, s)]


def _from_power(course: Course, stretch: Stretch) -> bool:
    before = course.before(stretch)
    return before is not None and (before.kind == "shut_down" or before in course.powered)


def _coast_down(course: Course, stretch: Stretch) -> ScalarReading:
    data = course.data
    definition = data.type_file.definitions.coast_down
    speed = data.of_role("gas_generator_speed")
    before = course.before(stretch)
    begin = before.from_s if before is not None and before.kind == "shut_down" else stretch.from_s - 1.0
    asked = Asked(
        quantity="coast_down_time",
        regime="coast_down",
        title="Coast-down time",
        calculation="testcell.acceptance.rundown.coast_down_readings",
        formula=_words(definition),
        reference=document(data, definition.source if definition else None),
        channels=(speed or "",),
        from_s=stretch.from_s,
        to_s=stretch.to_s,
    )
    if definition is None:
        return asked.not_made(data, "the type file does not define how a coast-down is timed")
    if speed is None:
        return asked.not_made(data, "gas generator speed was not recorded")
    burning = _fuel_flows(data, begin + 2.0, stretch.to_s)
    if burning:
        return asked.not_made(data, burning)
    levels = [to_inner(a.value, a.unit) for a in (definition.from_speed, definition.to_speed)]
    crossings = [_passes(data, speed, level, begin, stretch.to_s) for level in levels]
    if crossings[0] is None or crossings[1] is None:
        return asked.not_made(data, "the recording does not hold both speeds of the coast-down")
    first, last = crossings[0], crossings[1]
    u = math.hypot(first.uncertainty, last.uncertainty)
    inputs = [
        channel_input(data, speed, level, c.time) for level, c in zip(levels, (first, last), strict=True)
    ]
    shares = [Share("sampling interval and noise", u)]
    return asked.made(data, last.time - first.time, u, inputs=inputs, shares=shares, at_s=first.time)


def _words(definition: CoastDownDefinition | None) -> str:
    if definition is None:
        return ""
    a, b = definition.from_speed, definition.to_speed
    return f"time from {a.value:g} {a.unit} down to {b.value:g} {b.unit} of gas generator speed, fuel off"


def _passes(data: RunData, speed: str, level: float, begin: float, end: float) -> Crossing | None:
    rows = data.rows(begin, end + 1.0)
    return first_crossing(
        data.time[rows],
        data.values(speed)[rows],
        level,
        rising=False,
        noise=data.noise(speed),
        level_uncertainty=data.systematic_uncertainty(speed, level),
        lasting=0.25,
    )


def _fuel_flows(data: RunData, from_s: float, to_s: float) -> str:
    """Why a fall is no coast-down: fuel still flows in it."""
    fuel = data.of_role("fuel_mass_flow") or data.of_role("fuel_volume_flow")
    if fuel is None:
        return ""
    part = data.values(fuel)[data.rows(from_s, to_s)]
    part = part[np.isfinite(part)]
    on = max(8.0 * data.noise(fuel), 0.05 * float(np.nanmax(data.values(fuel), initial=0.0)))
    if part.size and float(np.median(part)) > on:
        return "fuel still flowed while speed fell: no coast-down"
    return ""


def oil_readings(course: Course, idles: list[PointData]) -> list[ScalarReading]:
    """Oil consumption: from the account on the run sheet, else from the tank's level at like idle holds."""
    data = course.data
    if not asked_for(data, "oil_consumption") or data.time.size == 0:
        return []
    account = data.sheet.oil
    if account is None:
        return [_from_level(data, idles)]
    return [_from_account(data, account)]


def _from_account(data: RunData, account: OilAccount) -> ScalarReading:
    """Oil poured in or weighed over a counted time, as the run sheet has it."""
    weighed = unit_named(account.consumed.unit).dimension == "mass"
    oil = data.type_file.oil
    words = "oil consumed / time counted, both from the run sheet"
    asked = _oil(data, words.replace(" / ", " / density of the type file / ", 1) if weighed else words, ())
    over = to_inner(account.over.value, account.over.unit)
    if not over > 0.0:
        return asked.not_made(data, "the run sheet counts no time for the oil")
    consumed = to_inner(account.consumed.value, account.consumed.unit)
    u = difference_to_inner(account.standard_uncertainty.value, account.standard_uncertainty.unit)
    inputs = [
        Input(name="oil consumed", value=consumed, unit="kg" if weighed else "m3", origin="run sheet, oil"),
        Input(name="time counted", value=over, unit="s", origin="run sheet, oil"),
    ]
    shares = [Share("oil account", u / over)]
    if weighed:
        if oil is None:
            return replace(
                asked.not_made(data, "the run sheet gives oil by mass, and the type file no density of oil"),
                mend="Give the type file a table [oil] from the approved document, or the sheet the volume.",
            )
        density = to_inner(oil.density.value, oil.density.unit)
        spread = to_inner(oil.density_standard_uncertainty.value, oil.density_standard_uncertainty.unit)
        inputs.append(Input(name="density", value=density, unit="kg/m3", origin="type file, oil"))
        consumed, shares = consumed / density, [Share("oil account", u / density / over)]
        shares.append(Share("density of the oil", abs(consumed) * spread / density / over))
    return _grown_less(asked.made(data, consumed / over, _total(shares), inputs=inputs, shares=shares))


def _total(shares: Sequence[Share]) -> float:
    return math.hypot(*(s.uncertainty for s in shares))


def _grown_less(made: ScalarReading) -> ScalarReading:
    """An engine makes no oil: a consumption clearly below none shows a wrong account, or fuel in the oil."""
    if made.value >= -2.0 * made.uncertainty:
        return made
    return replace(
        made,
        thin="there was more oil after than before: the account is wrong, or fuel came into the oil",
        mend="Look at the account; if it is right, look for fuel in the oil before the next start.",
    )


def _oil(data: RunData, formula: str, channels: tuple[str, ...]) -> Asked:
    return Asked(
        quantity="oil_consumption",
        regime="run",
        title="Oil consumption",
        calculation="testcell.acceptance.rundown.oil_readings",
        formula=formula,
        reference="definition of the program; the limit's document governs what is asked",
        channels=channels,
        from_s=float(data.time[0]),
        to_s=float(data.time[-1]),
    )


def _from_level(data: RunData, idles: list[PointData]) -> ScalarReading:
    """Fall of the level between the first and last idle hold; unlike temperatures widen the uncertainty."""
    level, oil = data.of_role("oil_quantity"), data.of_role("oil_temperature")
    asked = _oil(
        data,
        "(tank level at the first idle hold - at the last) / time between; expansion is not corrected",
        tuple(c for c in (level, oil) if c),
    )
    held = [p for p in idles if level is not None and level in p.channels]
    if level is None or len(held) < 2:
        return asked.not_made(
            data, "the run sheet holds no oil account, and no two idle holds show the tank's level"
        )
    first, last = held[0], held[-1]
    over = 0.5 * (last.from_s + last.to_s - first.from_s - first.to_s)
    full, left = first.channels[level], last.channels[level]
    warmed = _WARMED
    if oil is not None and oil in first.channels and oil in last.channels:
        warmed = abs(last.channels[oil].mean - first.channels[oil].mean)
    shares = [
        Share("scatter", math.hypot(full.random, left.random) / over),
        Share("thermal expansion of the oil", _OIL_EXPANSION * warmed * abs(full.mean) / over),
    ]
    gain = [abs(p.relative) for p in data.channel(level).uncertainty]
    shares.append(Share("level probe", sum(gain) * abs(full.mean - left.mean) / over))
    inputs = [
        channel_input(data, level, full.mean, first.from_s, first.to_s),
        channel_input(data, level, left.mean, last.from_s, last.to_s),
    ]
    fallen = (full.mean - left.mean) / over
    return _grown_less(asked.made(data, fallen, _total(shares), inputs=inputs, shares=shares))
