"""The course of a run: which stretches it has, found with the scales of its type."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.segments import SegmentRules, Stretch, find_stretches
from spoolwright.core.reduction.trace import Trace, even_trace
from spoolwright.crafts.testcell.model import Segment
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run.traced_speed import traced_speed
from spoolwright.crafts.typefile.model import Amount, Rating, Role, TypeFile
from spoolwright.units import difference_to_inner, to_inner

FloatArray = NDArray[np.float64]

_USUAL_IDLE = 0.68
"""Idle over full speed where the type file tells none: parts a run, times nothing."""
_USUAL_BAND = 0.015
"""Half width of the idle band over full speed where the type file tells none."""
_TRACED: dict[str, tuple[Role, ...]] = {
    "torque": ("torque", "dynamometer_torque"),
    "fuel_flow": ("fuel_mass_flow", "fuel_volume_flow"),
}
"""What the finding of stretches reads beside speed, and from which channels, the first that was recorded."""


@dataclass(frozen=True)
class Course:
    """A run with its stretches in order of time; `note` tells what is odd about the speed they rest on."""

    data: RunData
    rules: SegmentRules
    trace: Trace
    stretches: tuple[Stretch, ...]
    note: str = ""

    def of_kind(self, *kinds: str) -> list[Stretch]:
        """Stretches of these kinds."""
        return [s for s in self.stretches if s.kind in kinds]

    def before(self, stretch: Stretch) -> Stretch | None:
        """The stretch before one."""
        i = self.stretches.index(stretch)
        return self.stretches[i - 1] if i else None

    def after(self, stretch: Stretch) -> Stretch | None:
        """The stretch after one."""
        i = self.stretches.index(stretch)
        return self.stretches[i + 1] if i + 1 < len(self.stretches) else None

    @cached_property
    def powered(self) -> list[Stretch]:
        """Stretches in which the engine runs by itself."""
        return self.of_kind("idle", "hold", "transient", "acceleration", "deceleration")

    @cached_property
    def shut_downs(self) -> list[Stretch]:
        """Falls from power: the shut-down where fuel off is seen, else the coast-down itself."""
        return [
            s
            for s in self.of_kind("shut_down", "coast_down")
            if (before := self.before(s)) is not None and before in self.powered
        ]

    def segments(self) -> tuple[Segment, ...]:
        """The stretches as they stand in the result."""
        run = self.data.run
        return tuple(Segment(run=run, kind=s.kind, from_s=s.from_s, to_s=s.to_s) for s in self.stretches)


def course_of(data: RunData) -> Course:
    """Find what happened in a run."""
    rules = segment_rules(data.type_file)
    speed = traced_speed(data, rules.full_speed)
    channels = {} if speed is None else {"gas_generator_speed": speed.values}
    for name, roles in _TRACED.items():
        found = next((c for r in roles if (c := data.of_role(r)) is not None), None)
        if found is not None:
            channels[name] = data.values(found)
    trace = even_trace(data.time, channels)
    note = "" if speed is None else speed.note
    return Course(data, rules, trace, tuple(find_stretches(trace, rules)), note)


def segment_rules(type_file: TypeFile) -> SegmentRules:
    """Scales of a type: full speed and torque of its ratings, idle of its definitions."""
    full = max(_inner(r.gas_generator_speed) for r in type_file.rating)
    start = type_file.definitions.start
    return SegmentRules(
        full_speed=full,
        idle_speed=_idle_speed(type_file, full),
        idle_within=_difference(start.idle_within) if start else _USUAL_BAND * full,
        full_torque=max(rated_torque(r) for r in type_file.rating),
    )


def _idle_speed(type_file: TypeFile, full: float) -> float:
    if type_file.definitions.start is not None:
        return _inner(type_file.definitions.start.idle_speed)
    if type_file.data_sheet.idle_gas_generator_speed is not None:
        return _inner(type_file.data_sheet.idle_gas_generator_speed)
    named = next((r for r in type_file.rating if "idle" in r.id), None)
    return _inner(named.gas_generator_speed) if named else _USUAL_IDLE * full


def rated_torque(rating: Rating) -> float:
    """Torque of a rating: as stated, else power over speed [N m]."""
    if rating.torque is not None:
        return _inner(rating.torque)
    speed = _inner(rating.power_turbine_speed) * math.pi / 30.0
    return _inner(rating.power) / speed if speed > 0.0 else 0.0


def _inner(amount: Amount) -> float:
    return to_inner(amount.value, amount.unit)


def _difference(amount: Amount) -> float:
    return difference_to_inner(amount.value, amount.unit)
