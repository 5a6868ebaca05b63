"""Discrete mistakes of a channel: another unit than its label says, gauge for absolute, a pair swapped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.gas.atmosphere import standard_pressure
from spoolwright.core.measurement.recording import Series
from spoolwright.core.reduction.doubt.readings import Alternative
from spoolwright.crafts.typefile.lookup import percent_to_inner
from spoolwright.crafts.typefile.model import Channel
from spoolwright.units import Unit, unit_of

FloatArray = NDArray[np.float64]

_UNITS: dict[str, tuple[str, ...]] = {
    "temperature": ("degC", "degF", "K", "degR"),
    "pressure": ("kPa", "hPa", "bar", "psia", "inHg", "mmHg"),
    "gauge pressure": ("kPag", "psig", "barg"),
    "speed": ("rpm", "Hz"),
    "torque": ("N m", "lbf ft", "daN m", "lbf in"),
    "mass flow": ("kg/h", "lb/h", "g/s", "kg/min"),
    "volume flow": ("L/h", "US gal/h", "imp gal/h", "L/min"),
    "velocity": ("m/s", "kt", "km/h"),
    "ratio": ("%", "1"),
    "volume": ("L", "US qt"),
}
"""Units that the trade writes for a dimension: one of these stands for the other in a wrong label."""
_VIBRATION = ("mm/s", "in/s")
_ALTITUDES = {"altitude_m": 1.0, "altitude_ft": 0.3048}
_UNLABELLED, _OPEN = 20.0, 5.0
"""How much likelier a wrong unit is where the file gave none, or one that leaves gauge or absolute open."""
_FRACTION = 20.0
"""A fraction for a percentage is the commonest of all."""
_SWAP, _REVERSED, _GROUP, _GAUGE, _VOLUME = 0.5, 0.3, 2.0, 0.7, 0.5
"""Weights of other mistakes against one wrong unit of one channel."""
_NEAR = {"temperature": 0.35, "angle": np.inf}
_LIKE = 0.45
"""A mistake is considered where it brings the reading to within this share of what it should be."""


@dataclass(frozen=True)
class Subject:
    """A channel with its series and its readings at the levels."""

    channel: Channel
    series: Series
    means: FloatArray

    @property
    def label(self) -> Unit:
        """The unit the numbers were read in; % of full scale where the label says so."""
        text = self.series.entered_unit or self.channel.unit
        if text.strip() in ("%", "percent") and self.channel.dimension != "ratio":
            return Unit("%", self.channel.dimension, percent_to_inner(self.channel, 1.0))
        return unit_of(text, self.channel.dimension)

    def written(self, inner: FloatArray) -> FloatArray:
        """The numbers as they stand in the file."""
        label = self.label
        return (inner - label.offset) / label.factor


@dataclass(frozen=True)
class Mistake:
    """What an `Alternative` means, for words and for mending.

    `unit` is what a signed `unit_is` names; empty where another correction mends it. `amount` goes with
    `add` or `multiply`, in the channel's own unit.
    """

    kind: str
    channels: tuple[str, ...]
    label: str = ""
    unit: str = ""
    correction: str = "unit_is"
    amount: float = 0.0

    def to_sign(self) -> str:
        """The correction that a person would sign if the mistake is confirmed."""
        each = "for each of them " if len(self.channels) > 1 else ""
        tail = f'unit = "{self.unit}"' if self.correction == "unit_is" else f"amount = {self.amount:.6g}"
        return f'If it is so, sign {each}channel = "{self.channels[0]}", kind = "{self.correction}", {tail}.'


@dataclass(frozen=True)
class Suspicion:
    """A mistake with the readings it would have hidden."""

    mistake: Mistake
    alternative: Alternative


def unit_mistakes(subject: Subject, ambient_pressure: float, density: float) -> list[Suspicion]:
    """Every unit in which a channel's numbers could have been written instead of the label's."""
    out = [_scaled(subject, unit) for unit in _other_units(subject)]
    dimension = subject.channel.dimension
    if dimension in ("pressure", "gauge pressure"):
        out += _gauge(subject, ambient_pressure)
    if dimension == "pressure":
        out += [_altitude(subject, name) for name in _ALTITUDES]
    if dimension in ("mass flow", "volume flow"):
        out.append(_mass_for_volume(subject, density))
    if dimension in ("speed", "torque") and subject.channel.full_scale and subject.label.name != "%":
        full = percent_to_inner(subject.channel, 1.0)
        out.append(_scaled(subject, Unit("%", dimension, full)))
    return [s for s in out if np.any(np.isfinite(s.alternative.values[subject.channel.id]))]


def _other_units(subject: Subject) -> list[Unit]:
    dimension, label = subject.channel.dimension, subject.label
    names = _VIBRATION if subject.channel.role == "vibration" else _UNITS.get(dimension, ())
    units = [unit_of(name, dimension) for name in names]
    return [u for u in units if (u.factor, u.offset) != (label.factor, label.offset)]


def _weight(subject: Subject) -> float:
    if subject.series.unit_source == "type file":
        return _UNLABELLED
    if subject.channel.dimension == "ratio":
        return _FRACTION
    plain = subject.series.entered_unit.strip().lower() in ("psi", "kpa", "bar", "mbar", "hpa")
    return _OPEN if plain and subject.channel.dimension == "gauge pressure" else 1.0


def _scaled(subject: Subject, unit: Unit) -> Suspicion:
    label = subject.label
    values = subject.written(subject.means) * unit.factor + unit.offset
    slope = np.full(values.size, np.log(unit.factor / label.factor))
    mistake = Mistake("wrong_unit", (subject.channel.id,), label.name, unit.name)
    return _suspicion(subject, mistake, values, slope, _weight(subject))


def _gauge(subject: Subject, ambient: float) -> list[Suspicion]:
    """Gauge read as absolute or the other way round, in the label's unit or in psi."""
    sign = 1.0 if subject.channel.dimension == "pressure" else -1.0
    other = "gauge" if sign > 0 else "absolute"
    out = []
    for name in dict.fromkeys((subject.label.name, "psi")):
        unit = unit_of(name, subject.channel.dimension)
        values = subject.written(subject.means) * unit.factor + sign * ambient
        slope = np.full(values.size, np.log(unit.factor / subject.label.factor))
        own = unit_of(subject.channel.unit, subject.channel.dimension).factor
        mistake = Mistake("wrong_unit", (subject.channel.id,), subject.label.name, f"{name} {other}", "add",
                          sign * ambient / own)  # fmt: skip
        out.append(_suspicion(subject, mistake, values, slope, _GAUGE * _weight(subject)))
    return out


def _altitude(subject: Subject, name: str) -> Suspicion:
    """A pressure altitude in the column of a pressure."""
    height = subject.written(subject.means) * _ALTITUDES[name]
    good = (height > -1000.0) & (height < 9000.0)
    values = np.where(good, np.asarray(standard_pressure(np.where(good, height, 0.0))), np.nan)
    beside = np.asarray(standard_pressure(np.where(good, height, 0.0) + 1.0))
    per = np.abs(beside - np.nan_to_num(values, nan=1.0)) * _ALTITUDES[name] / subject.label.factor
    with np.errstate(divide="ignore"):
        slope = np.where(good, np.log(per), 0.0)
    mistake = Mistake("wrong_unit", (subject.channel.id,), subject.label.name, name)
    return _suspicion(subject, mistake, values, slope, 1.0)


def _mass_for_volume(subject: Subject, density: float) -> Suspicion:
    """Litres for kilograms, or the other way round."""
    mass = subject.channel.dimension == "mass flow"
    times = density * 1e-3 if mass else 1e3 / density
    values = subject.means * times
    label, other = ("kg/h", "L/h") if mass else ("L/h", "kg/h")
    mistake = Mistake("wrong_unit", (subject.channel.id,), label, other, "multiply", times)
    return _suspicion(
        subject, mistake, values, np.full(values.size, np.log(times)), _VOLUME * _weight(subject)
    )


def _suspicion(
    subject: Subject, mistake: Mistake, values: FloatArray, slope: FloatArray, weight: float
) -> Suspicion:
    name = f"{mistake.kind} {'+'.join(mistake.channels)} {mistake.unit}"
    channel = subject.channel.id
    return Suspicion(mistake, Alternative(name, {channel: values}, {channel: slope}, weight))


def swaps(subjects: Sequence[Subject]) -> list[Suspicion]:
    """Every pair of channels of one dimension, each with the other's readings."""
    out = []
    for a, b in combinations(subjects, 2):
        if a.channel.dimension != b.channel.dimension or _probes(a, b):
            continue
        one, two = a.channel.id, b.channel.id
        zero = np.zeros(a.means.size)
        mistake = Mistake("swapped", (one, two), correction="swap_with")
        alternative = Alternative(
            f"swapped {one}+{two}", {one: b.means, two: a.means}, {one: zero, two: zero}, _SWAP
        )
        out.append(Suspicion(mistake, alternative))
    return out


def _probes(a: Subject, b: Subject) -> bool:
    """Two probes of one harness are alike: nothing could tell them apart."""
    return a.channel.role == b.channel.role == "other"


def reversed_thermocouple(subject: Subject, junction: FloatArray) -> Suspicion:
    """Wires of a thermocouple the wrong way round: it reads as far below its junction as it should above."""
    values = 2.0 * junction - subject.means
    mistake = Mistake("bias", (subject.channel.id,), correction="leave_out")
    return _suspicion(subject, mistake, values, np.zeros(values.size), _REVERSED)


def whole_dimension(suspicions: Sequence[Suspicion], subjects: Sequence[Subject]) -> list[Suspicion]:
    """The same wrong unit in every channel of a dimension: two torques agree in a wrong unit too."""
    by_unit: dict[tuple[str, str], list[Suspicion]] = {}
    dimension = {s.channel.id: s.channel.dimension for s in subjects}
    for s in suspicions:
        if s.mistake.kind == "wrong_unit" and s.mistake.correction == "unit_is":
            by_unit.setdefault((dimension[s.mistake.channels[0]], s.mistake.unit), []).append(s)
    out = []
    for (_, unit), members in by_unit.items():
        channels = tuple(m.mistake.channels[0] for m in members)
        if len(channels) < 2 or unit.startswith("altitude"):
            continue
        values = {c: m.alternative.values[c] for c, m in zip(channels, members, strict=True)}
        slopes = {c: m.alternative.log_slope[c] for c, m in zip(channels, members, strict=True)}
        mistake = Mistake("wrong_unit", channels, members[0].mistake.label, unit)
        name = f"wrong_unit {'+'.join(channels)} {unit}"
        out.append(Suspicion(mistake, Alternative(name, values, slopes, _GROUP)))
    return out
