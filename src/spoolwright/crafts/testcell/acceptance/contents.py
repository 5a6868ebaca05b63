"""One run of a visit read in full: stretches, events, points, every reading a limit asks for, items shown."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.acceptance.events import events_of
from spoolwright.crafts.testcell.acceptance.extremes import extreme_readings
from spoolwright.crafts.testcell.acceptance.governing import LoadStep, governing_readings, load_steps
from spoolwright.crafts.testcell.acceptance.reading_parts import channels_of
from spoolwright.crafts.testcell.acceptance.rundown import coast_down_readings, oil_readings
from spoolwright.crafts.testcell.acceptance.slams import Slam, slam_readings, slams_of
from spoolwright.crafts.testcell.acceptance.start_readings import start_readings
from spoolwright.crafts.testcell.acceptance.starts import Start, starts_of
from spoolwright.crafts.testcell.acceptance.steady_readings import (
    idle_readings,
    torquemeter_readings,
    trim_readings,
)
from spoolwright.crafts.testcell.model import Finding, Segment
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading, ShownItem
from spoolwright.crafts.testcell.run.assignment import Rest, assigned, held_long_enough
from spoolwright.crafts.testcell.run.course import Course, course_of
from spoolwright.crafts.testcell.run.points import long_enough_to_count, pieces_of, point_of
from spoolwright.crafts.testcell.run.run_data import RunData, run_data
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.model import TypeFile


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
    starts, steps = starts_of(course), load_steps(course)
    # a load step with the lever left alone may look like a slam; it is none
    slams = [s for s in slams_of(course) if s.stretch not in [step.stretch for step in steps]]
    rests = assigned(data, _rests(course))
    holds = [r for r in rests if not r.idle and (r.item is not None or long_enough_to_count(data, r.piece))]
    points = tuple(point_of(data, r.piece, f"{data.run}.{n}", r.item) for n, r in enumerate(holds, start=1))
    idles = _idle_points(data, [r for r in rests if r.idle])
    extremes = extreme_readings(course, starts)
    return RunContents(
        run=data.run,
        segments=_segments(course, starts),
        events=events_of(course, starts, slams, steps, list(zip(holds, points, strict=True)), extremes),
        points=points,
        readings=(*extremes, *_readings(course, starts, slams, steps, points, idles)),
        shown=tuple(_shown(course, starts, slams, steps, rests)),
        last_block=data.last_block,
    )


def _rests(course: Course) -> list[Rest]:
    """Holds and idles in order of time."""
    rests = [Rest(p, kind == "idle") for kind in ("hold", "idle") for p in pieces_of(course, kind)]
    return sorted(rests, key=lambda r: r.piece.from_s)


def _idle_points(data: RunData, rests: list[Rest]) -> list[PointData]:
    """Idle holds as points, with the channels that limits on idle and the oil account read."""
    only = {c for x in data.limits if x.regime in ("idle", "steady") for c in (x.quantity, *channels_of(x))}
    only |= {c for role in ("oil_quantity", "oil_temperature") if (c := data.of_role(role))}
    only |= {c.channel for c in data.type_file.steady.criteria} if data.type_file.steady else set()
    names = (f"{data.run}.idle {n}" for n in range(1, len(rests) + 1))
    return [point_of(data, r.piece, name, r.item, only) for r, name in zip(rests, names, strict=True)]


def _readings(
    course: Course,
    starts: list[Start],
    slams: list[Slam],
    steps: list[LoadStep],
    points: Sequence[PointData],
    idles: list[PointData],
) -> list[ScalarReading]:
    return [
        *start_readings(course, starts),
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
) -> list[ShownItem]:
    """Items of the schedule that this run shows in full, once for every time."""
    data = course.data
    out = [
        _item(data, r.item.id, r.piece.from_s, r.piece.to_s)
        for r in rests
        if r.item is not None and held_long_enough(r.piece, r.item)
    ]
    times = {
        "start": [(s.begin, s.stretch.to_s) for s in starts if s.stretch.complete and s.stretch.begun],
        "acceleration": [_span(s) for s in slams if s.kind == "acceleration"],
        "deceleration": [_span(s) for s in slams if s.kind == "deceleration"],
        "governing": [(s.stretch.from_s, s.stretch.to_s) for s in steps if s.on],
        "shut_down": [(s.from_s, s.to_s) for s in course.shut_downs],
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
