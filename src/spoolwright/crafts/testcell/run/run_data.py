"""One run as the rest of the craft reads it: channels by what they mean, rows in forward order, errors."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.point import Systematic
from spoolwright.core.reduction.trace import forward_rows
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.reading import Share
from spoolwright.crafts.testcell.run.signed import apply_corrections, corrected_channels
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.model import Channel, Limit, Role, TypeFile
from spoolwright.units import Unit, unit_of

FloatArray = NDArray[np.float64]

_ABSURD = 1e30


@dataclass(frozen=True)
class RunData:
    """A run: what was recorded, what people signed, what its type file says of it.

    `recording` holds the signed corrections, `as_recorded` does not. `first_block` is the block in force when
    the recording begins. `findings` are doubts about the data; those that bar use and are not signed away go
    with every reading they touch.
    """

    type_file: TypeFile
    sheet: RunSheet
    recording: Recording
    as_recorded: Recording
    findings: tuple[Finding, ...] = ()
    first_block: int = 0

    @property
    def run(self) -> str:
        """Number of the run within the visit."""
        return self.sheet.run

    @cached_property
    def _forward(self) -> NDArray[np.intp] | None:
        rows = forward_rows(self.recording.time)
        return None if rows.all() else np.flatnonzero(rows)

    @cached_property
    def time(self) -> FloatArray:
        """Time stamps of the rows in forward order [s]."""
        return self._ordered(self.recording.time)

    @cached_property
    def step(self) -> float:
        """Usual interval between rows [s]; 1 s where there are fewer than two."""
        return float(np.median(np.diff(self.time))) if self.time.size > 1 else 1.0

    def _ordered(self, values: FloatArray) -> FloatArray:
        return values if self._forward is None else values[self._forward]

    @cached_property
    def _kept(self) -> dict[tuple[bool, str], FloatArray]:
        """Channels already looked at; views of the recording wherever it is tidy."""
        return {}

    def _known(self, name: str, *, as_recorded: bool) -> FloatArray:
        """Values in forward order; what no instrument can give, in any unit, stands as not known."""
        key = (as_recorded, name)
        if key not in self._kept:
            self._kept[key] = self._looked_at((self.as_recorded if as_recorded else self.recording)[name])
        return self._kept[key]

    def _looked_at(self, values: FloatArray) -> FloatArray:
        ordered = self._ordered(values)
        absurd = np.abs(ordered) > _ABSURD
        return np.where(absurd, np.nan, ordered) if absurd.any() else ordered

    @cached_property
    def _channels(self) -> dict[str, Channel]:
        return {c.id: c for c in self.type_file.channel}

    def channel(self, name: str) -> Channel:
        """The channel with this id."""
        return self._channels[name]

    def knows(self, name: str) -> bool:
        """Whether this is a channel of the type that the run recorded at all."""
        return name in self._channels and name in self.recording.series

    def of_role(self, role: Role) -> str | None:
        """Id of the recorded channel of a role."""
        return next((c.id for c in self.type_file.channel if c.role == role and self.knows(c.id)), None)

    def all_of_role(self, role: Role) -> list[str]:
        """Ids of all recorded channels of a role."""
        return [c.id for c in self.type_file.channel if c.role == role and self.knows(c.id)]

    def values(self, name: str) -> FloatArray:
        """Values of a recorded channel in forward order, signed corrections applied [inner]."""
        return self._known(name, as_recorded=False)

    def values_as_recorded(self, name: str) -> FloatArray:
        """Values of a recorded channel in forward order, as recorded [inner]."""
        return self._known(name, as_recorded=True)

    @cached_property
    def corrected(self) -> frozenset[str]:
        """Channels that a signed correction changed."""
        return corrected_channels(self.sheet.correction)

    @cached_property
    def _units(self) -> dict[str, Unit]:
        return {c.id: unit_of(c.unit, c.dimension) for c in self.type_file.channel}

    def unit(self, name: str) -> Unit:
        """The unit in which the type file states a channel's figures."""
        return self._units[name]

    def noise(self, name: str) -> float:
        """Usual standard deviation of a single reading [inner]."""
        return self.channel(name).noise * self.unit(name).factor

    def systematic(self, name: str, reading: float) -> tuple[Systematic, ...]:
        """Systematic parts of a channel's error at a reading; relative parts are of the channel's unit."""
        unit = self.unit(name)
        out = []
        for part in self.channel(name).uncertainty:
            gain = f"{part.source}, gain" if part.source in self._of_both_kinds else part.source
            for source, size in (
                (part.source, part.absolute * unit.factor),
                (gain, part.relative * (reading - unit.offset)),
            ):
                if size != 0.0 and math.isfinite(size):
                    freedom = math.inf if part.degrees_of_freedom is None else part.degrees_of_freedom
                    out.append(Systematic(source, size, freedom, part.distribution))
        return tuple(out)

    @cached_property
    def _of_both_kinds(self) -> frozenset[str]:
        """Sources that give offsets and gains: two errors that know nothing of each other."""
        parts = [part for c in self.type_file.channel for part in c.uncertainty]
        offsets = {part.source for part in parts if part.absolute}
        return frozenset(offsets & {part.source for part in parts if part.relative})

    def systematic_uncertainty(self, name: str, reading: float) -> float:
        """Standard uncertainty of a channel from all its systematic parts [inner]."""
        return math.sqrt(sum(s.uncertainty**2 for s in self.systematic(name, reading)))

    def shares(self, name: str, reading: float) -> tuple[Share, ...]:
        """Systematic parts as shares of a reading's uncertainty."""
        return tuple(Share(s.source, abs(s.uncertainty)) for s in self.systematic(name, reading))

    def doubts(
        self, channels: Iterable[str], from_s: float, to_s: float, *, found_by_speed: bool = True
    ) -> tuple[str, ...]:
        """Ids of unsigned findings that bar the use of any of these channels within a time.

        A finding that names no channel is about the clock and bars them all. So does a gas generator speed
        that stands still for whatever was found by it: holds, idles, starts.
        """
        names = set(channels)
        speed = self.of_role("gas_generator_speed") if found_by_speed else None
        return tuple(
            f.id
            for f in self.findings
            if f.bars_use
            and not f.corrected_by
            and (not f.channels or names & set(f.channels) or (f.kind == "stuck" and speed in f.channels))
            and (f.from_s is None or f.from_s <= to_s)
            and (f.to_s is None or f.to_s >= from_s)
        )

    @cached_property
    def limits(self) -> tuple[Limit, ...]:
        """Limits of the set that the approved work picked."""
        return tuple(x for x in self.type_file.limit if self.sheet.limit_set in x.sets)

    @cached_property
    def adjusted_at(self) -> tuple[float, ...]:
        """Moments of adjustment, in order [s]."""
        return tuple(sorted(a.at_s for a in self.sheet.adjustment))

    def block_at(self, time: float) -> int:
        """Block in force at a moment: an adjustment raises it."""
        return self.first_block + sum(a <= time for a in self.adjusted_at)

    @property
    def last_block(self) -> int:
        """Block in force after the run."""
        return self.first_block + len(self.adjusted_at)

    def level(self, name: str, from_s: float, to_s: float) -> float:
        """Plain mean of a channel over a time; NaN where nothing was recorded [inner]."""
        part = self.values(name)[self.rows(from_s, to_s)]
        part = part[np.isfinite(part)]
        return float(part.mean()) if part.size else math.nan

    def rows(self, from_s: float, to_s: float) -> slice:
        """Rows within a time, both ends included."""
        low, high = np.searchsorted(self.time, [from_s, to_s + 1e-9], side="left")
        return slice(int(low), int(high))


def run_data(
    type_file: TypeFile,
    sheet: RunSheet,
    recording: Recording,
    *,
    findings: Sequence[Finding] = (),
    first_block: int = 0,
) -> RunData:
    """Put a run together: the recording as it was, and the same with the sheet's signed corrections."""
    corrected = apply_corrections(recording, sheet.correction, type_file)
    return RunData(type_file, sheet, corrected, recording, tuple(findings), first_block)
