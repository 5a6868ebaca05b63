"""Readings of a start: time to light-off, time to idle, peak indicated MGT."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from spoolwright.core.reduction.crossing import Crossing
from spoolwright.crafts.testcell.acceptance.reading_parts import (
    Asked,
    asked_for,
    channel_input,
    document,
    lacking,
)
from spoolwright.crafts.testcell.acceptance.starts import CLOCKS, Start
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run.thin import unbegun
from spoolwright.units import to_inner


def start_readings(course: Course, starts: list[Start]) -> list[ScalarReading]:
    """Readings of every start of a run that a limit asks for; a motoring run has none."""
    out = []
    for start in starts:
        if start.outcome.startswith("motoring"):
            continue
        for quantity in ("time_to_light_off", "time_to_idle"):
            if asked_for(course.data, quantity):
                out.append(_time(course, start, quantity))
        if asked_for(course.data, "start_peak_mgt"):
            out.append(_peak(course, start))
    return out


def start_end(course: Course, start: Start) -> float:
    """End of what a start is answerable for: idle, or for one that did not get there the fall after it."""
    after = course.after(start.stretch)
    failed = not start.stretch.complete and after is not None and after.kind == "coast_down"
    return after.to_s if failed and after is not None else start.stretch.to_s


def _time(course: Course, start: Start, quantity: str) -> ScalarReading:
    data = course.data
    definition = data.type_file.definitions.start
    to_light = quantity == "time_to_light_off"
    goal = "light-off" if to_light else "ground idle"
    clock_words = CLOCKS[definition.clock_from][1] if definition else "the clock"
    reached = start.light_off if to_light else start.idle
    asked = Asked(
        quantity=quantity,
        regime="start",
        title=f"Time from {clock_words} to {goal}, start {start.number}",
        calculation=f"testcell.acceptance.start_readings.{quantity}",
        formula=f"moment of {goal} - moment of {clock_words}",
        reference=document(data, definition.source if definition else None),
        channels=_channels(data, "measured_gas_temperature" if to_light else "gas_generator_speed"),
        from_s=start.begin,
        to_s=start.stretch.to_s if reached is None else max(reached.time, start.begin),
    )
    if definition is None:
        return asked.not_made(data, "the type file does not define how a start is timed")
    clock = start.clock(definition)
    if clock is None:
        return asked.not_made(data, start.unknown[definition.clock_from])
    if reached is None:
        return _not_reached(data, start, asked, clock, goal)
    inputs = [_moment(clock_words, clock), _moment(goal, reached)]
    if to_light and start.motoring is not None:
        mgt = data.of_role("measured_gas_temperature") or ""
        inputs.append(channel_input(data, mgt, start.motoring, reached.time))
    u = math.hypot(clock.uncertainty, reached.uncertainty)
    shares = [Share("sampling interval and noise", u)]
    return asked.made(data, reached.time - clock.time, u, inputs=inputs, shares=shares, at_s=reached.time)


def _channels(data: RunData, role: str) -> tuple[str, ...]:
    definition = data.type_file.definitions.start
    roles = (role, *(CLOCKS[definition.clock_from][0] if definition else ()))
    return tuple(c.id for c in data.type_file.channel if c.role in roles)


def _not_reached(data: RunData, start: Start, asked: Asked, clock: Crossing, goal: str) -> ScalarReading:
    """The time it went on without result: enough to fail a limit on, never to pass one."""
    waited = start.stretch.to_s - clock.time
    missing = {"measured_gas_temperature", "gas_generator_speed"} - {
        c.role for c in data.type_file.channel if data.knows(c.id)
    }
    if missing:
        return asked.not_made(data, f"no channel of {' or '.join(sorted(missing))} was recorded")
    if start.stretch.complete:
        return asked.not_made(data, f"the channels as recorded do not show {goal}, though the engine ran on")
    why = f"no {goal} within {waited:.1f} s: {start.outcome}"
    limits = [to_inner(x.value, x.unit) for x in asked_for(data, asked.quantity) if x.value is not None]
    if not limits or waited <= max(limits):
        return asked.not_made(data, why)
    made = asked.made(data, waited, clock.uncertainty, inputs=[_moment("given up", None, start.stretch.to_s)])
    return replace(made, title=f"{asked.title}: {why}")


def _moment(name: str, crossing: Crossing | None, at: float | None = None) -> Input:
    time = crossing.time if crossing is not None else at
    assert time is not None
    return Input(name=name, value=round(time, 4), unit="s", origin=f"recording, at {time:.2f} s")


def _peak(course: Course, start: Start) -> ScalarReading:
    """Highest row of MGT as indicated: no lag correction, no smoothing."""
    data = course.data
    channel = data.of_role("measured_gas_temperature")
    end = start_end(course, start)
    asked = Asked(
        quantity="start_peak_mgt",
        regime="start",
        title=f"Peak indicated MGT, start {start.number}",
        calculation="testcell.acceptance.start_readings.start_peak_mgt",
        formula="highest single row of MGT as indicated; neither smoothed nor corrected for probe lag",
        reference=document(data, data.type_file.definitions.start.source)
        if data.type_file.definitions.start
        else "as indicated",
        channels=tuple(c.id for c in data.type_file.channel if c.role == "measured_gas_temperature"),
        from_s=start.begin,
        to_s=end,
    )
    if channel is None:
        return asked.not_made(data, "MGT was not recorded")
    rows = data.rows(start.begin, end)
    x = data.values(channel)[rows]
    if not np.isfinite(x).any():
        return asked.not_made(data, "MGT holds nothing during the start")
    i = int(np.nanargmax(x))
    at, value = float(data.time[rows][i]), float(x[i])
    shares = [*data.shares(channel, value), Share("noise of a single row", data.noise(channel))]
    u = math.sqrt(sum(s.uncertainty**2 for s in shares))
    inputs = [channel_input(data, channel, value, at)]
    made = asked.made(data, value, u, inputs=inputs, shares=shares, at_s=at)
    return lacking(made, unbegun(start.stretch))
