"""One run of a visit read in full: stretches, events, points, every reading a limit asks for, items shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.assignment import Rest, assigned, held_long_enough
from spoolwright.crafts.testcell.course import Course, course_of
from spoolwright.crafts.testcell.events import events_of
from spoolwright.crafts.testcell.extremes import extreme_readings
from spoolwright.crafts.testcell.governing import LoadStep, governing_readings, load_steps
from spoolwright.crafts.testcell.model import Finding, Segment
from spoolwright.crafts.testcell.points import long_enough_to_count, pieces_of, point_of
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading, ShownItem
from spoolwright.crafts.testcell.run_data import RunData, run_data
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.rundown import coast_down_readings, oil_readings
from spoolwright.crafts.testcell.slams import Slam, slam_readings, slams_of
from spoolwright.crafts.testcell.start_readings import start_readings
from spoolwright.crafts.testcell.starts import Start, starts_of
from spoolwright.crafts.testcell.steady_readings import idle_readings, torquemeter_readings, trim_readings
from spoolwright.crafts.typefile.model import ScheduleItem, TypeFile


def read_run(
    recording: Recording,
    sheet: RunSheet,
    type_file: TypeFile,
    *,
    findings: Sequence[Finding] = (),
    first_block: int = 0,
) -> RunContents:
    """Everything found in one run. `first_block` is the last block of the run before it in the visit."""
    data = run_data(type_file, sheet, recording, findings=findings, first_block=first_block)
    return contents_of(course_of(data))


def contents_of(course: Course) -> RunContents:
    """Everything found in a run whose stretches are known."""
    data = course.data
    starts, slams, steps = starts_of(course), slams_of(course), load_steps(course)
    rests = _rests(course)
    items = assigned(data, rests)
    rests = _numbered(data, rests, items)
    holds = [r for r in rests if not r.idle and _counts(data, r)]
    points = [r.point for r in holds]
    idles = [r.point for r in rests if r.idle]
    return RunContents(
        run=data.run,
        segments=_segments(course, starts),
        events=events_of(course, starts, slams, steps, holds),
        points=tuple(points),
        readings=tuple(_readings(course, starts, slams, steps, points, idles)),
        shown=tuple(_shown(course, starts, slams, steps, rests, items)),
        last_block=data.last_block,
    )


def _rests(course: Course) -> list[Rest]:
    """Holds and idles in order of time, each with its point."""
    pieces = [(p, kind == "idle") for kind in ("hold", "idle") for p in pieces_of(course, kind)]
    pieces.sort(key=lambda p: p[0].from_s)
    return [Rest(p, point_of(course.data, p), idle) for p, idle in pieces]


def _counts(data: RunData, rest: Rest) -> bool:
    """Whether a hold is a performance point: it shows an item, or is long enough to be one."""
    return rest.point.schedule_item is not None or long_enough_to_count(data, rest.piece)


def _numbered(data: RunData, rests: list[Rest], items: list[ScheduleItem | None]) -> list[Rest]:
    """The rests with their schedule items, numbered through the run."""
    out, points, idles = [], 0, 0
    for rest, item in zip(rests, items, strict=True):
        rated = (item.id, item.rating) if item is not None else (None, None)
        placed = replace(rest, point=replace(rest.point, schedule_item=rated[0], rating=rated[1]))
        if rest.idle:
            idles += 1
            name = f"{data.run}.idle {idles}"
        else:
            points += _counts(data, placed)
            name = f"{data.run}.{points}"
        out.append(replace(placed, point=replace(placed.point, id=name)))
    return out


def _readings(
    course: Course,
    starts: list[Start],
    slams: list[Slam],
    steps: list[LoadStep],
    points: list[PointData],
    idles: list[PointData],
) -> list[ScalarReading]:
    return [
        *start_readings(course, starts),
        *extreme_readings(course, starts),
        *idle_readings(course, idles),
        *slam_readings(course, slams),
        *governing_readings(course, steps, points),
        *torquemeter_readings(course, points),
        *trim_readings(course, points),
        *coast_down_readings(course),
        *oil_readings(course, idles),
    ]


def _segments(course: Course, starts: list[Start]) -> tuple[Segment, ...]:
    """The stretches, each start from its first sign on."""
    segments = list(course.segments())
    for start in starts:
        i = course.stretches.index(start.stretch)
        if i and segments[i - 1].kind == "off" and segments[i - 1].from_s <= start.begin < segments[i].from_s:
            segments[i - 1] = segments[i - 1].model_copy(update={"to_s": start.begin})
            segments[i] = segments[i].model_copy(update={"from_s": start.begin})
    return tuple(segments)


def _shown(
    course: Course,
    starts: list[Start],
    slams: list[Slam],
    steps: list[LoadStep],
    rests: list[Rest],
    items: list[ScheduleItem | None],
) -> list[ShownItem]:
    """Items of the schedule that this run shows in full, once for every time."""
    data = course.data
    out = [
        _item(data, item.id, rest.piece.from_s, rest.piece.to_s)
        for rest, item in zip(rests, items, strict=True)
        if item is not None and held_long_enough(rest.piece, item)
    ]
    times = {
        "start": [(s.begin, s.stretch.to_s) for s in starts if s.stretch.complete and s.stretch.begun],
        "acceleration": [_span(s) for s in slams if s.kind == "acceleration"],
        "deceleration": [_span(s) for s in slams if s.kind == "deceleration"],
        "governing": [(s.stretch.from_s, s.stretch.to_s) for s in steps if s.on],
        "shut_down": [(s.from_s, s.to_s) for s in course.of_kind("shut_down")],
        "coast_down": [(s.from_s, s.to_s) for s in course.of_kind("coast_down") if s.complete],
    }
    for item in data.type_file.schedule:
        if data.sheet.limit_set in item.sets:
            out += [_item(data, item.id, *span) for span in times.get(item.kind, [])]
    return sorted(out, key=lambda s: s.from_s)


def _span(slam: Slam) -> tuple[float, float]:
    return slam.begin, slam.stretch.to_s


def _item(data: RunData, item: str, from_s: float, to_s: float) -> ShownItem:
    return ShownItem(item, data.run, data.block_at(to_s), from_s, to_s)
