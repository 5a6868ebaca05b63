"""Faults of the data that can be planted in a recording, each as a person would describe it.

Written in one line as `KIND:CHANNEL=VALUE@FROM-TO`, times in seconds from the start of the recording. What is
not needed is left out: `bias:mgt=8`, `stuck:torque@1800`, `swapped:ng=np`, `unit:barometer=psia`,
`backward_time=5@900`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.constants import GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.typefile.model import Channel, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import unit_of

FloatArray = NDArray[np.float64]

KINDS: dict[str, str] = {
    "bias": "reads VALUE too much (channel's unit) from FROM on",
    "drift": "runs away by VALUE an hour (channel's unit) from FROM on",
    "stuck": "keeps the value it has at FROM, until TO",
    "spikes": "single samples off by VALUE (channel's unit), about one in 20 s",
    "saturated": "reads no more than VALUE (channel's unit)",
    "unit": "written in unit VALUE under its own label; VALUE may be percent, altitude_m or altitude_ft too",
    "swapped": "wired in place of channel VALUE and the other way round",
    "gap": "nothing recorded from FROM to TO; without a channel the whole logger stood still",
    "repeated_time": "time stamps stand still from FROM to TO",
    "backward_time": "the logger's clock is set back by VALUE seconds at FROM",
    "missing": "the channel was not recorded",
    "label": "the column stands under a name (VALUE) that nobody knows",
}
"""Kinds of fault and what they do."""

_OF_THE_LOGGER = ("gap", "repeated_time", "backward_time")
_NEEDS_VALUE = ("bias", "drift", "spikes", "saturated", "unit", "swapped", "backward_time")
_SIZED = ("bias", "drift", "spikes", "saturated", "backward_time")
_FORM = re.compile(
    r"(?P<kind>[a-z_]+)(:(?P<channel>\w+))?(=(?P<value>[^@]+))?(@(?P<from>[\d.]+)(-(?P<to>[\d.]+))?)?"
)
_LAPSE = 0.0065
_AIR = 287.05287
_SPIKE_INTERVAL = 20.0


@dataclass(frozen=True)
class SensorFault:
    """One fault of the data; see KINDS. `to_s` is infinite when the fault stays."""

    kind: str
    channel: str = ""
    value: str = ""
    from_s: float = 0.0
    to_s: float = float("inf")

    def number(self) -> float:
        """The value as a number, where the kind calls for one."""
        found = _number(self.value)
        if found is None:
            raise InputError(
                f"'{self.value}' is not a number.", mend=f"Give {self.kind} a number.", where=str(self)
            )
        return found

    def __str__(self) -> str:
        channel = f":{self.channel}" if self.channel else ""
        value = f"={self.value}" if self.value else ""
        until = f"-{self.to_s:g}" if np.isfinite(self.to_s) else ""
        when = f"@{self.from_s:g}{until}" if self.from_s or until else ""
        return f"{self.kind}{channel}{value}{when}"


def _number(text: str) -> float | None:
    """A finite number; None for anything else."""
    try:
        found = float(text)
    except ValueError:
        return None
    return found if math.isfinite(found) else None


def sensor_fault(text: str, known: TypeFile) -> SensorFault:
    """The fault that a line names.

    Raises
    ------
    InputError
        When the line has another form, or names a kind or channel that is not there.
    """
    found = _FORM.fullmatch(text.strip())
    times = [] if found is None else [_number(found[k]) for k in ("from", "to") if found[k]]
    if found is None or found["kind"] not in KINDS or None in times:
        raise InputError(
            f"'{text}' is no fault of the data.",
            mend=f"Write KIND:CHANNEL=VALUE@FROM-TO, KIND one of {', '.join(KINDS)}.",
        )
    fault = SensorFault(
        kind=found["kind"],
        channel=found["channel"] or "",
        value=(found["value"] or "").strip(),
        from_s=float(found["from"] or 0.0),
        to_s=float(found["to"] or "inf"),
    )
    _check(fault, {c.id for c in known.channel})
    return fault


def _check(fault: SensorFault, channels: set[str]) -> None:
    named = [fault.channel] if fault.channel else []
    named += [fault.value] if fault.kind == "swapped" and fault.value else []
    for name in named:
        if name not in channels:
            raise InputError(
                f"channel '{name}' is not in the type file.",
                mend=f"Use one of: {', '.join(sorted(channels))}.",
                where=str(fault),
            )
    if not fault.channel and fault.kind not in _OF_THE_LOGGER:
        raise InputError(f"{fault.kind} names no channel.", mend="Write KIND:CHANNEL.", where=str(fault))
    if not fault.value and fault.kind in _NEEDS_VALUE:
        raise InputError(f"{fault.kind} has no value.", mend="Write KIND:CHANNEL=VALUE.", where=str(fault))
    if fault.kind in _SIZED:
        fault.number()
    if not fault.to_s > fault.from_s:
        told = f"it ends at {fault.to_s:g} s, before it begins at {fault.from_s:g} s."
        raise InputError(told, mend="Write @FROM-TO in seconds, FROM the smaller.", where=str(fault))


def pressure_altitude(pressure: FloatArray) -> FloatArray:
    """Geopotential altitude at which the standard atmosphere has this pressure [m] (ISO 2533, to 11 km)."""
    exponent = _AIR * _LAPSE / GRAVITY
    return np.asarray(STANDARD_TEMPERATURE / _LAPSE * (1.0 - (pressure / STANDARD_PRESSURE) ** exponent))


def planted(
    recording: Recording, faults: Sequence[SensorFault], known: TypeFile, generator: Generator
) -> Recording:
    """The recording as it looks with these faults in the data system, in the order given."""
    for fault in faults:
        if fault.kind in _OF_THE_LOGGER and not (fault.kind == "gap" and fault.channel):
            recording = _LOGGER[fault.kind](recording, fault)
        elif fault.channel in recording.series:
            recording = _on_channel(recording, fault, known, generator)
    return recording


def _on_channel(recording: Recording, fault: SensorFault, known: TypeFile, generator: Generator) -> Recording:
    series = dict(recording.series)
    if fault.kind == "missing":
        del series[fault.channel]
    elif fault.kind == "label":
        taken = series.pop(fault.channel)
        name = fault.value or f"ch_{len(series) + 1:02d}"
        series[name] = replace(taken, channel=name, entered_name=name)
    elif fault.kind == "swapped":
        one, other = series[fault.channel], series[fault.value]
        series[fault.channel] = replace(one, values=other.values)
        series[fault.value] = replace(other, values=one.values)
    else:
        channel = next(c for c in known.channel if c.id == fault.channel)
        rows = (recording.time >= fault.from_s) & (recording.time <= fault.to_s)
        one = series[fault.channel]
        changed = _VALUES[fault.kind](fault, channel, one, recording.time, rows, generator)
        series[fault.channel] = replace(one, values=np.where(rows, changed, one.values))
    return replace(recording, series=series)


_Change = Callable[[SensorFault, Channel, Series, FloatArray, NDArray[np.bool_], Generator], FloatArray]


def _size(fault: SensorFault, channel: Channel) -> float:
    return fault.number() * unit_of(channel.unit, channel.dimension).factor


def _bias(fault: SensorFault, channel: Channel, one: Series, time: FloatArray, *_: object) -> FloatArray:
    return one.values + _size(fault, channel)


def _drift(fault: SensorFault, channel: Channel, one: Series, time: FloatArray, *_: object) -> FloatArray:
    return one.values + _size(fault, channel) * (time - fault.from_s) / 3600.0


def _stuck(
    fault: SensorFault, channel: Channel, one: Series, time: FloatArray, rows: NDArray[np.bool_], _: object
) -> FloatArray:
    first = int(np.argmax(rows)) if rows.any() else 0
    return np.full_like(one.values, one.values[first])


def _spikes(
    fault: SensorFault,
    channel: Channel,
    one: Series,
    time: FloatArray,
    rows: NDArray[np.bool_],
    generator: Generator,
) -> FloatArray:
    step = float(np.median(np.diff(time)))
    hit = generator.random(time.size) < step / _SPIKE_INTERVAL
    sign = generator.choice((-1.0, 1.0), time.size)
    return np.asarray(one.values + hit * sign * _size(fault, channel))


def _saturated(fault: SensorFault, channel: Channel, one: Series, *_: object) -> FloatArray:
    unit = unit_of(channel.unit, channel.dimension)
    return np.asarray(np.minimum(one.values, fault.number() * unit.factor + unit.offset))


def _unit(fault: SensorFault, channel: Channel, one: Series, *_: object) -> FloatArray:
    """Numbers as the wrong unit gives them, read as the unit that the label states."""
    label = unit_of(one.entered_unit or channel.unit, channel.dimension)
    if fault.value == "percent":
        full = (channel.full_scale or channel.range[1]) * unit_of(channel.unit, channel.dimension).factor
        written = one.values / full * 100.0
    elif fault.value in ("altitude_m", "altitude_ft"):
        written = pressure_altitude(one.values) / (0.3048 if fault.value == "altitude_ft" else 1.0)
    else:
        wrong = unit_of(fault.value, channel.dimension)
        written = (one.values - wrong.offset) / wrong.factor
    return np.asarray(written * label.factor + label.offset)


def _no_value(fault: SensorFault, channel: Channel, one: Series, *_: object) -> FloatArray:
    return np.full_like(one.values, np.nan)


_VALUES: dict[str, _Change] = {
    "bias": _bias, "drift": _drift, "stuck": _stuck, "spikes": _spikes,
    "saturated": _saturated, "unit": _unit, "gap": _no_value,
}  # fmt: skip


def _logger_stood_still(recording: Recording, fault: SensorFault) -> Recording:
    keep = (recording.time < fault.from_s) | (recording.time > fault.to_s)
    series = {k: replace(s, values=s.values[keep]) for k, s in recording.series.items()}
    return replace(recording, time=recording.time[keep], series=series)


def _time_stood_still(recording: Recording, fault: SensorFault) -> Recording:
    time = recording.time
    inside = (time >= fault.from_s) & (time <= fault.to_s)
    return replace(recording, time=np.where(inside, fault.from_s, time)) if inside.any() else recording


def _clock_set_back(recording: Recording, fault: SensorFault) -> Recording:
    back = np.where(recording.time >= fault.from_s, fault.number(), 0.0)
    return replace(recording, time=np.asarray(recording.time - back))


_LOGGER: dict[str, Callable[[Recording, SensorFault], Recording]] = {
    "gap": _logger_stood_still, "repeated_time": _time_stood_still, "backward_time": _clock_set_back,
}  # fmt: skip
