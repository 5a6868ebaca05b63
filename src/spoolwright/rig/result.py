"""What the rig hands over for a run: the recording, the run sheet, and the truth behind both."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.rig.day import Day
from spoolwright.rig.sensor_faults import SensorFault
from spoolwright.units import INNER_UNIT

FloatArray = NDArray[np.float64]

DEMONSTRATION = "demonstration data from a simulated engine, not approved"
"""Stands in the attributes of every recording the rig makes."""


@dataclass(frozen=True)
class HoldTruth:
    """One hold as it truly was once settled.

    Parameters
    ----------
    item, rating : schedule item and rating
    from_s, to_s : the hold [s]
    settled : true quantities in the settled state in the middle of the hold's weather, cell effects left out
    """

    item: str
    rating: str | None
    from_s: float
    to_s: float
    settled: Mapping[str, float]


@dataclass(frozen=True)
class RunTruth:
    """All that the rig knows and a reduction must not.

    Parameters
    ----------
    day : what was drawn
    standard_day : rating to quantity to value, exact [inner units]
    holds : the holds as they truly were
    sensor_faults : planted faults of the data
    """

    day: Day
    standard_day: Mapping[str, Mapping[str, float]]
    holds: tuple[HoldTruth, ...]
    sensor_faults: tuple[SensorFault, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As plain types, in inner units."""
        engine, day = self.day.engine, self.day
        return {
            "note": DEMONSTRATION,
            "units": "inner units: K, Pa, W, rpm, N m, kg/s, J/kg, kg/J",
            "serial": engine.serial,
            "seed": engine.seed,
            "shape": engine.shape,
            "module_faults": dict(engine.faults),
            "sensor_faults": [str(f) for f in self.sensor_faults],
            "condition_factors": {k: float(v) for k, v in vars(engine.factors).items()},
            "standard_day": {k: dict(v) for k, v in self.standard_day.items()},
            "cell": {"id": day.cell.cell.id, "true_correlation_factors": dict(day.cell.factors)},
            "torque_conformation": day.conformation,
            "fuel": asdict(day.fuel),
            "weather": asdict(day.weather),
            "systematic_errors": asdict(day.errors),
            "holds": [asdict(h) for h in self.holds],
        }


@dataclass(frozen=True)
class RigRun:
    """A run of the rig."""

    recording: Recording
    sheet: RunSheet
    truth: RunTruth


def as_recording(
    day: Day, seconds: FloatArray, values: Mapping[str, FloatArray], name: str, units: Mapping[str, str]
) -> Recording:
    """Recorded values as a recording; `units` tells the entered unit where it is not the type file's."""
    series = {}
    for channel in day.known.channel:
        if channel.id in values:
            unit = units.get(channel.id, channel.unit)
            inner = INNER_UNIT[channel.dimension]
            series[channel.id] = Series(channel.id, values[channel.id], channel.id, unit, inner)
    return Recording(
        time=seconds,
        series=series,
        started_at=datetime.combine(day.date, time(8, 30), UTC),
        source_name=name,
        source_sha256=_hash(name, values.values()),
        attributes=attributes(day),
    )


def _hash(name: str, arrays: Any) -> str:
    digest = hashlib.sha256(name.encode())
    for values in arrays:
        digest.update(np.ascontiguousarray(values).tobytes())
    return digest.hexdigest()


def attributes(day: Day) -> dict[str, str]:
    """Header facts of a recording."""
    return {
        "note": DEMONSTRATION,
        "engine_type": day.known.type.name,
        "engine_serial": day.engine.serial,
        "cell": day.cell.cell.id,
        "configuration": day.cell.cell.configuration,
        "fuel_batch": day.fuel.name,
    }


def one_engine(truth: Mapping[str, Mapping[str, FloatArray]], index: int) -> dict[str, dict[str, float]]:
    """Standard-day truth of one engine out of a batch."""
    return {r: {q: float(np.ravel(v)[index]) for q, v in values.items()} for r, values in truth.items()}


def with_faults_noted(truth: RunTruth, faults: Sequence[SensorFault]) -> RunTruth:
    """The truth with the planted faults of the data written down."""
    return RunTruth(truth.day, truth.standard_day, truth.holds, tuple(faults))
