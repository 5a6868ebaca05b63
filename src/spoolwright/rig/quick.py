"""Many runs at once for proofs: every hold of every run solved in batches, settled exponentially, read by
the sensors.

A hold is set by the schedule's channel as the operator reads it; from then on the brake holds power. Within
the hold the weather drifts in a straight line and the metal settles: a fast part with the time constants of
the engine's heat soak and a slow part for the casings. Motion between holds is a plain ramp: these runs are
for points, not for transients (`record` has those).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.bench import Ambient
from spoolwright.rig.day import Day, channel_traces, drawn_day, relative_load
from spoolwright.rig.distortion import SHAPES
from spoolwright.rig.draws import stream
from spoolwright.rig.holds import Hold, SolvedHolds
from spoolwright.rig.result import RigRun, RunTruth, as_recording, one_engine, with_faults_noted
from spoolwright.rig.schedule import steps
from spoolwright.rig.sensor_faults import SensorFault, planted
from spoolwright.rig.sensors import recorded_values
from spoolwright.rig.sheet import SheetOptions, written_sheet
from spoolwright.rig.truth import stacked, standard_day, truth_engine

FloatArray = NDArray[np.float64]

CHUNK = 40 * SHAPES
"""Runs solved together."""
_RAMP = 8.0
_IDLE_SECONDS = 60.0
_USUAL_HOLD = 150.0
_WARM_OIL = 273.15 + 78.0


@dataclass(frozen=True)
class QuickOptions:
    """How quick runs are made.

    Parameters
    ----------
    limit_set : limit set whose schedule is run; the first of the type when empty
    ambient : weather, what is None is drawn for each run
    faults : module faults of run number i
    sensor_faults : faults of the data of run number i
    runs_per_engine : runs of one engine before the next; each on a day of its own
    rate : rows a second [1/s]
    hold_seconds : length of a hold; what the type's steady rule needs and a margin when None [s]
    cell : cell of the type file; its first when None
    built : condition of run number i as built, from that of a good build of its serial
    """

    limit_set: str = ""
    ambient: Ambient = field(default_factory=Ambient)
    faults: Callable[[int], Mapping[str, float]] = lambda _: {}
    sensor_faults: Callable[[int], Sequence[SensorFault]] = lambda _: ()
    runs_per_engine: int = 1
    rate: float = 1.0
    hold_seconds: float | None = None
    cell: str | None = None
    built: Callable[[int, ConditionFactors], ConditionFactors] = lambda _, factors: factors


def quick_runs(
    known: TypeFile, data: EngineData, count: int, seed: int = 0, options: QuickOptions | None = None
) -> Iterator[RigRun]:
    """Simulated runs with recording, run sheet and truth, one after the other.

    Parameters
    ----------
    known : the type
    data : the type's own engine model, from which the truth departs
    count : number of runs
    seed : run i is made from seed + i, its engine from seed + i // runs_per_engine
    options : see QuickOptions

    Raises
    ------
    RangeError
        A hold asks for more than an engine can give; the text tells which. No run is dropped.
    """
    options = options or QuickOptions()
    for first in range(0, count, CHUNK):
        yield from _chunk(known, data, range(first, min(first + CHUNK, count)), seed, options)


def _holds(known: TypeFile, options: QuickOptions) -> list[Hold]:
    """Idle once, then every hold of the schedule."""
    rule = known.steady
    usual = rule.settle_s + rule.window_s + 15.0 if rule else _USUAL_HOLD
    holds, now, idled = [], 0.0, False
    for step in steps(known, options.limit_set or known.limit_set[0].id):
        if step.kind == "hold" or (step.kind == "idle" and not idled):
            length = options.hold_seconds or (usual if step.kind == "hold" else _IDLE_SECONDS)
            holds.append(Hold(step, now, now + length))
            now += length + _RAMP
            idled = True
    return holds


def _chunk(
    known: TypeFile, data: EngineData, numbers: range, seed: int, options: QuickOptions
) -> Iterator[RigRun]:
    holds = _holds(known, options)
    ratios = [1.92 + 0.02 * stream(seed, "delivery", k).standard_normal() for k in range(SHAPES)]
    made: dict[int, RigRun] = {}
    groups: dict[int, list[tuple[int, Day]]] = {}
    for i in numbers:
        engine_seed = seed + i // options.runs_per_engine
        ratio = ratios[engine_seed % SHAPES]
        engine = truth_engine(known, data, engine_seed, options.faults(i), hydrogen_to_carbon=ratio)
        engine = replace(engine, factors=options.built(i, engine.factors))
        day = drawn_day(engine, seed + i, options.ambient, cell_id=options.cell, hydrogen_to_carbon=ratio)
        groups.setdefault(engine.shape, []).append((i, day))
    for members in groups.values():
        made |= _group(known, members, holds, seed, options)
    for i in numbers:
        yield made[i]


def _group(
    known: TypeFile, members: list[tuple[int, Day]], holds: list[Hold], seed: int, options: QuickOptions
) -> dict[int, RigRun]:
    """Runs that share one engine shape, hence one model."""
    days = [day for _, day in members]
    engines = [day.engine for day in days]
    solved = SolvedHolds(known, days, holds, seed=[seed + i for i, _ in members])
    truth = standard_day(known, engines[0].model, stacked([e.factors for e in engines]))
    traces = solved.traces(options.rate)
    out = {}
    for k, (i, day) in enumerate(members):
        held = tuple(solved.truth_of(k, h) for h in range(len(holds)))
        run_truth = RunTruth(day, one_engine(truth, k), held)
        q = {name: values[k] if values.ndim == 2 else values for name, values in traces.items()}
        out[i] = _run(day, q, run_truth, seed + i, i, options)
    return out


def _run(
    day: Day, q: dict[str, FloatArray], truth: RunTruth, seed: int, number: int, options: QuickOptions
) -> RigRun:
    """Read one run's true quantities with its sensors, plant faults, fill in the sheet."""
    step = 1.0 / options.rate
    true = channel_traces(day, q, step, _WARM_OIL, stream(seed, "gusts"))
    values = recorded_values(
        day.known.channel, true, relative_load(day, q), step, day.errors, stream(seed, "noise")
    )
    recording = as_recording(day, q["time"], values, f"{day.engine.serial}-{seed}", {})
    faults = list(options.sensor_faults(number))
    recording = planted(recording, faults, day.known, stream(seed, "spikes"))
    sheet = SheetOptions(limit_set=options.limit_set, oil_seconds=float(q["time"][-1]))
    return RigRun(recording, written_sheet(day, sheet), with_faults_noted(truth, faults))
