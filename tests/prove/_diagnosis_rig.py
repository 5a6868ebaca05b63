"""Blind runs for the diagnosis: what is planted in which run, and the run as the bench records it.

Every set of runs has seeds of its own, so that no engine or day occurs twice. Sizes of faults are told in
the unit that `core.diagnosis.causes` states for the cause. For most that is one per cent of the module's main
figure; where it is not, the unit is one that moves the engine by about as much: a degree of the vanes is
worth about a per cent of compressor flow, a tenth of the combustor's pressure loss about half a per cent of
pressure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from _rig_points import HoldReader

from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.diagnosis.causes import Cause, module_causes
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.diagnosis.observe import SEEN_ROLES, observation
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES, reduction_basis
from spoolwright.rig.draws import stream
from spoolwright.rig.module_faults import LEAK_SCATTER, SCATTER, VANE_SCATTER, with_faults
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.sensor_faults import SensorFault
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.units import unit_of

SIZES = (0.7, 1.0, 1.5, 3.0, 4.0)
"""Fault sizes at which causes are counted [unit of the cause]."""
PAIR_SIZES = (0.7, 4.0)
"""Between these a module cause of a pair is drawn [unit of the cause]."""
BIASES = (4.0, 15.0)
"""Between these a wrong reading is drawn [stated standard uncertainties]."""
SENSOR_SETS: dict[str, tuple[str, ...]] = {"full": (), "without T3": ("t3",)}
"""Sensor sets, with the channels that each lacks."""
ENGINES_A_CHUNK = 30
RUNS_AN_ENGINE = 3
RIG: dict[str, tuple[str, float]] = {
    "compressor_fouling": ("compressor_fouling", 1.0),
    "compressor_erosion": ("compressor_erosion", 1.0),
    "compressor_clearance": ("compressor_tip_clearance", 1.0),
    "vane_rigging": ("vane_rigging", 1.0),
    "bleed_leak": ("bleed_leak", 1.0),
    "combustor_efficiency": ("combustor_efficiency", 1.0),
    "combustor_loss": ("combustor_loss", 10.0),
    "turbine_clearance": ("turbine_tip_clearance", 1.0),
    "turbine_erosion": ("turbine_erosion", 1.0),
    "turbine_nozzle_area": ("gas_generator_nozzle_area", 1.0),
    "power_turbine_efficiency": ("power_turbine_efficiency", 1.0),
    "power_turbine_nozzle_area": ("power_turbine_area", 1.0),
    "exhaust_back_pressure": ("exhaust_back_pressure", 1.0),
    "gear_loss": ("gear_loss", 1.0),
    "accessory_loss": ("accessory_loss", 1.0),
}
"""Cause to the rig's fault, and the rig's size of a size of 1 of the cause."""

SEEDS = {"history": 731_000_000, "soak": 732_000_000, "healthy": 733_000_000, "drawn": 734_000_000,
          "sensor": 735_000_000, "pair": 736_000_000} | {
    f"size {s:g}": 740_000_000 + 1_000_000 * i for i, s in enumerate(SIZES)
}  # fmt: skip
"""Drawn when the diagnosis was done, for the figures alone: its constants were chosen while looking at runs
of other seeds, these less 700 millions."""


@dataclass(frozen=True)
class Planted:
    """What is wrong in a run: ids of causes with signed sizes [unit of the cause].

    A wrong reading's size is told in stated standard uncertainties.
    """

    sizes: Mapping[str, float]

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of the causes, in order."""
        return tuple(sorted(self.sizes))


@dataclass(frozen=True)
class BlindRun:
    """One run as it reaches the contestants, by sensor set, and what only the scorer knows."""

    planted: Planted
    shape: int
    seen: Mapping[str, Observation]


@lru_cache(maxsize=1)
def bench() -> Bench:
    """The bench of the shipped type; one a process."""
    return Bench()


class Bench:
    """The type, its rig and its reader."""

    def __init__(self) -> None:
        loaded = load_type(shipped_type())
        self.type, self.engine = loaded.type_file, loaded.engine
        self.basis = reduction_basis(self.type, self.engine)
        self.reader = HoldReader(self.type, (*REDUCTION_ROLES, *SEEN_ROLES))
        self.causes = module_causes(self.engine)
        self.names = {c.id: c.name for c in self.type.channel}
        first = next(self.made(0, 1, SEEDS["soak"] - 1, {}, 1)).seen["full"]
        stated = np.sqrt(np.sum(first.errors[~first.random] ** 2, axis=0)).mean(axis=1)
        self.units = {c: float(u) for c, u in zip(first.channels, stated, strict=True) if c in self.names}

    def history(self, chunk: int) -> list[list[BlindRun]]:
        """Healthy accepted runs, by engine."""
        seed = SEEDS["history"] + 1000 * chunk
        runs = list(self.made(0, ENGINES_A_CHUNK * RUNS_AN_ENGINE, seed, {}, RUNS_AN_ENGINE))
        return [runs[i : i + RUNS_AN_ENGINE] for i in range(0, len(runs), RUNS_AN_ENGINE)]

    def runs(self, name: str, first: int, count: int) -> Iterator[BlindRun]:
        """Runs number first and after of a set."""
        planted = {i: self.planted(name, first + i) for i in range(count)}
        return self.made(first, count, SEEDS[name], planted, 1)

    def planted(self, name: str, number: int) -> Planted:
        """What is wrong in a run of a set."""
        g = stream(SEEDS[name] + number, "planted")
        if name in ("history", "soak", "healthy"):
            return Planted({})
        if name == "sensor":
            return Planted(self._reading(g))
        if name == "pair":
            return Planted(self._pair(g))
        cause = self.causes[g.integers(len(self.causes))]
        size = g.uniform(*cause.sizes) if name == "drawn" else float(name.split()[1])
        return Planted({cause.id: size * g.choice(cause.signs)})

    def _reading(self, g: np.random.Generator) -> dict[str, float]:
        channel = str(g.choice(list(self.units)))
        return {f"reading:{channel}": g.uniform(*BIASES) * g.choice((1.0, -1.0))}

    def _pair(self, g: np.random.Generator) -> dict[str, float]:
        """Any two module causes, or a module cause and a wrong reading, all alike probable."""
        n, m = len(self.causes), len(self.units)
        within = n * (n - 1) // 2
        both = g.random() < within / (within + n * m)
        chosen = [self.causes[i] for i in g.choice(n, 2 if both else 1, replace=False)]
        found = {c.id: g.uniform(*PAIR_SIZES) * g.choice(c.signs) for c in chosen}
        return found if both else found | self._reading(g)

    def made(
        self, first: int, count: int, seed: int, planted: Mapping[int, Planted], each: int
    ) -> Iterator[BlindRun]:
        """Runs number first and after from a seed; what `planted` does not name is healthy."""

        def of(i: int) -> Planted:
            return planted.get(i, Planted({}))

        options = QuickOptions(
            faults=lambda i: self._rig_faults(of(i)),
            sensor_faults=lambda i: self._rig_bias(of(i)),
            runs_per_engine=each,
        )
        for i, run in enumerate(quick_runs(self.type, self.engine, count, seed + first, options)):
            points = self.reader.points(run)
            seen = {
                name: observation([_without(p, lacking) for p in points], run.sheet, self.basis)
                for name, lacking in SENSOR_SETS.items()
            }
            yield BlindRun(of(i), run.truth.day.engine.shape, seen)

    def _rig_faults(self, planted: Planted) -> dict[str, float]:
        known = ((RIG[c], s) for c, s in planted.sizes.items() if c in RIG)
        return {fault: scale * size for (fault, scale), size in known}

    def _rig_bias(self, planted: Planted) -> list[SensorFault]:
        out = []
        for cause, size in planted.sizes.items():
            if cause.startswith("reading:"):
                channel = next(c for c in self.type.channel if c.id == cause.removeprefix("reading:"))
                value = size * self.units[channel.id] / unit_of(channel.unit, channel.dimension).factor
                out.append(SensorFault("bias", channel.id, repr(float(value))))
        return out

    def in_build_scatter(self, cause: Cause) -> float:
        """A size of 1 in units of build scatter: root of the sum of squares over the factors it moves."""
        name, scale = RIG[cause.id]
        moved = with_faults(HEALTHY, {name: scale}, self.engine)
        scatter = SCATTER | {"leak": LEAK_SCATTER, "vane_offset": VANE_SCATTER}
        return math.hypot(*((getattr(moved, f) - getattr(HEALTHY, f)) / s for f, s in scatter.items()))


def _without(point: PointData, lacking: Sequence[str]) -> PointData:
    if not lacking:
        return point
    return replace(point, channels={c: m for c, m in point.channels.items() if c not in lacking})
