"""A recording's channels as the doubts look at them: what is known of each, what it reads at the levels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.doubt.levels import Bins, Level, bin_means, binned, steady_levels
from spoolwright.core.reduction.doubt.prediction import ROLES
from spoolwright.core.reduction.doubt.priors import SETTLED_S
from spoolwright.core.reduction.doubt.readings import Readings, Sensor
from spoolwright.core.reduction.doubt.signs import ChannelRules
from spoolwright.core.reduction.trace import forward_rows
from spoolwright.crafts.testcell.performance.basis import inner
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.channel import FULL_TURN
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.crafts.typefile.model import Channel, Rating, TypeFile
from spoolwright.units import to_inner, unit_of

FloatArray = NDArray[np.float64]

_VOTERS = (
    "gas_generator_speed", "power_turbine_speed", "torque", "dynamometer_torque", "fuel_mass_flow",
    "measured_gas_temperature", "compressor_discharge_temperature", "compressor_discharge_pressure",
    "interturbine_pressure", "fuel_volume_flow",
)  # fmt: skip
"""Readings of the gas path by whose majority rest is told from motion."""
_DIGITAL = ("ignition", "starter", "chip_detector")
_STILL = ("topping", "idle", "governor", "start_fuel", "oil_leak", "oil_pressure")
"""Kinds of adjustment that leave the gas path as it is."""
_SAME_SPEED = 0.03
_FEWEST_ROWS = 5


@dataclass(frozen=True)
class Look:
    """One recording with its type and sheet, put in order for looking at it."""

    recording: Recording
    sheet: RunSheet
    type_file: TypeFile

    @cached_property
    def channels(self) -> dict[str, Channel]:
        """Channels of the type that the recording holds, by id."""
        return {c.id: c for c in self.type_file.channel if c.id in self.recording.series}

    @cached_property
    def forward(self) -> NDArray[np.bool_]:
        """The most rows in forward order."""
        return forward_rows(self.recording.time)

    @cached_property
    def _order(self) -> slice | NDArray[np.intp]:
        return slice(None) if self.forward.all() else np.flatnonzero(self.forward)

    @cached_property
    def time(self) -> FloatArray:
        """Stamps in forward order [s]."""
        return self.recording.time[self._order]

    @cached_property
    def step(self) -> float:
        """Usual interval between rows [s]."""
        return float(np.median(np.diff(self.time))) if self.time.size > 1 else 1.0

    def values(self, channel: str) -> FloatArray:
        """Recorded values in forward order [inner]."""
        return self.recording[channel][self._order]

    @cached_property
    def main(self) -> Rating:
        """The rating to which the type's model is scaled."""
        return rating_named(self.type_file, self.type_file.data_sheet.rating)

    @cached_property
    def _full(self) -> dict[str, float]:
        power, speed = inner(self.main.power), inner(self.main.power_turbine_speed)
        torque = power / (speed * np.pi / 30.0)
        return {
            "gas_generator_speed": inner(self.main.gas_generator_speed),
            "power_turbine_speed": speed,
            "torque": torque,
            "dynamometer_torque": torque,
            "fuel_mass_flow": power * inner(self.main.specific_fuel_consumption),
        }

    @cached_property
    def bins(self) -> Bins:
        """The run as means over short bins of the voting readings."""
        voters = self.voters
        columns = [self.values(c.id) for c in voters]
        return binned(self.time, columns, [self._full.get(c.role, np.nan) for c in voters])

    def binned(self, channel: str) -> FloatArray:
        """Means of any channel over the same bins [inner]."""
        return bin_means(self.values(channel), self.bins.edges)

    @cached_property
    def voters(self) -> list[Channel]:
        """Readings of the gas path that have a say in what is rest and what is motion."""
        return [c for c in self.channels.values() if c.role in _VOTERS]

    @cached_property
    def levels(self) -> list[Level]:
        """Stretches in which most readings stand still."""
        if self.time.size < 2 or not self.voters:
            return []
        return steady_levels(self.time, self.bins, [self.noise(c) for c in self.voters])

    @cached_property
    def resting(self) -> NDArray[np.bool_]:
        """Rows of the recording at which the engine stands still."""
        out = np.zeros(self.recording.rows, dtype=bool)
        if self.time.size < 2 or not self.voters:
            return out
        rows = np.flatnonzero(self.forward)
        edges = self.bins.edges
        if edges.size < 2:
            return out
        out[rows[: edges[-1]]] = np.repeat(self.bins.resting, np.diff(edges))
        out[rows[edges[-1] :]] = bool(self.bins.resting[-1])
        return out

    def factor(self, channel: Channel) -> float:
        """Inner units for one of the channel's own."""
        return unit_of(channel.unit, channel.dimension).factor

    def inner(self, channel: Channel, value: float) -> float:
        """A value in the channel's own unit, in inner units."""
        unit = unit_of(channel.unit, channel.dimension)
        return value * unit.factor + unit.offset

    def noise(self, channel: Channel) -> float:
        """Usual standard deviation of a sample [inner]."""
        return channel.noise * self.factor(channel)

    def rules(self, channel: Channel) -> ChannelRules:
        """What is known of a channel's rows."""
        return ChannelRules(
            range=(self.inner(channel, channel.range[0]), self.inner(channel, channel.range[1])),
            plausible=self.plausible(channel),
            noise=self.noise(channel),
            digital=channel.dimension == "state" or channel.role in _DIGITAL,
            turn=FULL_TURN if channel.turns else 0.0,
        )

    def plausible(self, channel: Channel) -> tuple[float, float]:
        """Window outside which no engine of the type can be [inner]."""
        return self.inner(channel, channel.plausible[0]), self.inner(channel, channel.plausible[1])

    def level_values(self, channel: str) -> tuple[FloatArray, FloatArray]:
        """Middle value at every level and the standard uncertainty that scatter leaves it [inner]."""
        x, known = self.values(channel), self.channels[channel]
        middle, random = np.full((2, len(self.levels)), np.nan)
        for k, level in enumerate(self.levels):
            rows = x[level.first : level.last]
            rows = rows[np.isfinite(rows)]
            if rows.size >= _FEWEST_ROWS:
                middle[k] = np.median(rows)
                seen = 1.4826 * float(np.median(np.abs(rows - middle[k])))
                worth = min(max((level.to_s - level.from_s) / SETTLED_S, 1.0), rows.size)
                random[k] = max(self.noise(known), seen) / np.sqrt(worth)
        return middle, random

    @cached_property
    def blocks(self) -> NDArray[np.intp]:
        """Rises at every adjustment that may change the gas path, for every level."""
        moments = sorted(a.at_s for a in self.sheet.adjustment if a.kind not in _STILL)
        return np.searchsorted(np.array(moments), [level.middle for level in self.levels]).astype(np.intp)


def sensors(look: Look) -> list[tuple[Channel, Sensor]]:
    """Channels that the model or another channel can predict, in the order of the type file."""
    out = []
    for channel in look.channels.values():
        role = _role(look, channel)
        if role in ROLES:
            out.append((channel, _sensor(look, channel, role)))
    return out


def _role(look: Look, channel: Channel) -> str:
    """The role; of a channel without one, what its place makes it: a probe of the harness."""
    if channel.role != "other" or channel.dimension != "temperature" or not channel.station:
        return channel.role
    harness = next((c for c in look.type_file.channel if c.role == "measured_gas_temperature"), None)
    return "probe" if harness is not None and harness.station == channel.station else channel.role


def _sensor(look: Look, channel: Channel, role: str) -> Sensor:
    factor = look.factor(channel)
    return Sensor(
        channel=channel.id,
        role=role,
        absolute=tuple((p.source, p.absolute * factor) for p in channel.uncertainty if p.absolute),
        relative=tuple((p.source, p.relative) for p in channel.uncertainty if p.relative),
        zero=unit_of(channel.unit, channel.dimension).offset,
        plausible=look.plausible(channel),
    )


def readings(look: Look, barred: Mapping[str, Sequence[tuple[float, float]]]) -> Readings:
    """Means of the sensors at the levels; those within a barred time are left out."""
    chosen = sensors(look)
    means = np.full((len(chosen), len(look.levels)), np.nan)
    random = means.copy()
    for n, (channel, _) in enumerate(chosen):
        means[n], random[n] = look.level_values(channel.id)
        for from_s, to_s in barred.get(channel.id, ()):
            hit = [level.from_s <= to_s and level.to_s >= from_s for level in look.levels]
            means[n, np.array(hit, dtype=bool)] = np.nan
    found = [sensor for _, sensor in chosen]
    second = _second_speeds(look, dict(zip((s.role for s in found), means, strict=True)))
    return Readings(
        sensors=(*found, *[s for s, _, _ in second]),
        means=np.concatenate([means, *[m[None] for _, m, _ in second]]),
        random=np.concatenate([random, *[r[None] for _, _, r in second]]),
        time=np.array([level.middle for level in look.levels]),
        resting=np.array([level.resting for level in look.levels], dtype=bool),
        block=look.blocks,
    )


def _second_speeds(
    look: Look, means: Mapping[str, FloatArray]
) -> list[tuple[Sensor, FloatArray, FloatArray]]:
    """Further speed channels that read the output shaft, directly or ahead of the gear."""
    own = means.get("power_turbine_speed")
    if own is None:
        return []
    shaft = look.type_file.data_sheet.power_turbine_shaft_speed
    gear = to_inner(shaft.value, shaft.unit) / inner(look.main.power_turbine_speed) if shaft else 1.0
    out = []
    for channel in look.channels.values():
        if channel.role != "other" or channel.dimension != "speed":
            continue
        middle, random = look.level_values(channel.id)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratios = middle / own
        ratio = float(np.median(ratios[np.isfinite(ratios)])) if np.isfinite(ratios).any() else 0.0
        for known in (1.0, gear):
            if abs(ratio / known - 1.0) < _SAME_SPEED:
                sensor = _sensor(look, channel, "power_turbine_speed")
                out.append((sensor, middle / known, random / known))
                break
    return out
