"""Readings beside the gas path: vibration, oil, coast-down, starts, accelerations."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median, stdev
from typing import Any

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.reading import RunContents
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.units import INNER_UNIT

STEADY_ROLES = ("vibration", "oil_pressure")
"""Roles whose mean over the steady points counts."""
SINGLE = {
    "coast_down_time": "Coast-down time",
    "acceleration_time": "Acceleration time",
    "time_to_light_off": "Time to light-off",
    "time_to_idle": "Time to idle",
    "start_peak_mgt": "Peak gas temperature in the start",
    "oil_consumption": "Oil consumption",
}
"""Readings of which a run has one, or a few whose mean counts."""
BY_DIFFERENCE = ("oil_consumption",)
"""Compared by difference; all others by the logarithm of their ratio: oil made or lost may read nought."""
LEAST_ENGINES = 5
"""Fewer engines than this carry no mean and scatter of a reading."""
_MAD = 1.4826
"""Standard deviation of a normal sample over its median absolute deviation."""
_FAR = 3.0
_LEAST_SCATTER = 0.01
"""Of a ratio: no shop reads these closer than one per cent."""


@dataclass(frozen=True)
class FleetReading:
    """A reading over the engines of the shop: middle and scatter, in its logarithm or in itself.

    `middle` is the median, `scatter` the standard deviation without the pull of single wild engines,
    `engines` how many stand behind it.
    """

    middle: float
    scatter: float
    engines: int


def other_readings(
    contents: RunContents, usable: Sequence[PointData], type_file: TypeFile
) -> dict[str, float]:
    """Readings of one run by name: a channel id, or a derived quantity; inner units."""
    out: dict[str, float] = {}
    for channel in type_file.channel:
        means = [
            p.channels[channel.id].mean
            for p in usable
            if channel.id in p.channels and not p.channels[channel.id].findings
        ]
        if channel.role in STEADY_ROLES and means and len(means) == len(usable):
            out[channel.id] = sum(means) / len(means)
    for name in SINGLE:
        found = [r.value for r in contents.readings if r.quantity == name and _counts(r.value, r.findings)]
        if found:
            out[name] = sum(found) / len(found)
    return {name: x for name, x in out.items() if name in BY_DIFFERENCE or x > 0.0}


def _counts(value: float, findings: Sequence[str]) -> bool:
    return math.isfinite(value) and not findings


def scaled(name: str, reading: float) -> float:
    """A reading on the scale on which it is compared."""
    return reading if name in BY_DIFFERENCE else math.log(reading)


def fleet_of(readings: Mapping[str, Sequence[Mapping[str, float]]]) -> dict[str, FleetReading]:
    """Middle and scatter of every reading over engines; `readings` by engine, one mapping a run."""
    by_name: dict[str, list[float]] = {}
    for runs in readings.values():
        for name in sorted({n for r in runs for n in r}):
            own = [scaled(name, r[name]) for r in runs if name in r]
            by_name.setdefault(name, []).append(sum(own) / len(own))
    return {n: _fleet(n, x) for n, x in sorted(by_name.items()) if len(x) >= LEAST_ENGINES}


def _fleet(name: str, values: list[float]) -> FleetReading:
    """Median, and standard deviation with what is far out drawn in to three robust standard deviations."""
    middle = median(values)
    far = _FAR * _MAD * median(abs(x - middle) for x in values)
    scatter = stdev(min(max(x, middle - far), middle + far) for x in values)
    floor = _LEAST_SCATTER * (abs(middle) if name in BY_DIFFERENCE else 1.0)
    return FleetReading(middle, max(scatter, floor, 1e-12), len(values))


def reading_name(name: str, type_file: TypeFile) -> str:
    """A reading's name for people."""
    known = next((c.name for c in type_file.channel if c.id == name), None)
    return known or SINGLE.get(name, name.replace("_", " "))


def reading_unit(name: str, type_file: TypeFile) -> str:
    """Inner unit of a reading."""
    from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES

    dimension = next((c.dimension for c in type_file.channel if c.id == name), None)
    return INNER_UNIT[dimension or DERIVED_QUANTITIES[name]]


def fleet_to_dict(fleet: Mapping[str, FleetReading]) -> dict[str, Any]:
    """Plain numbers, ready for JSON."""
    return {name: asdict(f) for name, f in fleet.items()}


def fleet_from_dict(given: Any) -> dict[str, FleetReading]:
    """Read what `fleet_to_dict` wrote.

    Raises
    ------
    InputError
        It is something else, or holds a number that cannot be.
    """
    try:
        out = {
            str(n): FleetReading(float(f["middle"]), float(f["scatter"]), int(f["engines"]))
            for n, f in given.items()
        }
        if not all(math.isfinite(f.middle) and 0.0 < f.scatter < math.inf for f in out.values()):
            raise ValueError("a scatter is not above nought")
    except (AttributeError, LookupError, TypeError, ValueError) as error:
        raise InputError(
            f"the fleet's readings cannot be read ({error}).", mend="Calibrate again from recorded runs."
        ) from error
    return out
