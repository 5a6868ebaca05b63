"""A whole test run with full dynamics: start, warm-up, points, slams, governing, shut-down and coast-down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.engine import EngineData
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import RangeError
from spoolwright.rig.bench import Ambient
from spoolwright.rig.day import Day, channel_traces, drawn_day, relative_load
from spoolwright.rig.draws import stream
from spoolwright.rig.pieces import Traces
from spoolwright.rig.result import RigRun, RunTruth, as_recording, one_engine
from spoolwright.rig.schedule import Step, steps
from spoolwright.rig.script import Operator, PlannedAdjustment, Tell
from spoolwright.rig.sensor_faults import SensorFault, planted
from spoolwright.rig.sensors import recorded_values
from spoolwright.rig.sheet import SheetOptions, written_sheet
from spoolwright.rig.truth import standard_day, truth_engine

FloatArray = NDArray[np.float64]

_SLOWEST, _FASTEST = 1.0, 100.0


@dataclass(frozen=True)
class RecordOptions:
    """How a run is recorded.

    Parameters
    ----------
    seed : makes engine, day and noise; the same seed gives the same run
    serial : serial number of the engine; made from the seed when empty
    faults : module and mechanical faults, name to size
    sensor_faults : faults of the data
    ambient : weather, what is None is drawn
    cell : cell of the type file; its first when None
    rate : rows a second [1/s]
    on : day of the run; one on which every instrument is in calibration when None
    units : channel to unit in the file; the type file's where left out
    adjustments : made by the operator on the way
    sheet : what is to stand on the run sheet
    """

    seed: int = 1
    serial: str = ""
    faults: Mapping[str, float] = field(default_factory=dict)
    sensor_faults: Sequence[SensorFault] = ()
    ambient: Ambient = field(default_factory=lambda: Ambient(temperature_range=(278.15, 298.15)))
    cell: str | None = None
    rate: float = 10.0
    on: date | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    adjustments: Sequence[PlannedAdjustment] = ()
    sheet: SheetOptions = field(default_factory=SheetOptions)


def record_run(
    known: TypeFile, data: EngineData, options: RecordOptions | None = None, progress: Tell | None = None
) -> RigRun:
    """Record a run of the type's whole schedule on the simulated bench.

    Parameters
    ----------
    known : the type
    data : the type's own engine model, from which the truth departs
    options : see RecordOptions
    progress : called with what is being done and the share done

    Raises
    ------
    InputError
        An unknown fault, cell, limit set or channel.
    RangeError
        The rate is out of range, or a step asks for more than the engine can give.
    """
    options, tell = options or RecordOptions(), progress or (lambda _what, _share: None)
    if not _SLOWEST <= options.rate <= _FASTEST:
        raise RangeError(
            f"rate {options.rate:g} 1/s is outside {_SLOWEST:g} to {_FASTEST:g}.", mend="Give rows a second."
        )
    day = _day(known, data, options)
    operator = Operator(day, options.seed)
    _run_schedule(operator, steps(known, options.sheet.limit_set or known.limit_set[0].id), options, tell)
    tell("recording", 0.9)
    return _recorded(operator, options)


def _day(known: TypeFile, data: EngineData, options: RecordOptions) -> Day:
    engine = truth_engine(known, data, options.seed, options.faults, serial=options.serial)
    day = drawn_day(engine, options.seed, options.ambient, cell_id=options.cell, on=options.on)
    ratio = day.fuel.hydrogen_to_carbon
    engine = truth_engine(
        known, data, options.seed, options.faults, serial=options.serial, hydrogen_to_carbon=ratio
    )
    return drawn_day(engine, options.seed, options.ambient, cell_id=options.cell, on=options.on)


def _run_schedule(operator: Operator, todo: list[Step], options: RecordOptions, tell: Tell) -> None:
    """All steps in order; an adjustment is made once its item is done, then what it calls for is run again.
    All steps in order; an adjustment is made once its item is done, then what it calls for is run again.
    """
    waiting = {a.after: a for a in options.adjustments}
    for i, step in enumerate(todo):
        tell(step.item.replace("_", " "), 0.9 * i / len(todo))
        operator.take(step)
        last = i + 1 == len(todo) or todo[i + 1].item != step.item
        if last and step.item in waiting:
            planned = waiting.pop(step.item)
            operator.adjust(planned)
            for again in _owed_again(operator.known, todo[: i + 1], planned.kind):
                operator.take(again)


def _owed_again(known: TypeFile, done: list[Step], kind: str) -> list[Step]:
    owed = {s.id for s in known.schedule if kind in s.repeat_after}
    return [s for s in done if s.item in owed]


def _recorded(operator: Operator, options: RecordOptions) -> RigRun:
    """Read the run out, through the sensors and the planted faults, and fill in the sheet."""
    day, rate = operator.day, options.rate
    q = _with_air(operator, operator.run.read_out(rate))
    oil = day.weather.temperature + 4.0
    true = channel_traces(day, q, 1.0 / rate, oil, stream(options.seed, "gusts"))
    noise = stream(options.seed, "noise")
    values = recorded_values(day.known.channel, true, relative_load(day, q), 1.0 / rate, day.errors, noise)
    recording = as_recording(day, q["time"], values, f"{day.engine.serial}-{options.seed}", options.units)
    recording = planted(recording, options.sensor_faults, day.known, stream(options.seed, "spikes"))
    truth = standard_day(day.known, operator.engine.model, day.engine.factors)
    run_truth = RunTruth(day, one_engine(truth, 0), tuple(operator.holds), tuple(options.sensor_faults))
    return RigRun(recording, written_sheet(day, _sheet(q, options), operator.adjustments), run_truth)


def _sheet(q: Traces, options: RecordOptions) -> SheetOptions:
    running = float(np.count_nonzero(q["ng"] > 0.5 * q["ng"].max())) / options.rate
    return options.sheet if options.sheet.oil_seconds else replace(options.sheet, oil_seconds=running)


def _with_air(operator: Operator, q: Traces) -> Traces:
    """Weather, and what intake and exhaust make of it at the flow of the moment."""
    day, guess = operator.day, operator.engine.flow_guess(q["ng"])
    temperature, pressure = day.weather.temperature_at(q["time"]), day.weather.pressure_at(q["time"])
    return q | {
        "t_amb": temperature,
        "p_amb": pressure,
        "t2": day.cell.inlet_temperature(temperature, guess),
        "p2": day.cell.inlet_pressure(pressure, guess),
        "p_exhaust": day.cell.exhaust_pressure(pressure, guess),
    }
