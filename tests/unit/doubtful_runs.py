"""Rig runs of fixed seeds for the tests of doubts, and faults planted in them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.doubt.find import find
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.rig.sensor_faults import planted, sensor_fault
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import unit_of

SEED = 41_000
WORN = {1: {"compressor_fouling": 2.5}, 3: {"turbine_erosion": 2.0}, 5: {"exhaust_back_pressure": 2.0}}
RUNS = 6


@cache
def corrie() -> LoadedType:
    """The demonstration type."""
    return load_type(shipped_type())


def known() -> TypeFile:
    """Its type file."""
    return corrie().type_file


@cache
def model() -> EngineModel:
    """Its engine model."""
    return EngineModel(corrie().engine)


@cache
def runs() -> tuple[RigRun, ...]:
    """Six engines; every second one has a worn or damaged module."""
    options = QuickOptions(faults=lambda i: WORN.get(i, {}))
    return tuple(quick_runs(known(), corrie().engine, RUNS, SEED, options))


def spoilt(run: RigRun, *lines: str) -> Recording:
    """A run with faults of the data planted."""
    faults = [sensor_fault(line, known()) for line in lines]
    return planted(run.recording, faults, known(), np.random.default_rng(7))


def doubts(recording: Recording, sheet: RunSheet) -> tuple[Finding, ...]:
    """Findings on a recording."""
    return find(recording, sheet, known(), model())


def with_rest(run: RigRun, seconds: int = 30) -> RigRun:
    """The run with a cold-soaked engine at rest before it: zeros, and the air's temperature and pressure."""
    recording = run.recording
    g = np.random.default_rng(11)
    air = {c.role: recording[c.id][0] for c in known().channel if c.role.startswith("ambient_")}
    series = {}
    for channel in known().channel:
        if channel.id not in recording.series:
            continue
        one = recording.series[channel.id]
        rest = _at_rest(channel.role, channel.dimension, channel.id, one.values[0], air)
        noise = channel.noise * unit_of(channel.unit, channel.dimension).factor
        rows = rest + noise * g.standard_normal(seconds)
        series[channel.id] = replace(one, values=np.concatenate([rows, one.values]))
    time = np.concatenate([np.arange(seconds, dtype=float), recording.time + float(seconds)])
    return RigRun(replace(recording, time=time, series=series), run.sheet, run.truth)


def _at_rest(role: str, dimension: str, name: str, first: float, air: dict[str, float]) -> float:
    if role in ("ambient_temperature", "ambient_pressure", "relative_humidity"):
        return first
    if dimension == "temperature" and (name.startswith("mgt") or role != "other"):
        return air["ambient_temperature"]
    if dimension == "pressure":
        return air["ambient_pressure"]
    return 0.0 if dimension not in ("voltage", "volume", "temperature") else first
