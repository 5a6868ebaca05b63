"""Documented frequencies over speed, and where engine orders meet them, before and after a blend."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from spoolwright.crafts.typefile.shop.inspection import Airfoil


@dataclass(frozen=True)
class Crossing:
    """Where an engine order meets a mode in or beside the running range."""

    order: int
    cause: str
    speed_rpm: float


@dataclass(frozen=True)
class ModeLine:
    """A mode over speed through its documented frequencies.

    The square of a frequency rises with the square of the speed (exact where the mode's shape does not
    change); a mode that is documented at one speed is held level, which is told where it is shown.
    """

    name: str
    speeds_rpm: tuple[float, ...]
    before_hz: tuple[float, ...]
    after_hz: tuple[float, ...]
    crossings_before: tuple[Crossing, ...] = ()
    crossings_after: tuple[Crossing, ...] = ()

    @property
    def is_level(self) -> bool:
        """Whether it is documented at one speed only."""
        return len(set(self.speeds_rpm)) == 1

    def at(self, speed_rpm: float, *, after: bool) -> float:
        """Frequency at a speed [Hz]."""
        start, rise = law(self.speeds_rpm, self.after_hz if after else self.before_hz)
        return math.sqrt(max(start + rise * speed_rpm**2, 0.0))

    @property
    def nears(self) -> tuple[Crossing, ...]:
        """Orders that meet it after the blend and did not before."""
        had = {c.order for c in self.crossings_before}
        return tuple(c for c in self.crossings_after if c.order not in had)


def law(speeds_rpm: tuple[float, ...], frequencies_hz: tuple[float, ...]) -> tuple[float, float]:
    """Square of the frequency at rest [Hz²], and its rise with the square of the speed [Hz²/rpm²]."""
    if len(set(speeds_rpm)) == 1:
        return float(np.mean(np.square(frequencies_hz))), 0.0
    rise, start = np.polyfit(np.square(speeds_rpm), np.square(frequencies_hz), 1)
    return float(start), float(rise)


def mode_lines(airfoil: Airfoil, shifts: Mapping[int, float]) -> tuple[ModeLine, ...]:
    """The modes over speed; `shifts` is the share by which a blend moves each, by its place in the type."""
    groups: dict[tuple[str, int], list[int]] = {}
    for i, mode in enumerate(airfoil.mode):
        groups.setdefault((mode.kind, mode.number), []).append(i)
    return tuple(_line(airfoil, group, shifts) for group in groups.values())


def _line(airfoil: Airfoil, group: list[int], shifts: Mapping[int, float]) -> ModeLine:
    modes = [airfoil.mode[i] for i in group]
    speeds = tuple(m.speed_rpm for m in modes)
    before = tuple(m.frequency_hz for m in modes)
    after = tuple(m.frequency_hz * (1.0 + shifts.get(i, 0.0)) for i, m in zip(group, modes, strict=True))
    return ModeLine(
        modes[0].name,
        speeds,
        before,
        after,
        crossings(airfoil, law(speeds, before)),
        crossings(airfoil, law(speeds, after)),
    )


def crossings(airfoil: Airfoil, of: tuple[float, float]) -> tuple[Crossing, ...]:
    """Orders whose line meets a mode in the running range, or nearer to it than the kept margin."""
    start, rise = of
    low, high = airfoil.speed_rpm
    margin = airfoil.order_margin
    found = []
    for o in airfoil.engine_order:
        steep = (o.order / 60.0) ** 2 - rise
        if steep <= 0.0:
            continue  # the mode rises faster than the order: they do not meet
        speed = math.sqrt(start / steep)
        if low * (1.0 - margin) <= speed <= high * (1.0 + margin):
            found.append(Crossing(o.order, o.cause, speed))
    return tuple(found)
