"""What happened in a run, in words with times."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.acceptance.governing import LoadStep
from spoolwright.crafts.testcell.acceptance.slams import Slam
from spoolwright.crafts.testcell.acceptance.starts import CLOCKS, Start
from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.model import Event
from spoolwright.crafts.testcell.reading import ScalarReading
from spoolwright.crafts.testcell.run.assignment import Rest
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.wording import amount
from spoolwright.crafts.typefile.model import Limit


def events_of(
    course: Course,
    starts: Sequence[Start],
    slams: Sequence[Slam],
    steps: Sequence[LoadStep],
    holds: Sequence[tuple[Rest, PointData]],
    extremes: Sequence[ScalarReading],
) -> tuple[Event, ...]:
    """All events of a run in order of time."""
    run = course.data.run
    out = [e for s in starts for e in _start(course, s)]
    out += [_slam(course, s) for s in slams]
    out += [_step(course, s) for s in steps]
    out += [_hold(course, rest, point) for rest, point in holds]
    out += _end(course)
    out += [e for r in extremes if (e := _exceedance(course, r)) is not None]
    out += _adjustments(course)
    if not course.stretches:
        text = "Gas generator speed was not recorded: what happened in this run cannot be found"
        out.append(Event(run=run, at_s=0.0, kind="finding", text=text))
    if course.note:
        out.append(Event(run=run, at_s=0.0, kind="finding", text=course.note))
    return tuple(sorted(out, key=lambda e: e.at_s))


def _exceedance(course: Course, reading: ScalarReading) -> Event | None:
    """A reading that stood beyond the value in force there; whether the limit is met is judged apart."""
    data = course.data
    limit = next((x for x in data.limits if x.id == reading.limit), None)
    if limit is None or reading.at_s is None or not reading.excursions or not _beyond(limit, reading):
        return None
    beyond = reading.excursions[-1]
    reads, level = (_words(data, reading.quantity, v) for v in (reading.value, beyond.above))
    text = f"{limit.name}: {reads} beyond {level}, {beyond.total_s:.1f} s in all"
    return Event(run=data.run, at_s=reading.at_s, kind="exceedance", text=text)


def _beyond(limit: Limit, reading: ScalarReading) -> bool:
    level = reading.excursions[-1].above
    return reading.value > level if limit.bound == "max" else reading.value < level


def _adjustments(course: Course) -> list[Event]:
    run = course.data.run
    return [
        Event(run=run, at_s=a.at_s, kind="adjustment", text=f"{a.kind.replace('_', ' ')}: {a.text} ({a.by})")
        for a in course.data.sheet.adjustment
    ]


def _words(data: RunData, channel: str | None, value: float) -> str:
    if channel is None:
        return f"{value:.6g}"
    c = data.channel(channel)
    return amount(value, Shown(c.dimension, c.unit), data.noise(channel) or None)


def _start(course: Course, start: Start) -> list[Event]:
    data, n = course.data, start.number
    definition = data.type_file.definitions.start
    clock = start.clock(definition) if definition else None
    since = CLOCKS[definition.clock_from][1] if definition and clock else ""

    def after(time: float) -> str:
        return f", {time - clock.time:.1f} s after {since}" if clock is not None else ""

    order = sorted(start.moments.items(), key=lambda x: x[1].time)
    signs = ", ".join(f"{CLOCKS[k][1]} at {m.time:.1f} s" for k, m in order)
    first = f"Start {n}" if start.stretch.begun else f"Start {n}, begun before the recording"
    text = f"{first}: {signs}" if signs else first
    out = [Event(run=data.run, at_s=start.begin, kind="start", text=text)]
    if start.light_off is not None:
        at = start.light_off.time
        out.append(Event(run=data.run, at_s=at, kind="light_off", text=f"Light-off{after(at)}"))
    if start.idle is not None:
        at = start.idle.time
        out.append(Event(run=data.run, at_s=at, kind="idle", text=f"Ground idle reached{after(at)}"))
    elif not start.stretch.complete:
        text = f"Start {n} ended without idle: {start.outcome}"
        out.append(Event(run=data.run, at_s=start.stretch.to_s, kind="start", text=text))
    return out


def _slam(course: Course, slam: Slam) -> Event:
    data = course.data
    ends = [_words(data, slam.channel, x.value) for x in (slam.before, slam.after)]
    time = f"{slam.seconds:.2f} s" if slam.seconds is not None else f"not timed ({slam.why_not})"
    text = f"{slam.kind.capitalize()} from {ends[0]} to {ends[1]}: {time}"
    return Event(run=data.run, at_s=slam.begin, kind=slam.kind, text=text)


def _step(course: Course, step: LoadStep) -> Event:
    data = course.data
    torque = data.of_role("torque") or data.of_role("dynamometer_torque")
    ends = [_words(data, torque, x) for x in step.torque]
    speed = _words(data, data.of_role("power_turbine_speed"), step.extreme[1])
    text = f"Governing, {step.kind} from {ends[0]} to {ends[1]}: output speed passes {speed}"
    kind = "acceleration" if step.on else "deceleration"
    return Event(run=data.run, at_s=step.stretch.from_s, kind=kind, text=text)


def _hold(course: Course, rest: Rest, point: PointData) -> Event:
    data = course.data
    speed = data.of_role("gas_generator_speed")
    level = ""
    if speed is not None and speed in point.channels:
        level = f" at {_words(data, speed, point.channels[speed].mean)}"
    item = rest.item.name if rest.item else ""
    state = "" if point.steady else ", not steady"
    text = f"Point {point.id}{level}{': ' + item if item else ''}{state}"
    return Event(run=data.run, at_s=rest.piece.from_s, kind="hold", text=text)


def _end(course: Course) -> list[Event]:
    run, out = course.data.run, []
    fuel = course.data.of_role("fuel_mass_flow") or course.data.of_role("fuel_volume_flow")
    for s in course.shut_downs:
        text = "Shut-down: speed falls from power"
        out.append(Event(run=run, at_s=s.from_s, kind="shut_down", text=text))
        if fuel is not None:
            out.append(Event(run=run, at_s=s.from_s, kind="fuel_off", text="Fuel off"))
    for s in course.of_kind("coast_down"):
        if s.complete:
            out.append(Event(run=run, at_s=s.to_s, kind="standstill", text="Rotor at standstill"))
    return out
