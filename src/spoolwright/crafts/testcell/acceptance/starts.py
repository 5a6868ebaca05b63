"""When a start was begun, when fuel came on, when it lit, when it reached idle: as the document has it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.crossing import Crossing, first_crossing
from spoolwright.core.reduction.segments import Stretch
from spoolwright.core.reduction.trace import running_mean
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.typefile.definition import StartDefinition
from spoolwright.crafts.typefile.model import Role
from spoolwright.units import difference_to_inner, to_inner

FloatArray = NDArray[np.float64]

_BEFORE = 60.0
"""How long before the rotor turns a starter, ignition or fuel may have come on for this start [s]."""
_LASTING = 0.25
"""A reading back sooner has not crossed: a spike [s]."""
_UNIFORM = 1.0 / math.sqrt(12.0)

CLOCKS: dict[str, tuple[tuple[Role, ...], str]] = {
    "starter_on": (("starter",), "starter on"),
    "ignition_on": (("ignition",), "ignition on"),
    "fuel_on": (("fuel_mass_flow", "fuel_volume_flow"), "fuel on"),
}
"""What a start is timed from: the channels that tell it, and in words."""


@dataclass(frozen=True)
class Start:
    """An attempt to start. A moment that is not known is None; `unknown` says why, by moment."""

    stretch: Stretch
    number: int
    moments: dict[str, Crossing]
    unknown: dict[str, str]
    light_off: Crossing | None
    idle: Crossing | None
    motoring: float | None
    outcome: str

    def clock(self, definition: StartDefinition) -> Crossing | None:
        """The moment the document times a start from."""
        return self.moments.get(definition.clock_from)

    @property
    def begin(self) -> float:
        """The earliest sign of the start."""
        return min([self.stretch.from_s, *(m.time for m in self.moments.values())])


def starts_of(course: Course) -> list[Start]:
    """Every attempt to start in a run, in order."""
    return [_start(course, s, n) for n, s in enumerate(course.of_kind("start"), start=1)]


def _start(course: Course, stretch: Stretch, number: int) -> Start:
    data = course.data
    before = course.before(stretch)
    earliest = max(stretch.from_s - _BEFORE, before.from_s if before else -math.inf)
    moments: dict[str, Crossing] = {}
    unknown: dict[str, str] = {}
    for name in CLOCKS:
        found = _moment(data, name, earliest, stretch)
        if isinstance(found, Crossing):
            moments[name] = found
        else:
            unknown[name] = found
    lit, motoring = _light_off(data, stretch, moments, earliest)
    idle = _idle(data, stretch) if stretch.complete else None
    outcome = _outcome(stretch, lit, moments)
    return Start(stretch, number, moments, unknown, lit, idle, motoring, outcome)


def _outcome(stretch: Stretch, lit: Crossing | None, moments: dict[str, Crossing]) -> str:
    if stretch.complete:
        return "reached idle"
    if lit is not None:
        return "hung: lit, but did not reach idle"
    if moments and "fuel_on" not in moments and "ignition_on" not in moments:
        return "motoring: neither fuel nor ignition came on"
    return "false start: no light-off"


def _moment(data: RunData, name: str, earliest: float, stretch: Stretch) -> Crossing | str:
    """The moment something came on for a start, or why it is not known."""
    roles, words = CLOCKS[name]
    channel = next((c for r in roles if (c := data.of_role(r)) is not None), None)
    if channel is None:
        return f"'{words}' is not known: no channel of {' or '.join(roles)} was recorded"
    rows = data.rows(earliest, stretch.to_s)
    t, x = data.time[rows], data.values(channel)[rows]
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if t.size < 2:
        return f"'{words}' is not known: '{channel}' holds nothing there"
    on = x > _threshold(data, channel, x)
    edges = np.flatnonzero(on[1:] & ~on[:-1])
    if edges.size == 0:
        began = bool(on[0]) and not stretch.begun
        return f"'{words}' is not on record" + (": it was on before the recording began" if began else "")
    early = edges[t[edges] <= stretch.from_s + 1.0]
    i = int(early[-1]) if early.size and name != "fuel_on" else int(edges[0])
    interval = float(t[i + 1] - t[i])
    return Crossing(0.5 * float(t[i] + t[i + 1]), interval * _UNIFORM, interval, math.inf)


def _threshold(data: RunData, channel: str, x: FloatArray) -> float:
    """Above this a state is on, or fuel flows."""
    if data.channel(channel).dimension == "state":
        return 0.5
    return max(8.0 * data.noise(channel), 0.05 * float(x.max()))


def _light_off(
    data: RunData, stretch: Stretch, moments: dict[str, Crossing], earliest: float
) -> tuple[Crossing | None, float | None]:
    """First time MGT stands by the document's rise above its lowest motoring reading, after fuel came on."""
    definition, channel = data.type_file.definitions.start, data.of_role("measured_gas_temperature")
    if definition is None or channel is None:
        return None, None
    known = [m.time for m in moments.values()]
    begin = max(
        moments["fuel_on"].time - 1.0 if "fuel_on" in moments else min([stretch.from_s, *known]), earliest
    )
    rows = data.rows(begin, stretch.to_s)
    t, x = data.time[rows], data.values(channel)[rows]
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if t.size < 3:
        return None, None
    lowest = np.minimum.accumulate(running_mean(x, max(1, round(0.5 / data.step))))
    rise = difference_to_inner(definition.light_off_rise.value, definition.light_off_rise.unit)
    gain = sum(p.relative for p in data.channel(channel).uncertainty) * rise
    noise = data.noise(channel)
    lit = first_crossing(
        t, x - lowest, rise, noise=noise, level_uncertainty=math.hypot(gain, 0.5 * noise), lasting=_LASTING
    )
    at = None if lit is None else float(lowest[np.searchsorted(t, lit.time, side="right") - 1])
    return lit, at


def _idle(data: RunData, stretch: Stretch) -> Crossing | None:
    """First time speed comes within the document's band of idle speed."""
    definition, channel = data.type_file.definitions.start, data.of_role("gas_generator_speed")
    if definition is None or channel is None:
        return None
    band = definition.idle_within
    level = to_inner(definition.idle_speed.value, definition.idle_speed.unit)
    level -= difference_to_inner(band.value, band.unit)
    rows = data.rows(stretch.from_s - 1.0, stretch.to_s + 5.0)
    return first_crossing(
        data.time[rows],
        data.values(channel)[rows],
        level,
        noise=data.noise(channel),
        level_uncertainty=data.systematic_uncertainty(channel, level),
        lasting=_LASTING,
    )
