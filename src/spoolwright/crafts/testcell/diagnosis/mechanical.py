"""What readings beside the gas path say: weighed together with the causes, and of mechanical faults alone.

Which cause shows where, and how often, is common practice, no source: numbers of `SHOWS` and `MECHANICAL` are
judgements, kept together here so that a shop can see what is assumed. A reading can make a cause more
probable by a bounded factor only: in one engine of `STRAY` it is far out for a reason that nobody thought of.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from spoolwright.core.diagnosis.weighing import Explanation
from spoolwright.crafts.testcell.diagnosis.other_readings import FleetReading, scaled
from spoolwright.crafts.typefile.model import TypeFile

MARK = "common practice, no source"
"""How sure the tables below are."""
STRAY = 0.0005
"""Part of sound engines in which a reading is far out for another reason."""
_WIDE = 15.0
"""Half width of what is far out, in standard deviations of the fleet."""
_FARTHEST = 13.0
"""A reading farther out than this says as much as one that is so far out."""
MOST_SAID = 10.0
"""A reading of this table makes a cause in the gas path at most so many times more probable."""
_SHIFT = (1.0, 12.0)
"""Smallest and largest shift that a fault gives, in standard deviations of the fleet."""


@dataclass(frozen=True)
class Shows:
    """A reading that a cause shifts: a role or derived quantity, which way, and in what part of cases."""

    reading: str
    sign: int
    probability: float


@dataclass(frozen=True)
class Mechanical:
    """A fault that no gas path shows."""

    id: str
    text: str
    module: str
    prior: float
    shows: tuple[Shows, ...]


MECHANICAL = (
    Mechanical(
        "unbalance", "Gas generator rotor out of balance", "gas generator rotor", 0.02,
        (Shows("vibration", 1, 0.95),),
    ),
    Mechanical(
        "rotor_drag", "Rotor rubbing, or a bearing dragging", "gas generator rotor", 0.01,
        (
            Shows("coast_down_time", -1, 0.9), Shows("time_to_idle", 1, 0.6), Shows("start_peak_mgt", 1, 0.5),
            Shows("vibration", 1, 0.3),
        ),
    ),
    Mechanical(
        "oil_loss", "Oil lost past a seal", "oil system", 0.01, (Shows("oil_consumption", 1, 0.97),)
    ),
    Mechanical(
        "oil_pressure_high", "Oil pressure above that of the fleet", "oil system", 0.005,
        (Shows("oil_pressure", 1, 0.97),),
    ),
    Mechanical(
        "oil_pressure_low", "Oil pressure below that of the fleet", "oil system", 0.01,
        (Shows("oil_pressure", -1, 0.97),),
    ),
    Mechanical(
        "start_fuel", "Start fuel schedule off", "fuel control", 0.01,
        (Shows("start_peak_mgt", 1, 0.9), Shows("time_to_idle", -1, 0.7)),
    ),
)  # fmt: skip
"""Mechanical faults, each with its probability before the run."""

SHOWS: Mapping[str, tuple[Shows, ...]] = {
    "compressor_fouling": (Shows("acceleration_time", 1, 0.25), Shows("time_to_idle", 1, 0.25)),
    "compressor_erosion": (
        Shows("vibration", 1, 0.05),
        Shows("acceleration_time", 1, 0.25),
        Shows("time_to_idle", 1, 0.25),
    ),
    "compressor_clearance": (Shows("acceleration_time", 1, 0.25),),
    "vane_rigging": (Shows("acceleration_time", 1, 0.3),),
    "bleed_leak": (Shows("acceleration_time", 1, 0.4), Shows("time_to_idle", 1, 0.3)),
    "turbine_clearance": (Shows("time_to_idle", 1, 0.3), Shows("start_peak_mgt", 1, 0.3)),
    "turbine_erosion": (Shows("vibration", 1, 0.05), Shows("start_peak_mgt", 1, 0.3)),
    "combustor_efficiency": (Shows("time_to_light_off", 1, 0.3),),
    "power_turbine_efficiency": (Shows("vibration", 1, 0.05),),
    "gear_loss": (Shows("vibration", 1, 0.1),),
    "accessory_loss": (Shows("coast_down_time", -1, 0.4), Shows("time_to_idle", 1, 0.3)),
}
"""What causes in modules may show besides."""


@dataclass(frozen=True)
class Seen:
    """A reading against the fleet: how many standard deviations out, the farthest of how many alike."""

    name: str
    reading: float
    out: float
    fleet: FleetReading
    alike: int = 1


def seen_readings(
    others: Mapping[str, float], fleet: Mapping[str, FleetReading], type_file: TypeFile
) -> dict[str, Seen]:
    """Readings by role or derived quantity; of several channels of a role the farthest out speaks."""
    roles = {c.id: c.role for c in type_file.channel}
    groups: dict[str, list[Seen]] = {}
    for name, reading in others.items():
        if name in fleet:
            f = fleet[name]
            out = (scaled(name, reading) - f.middle) / (f.scatter * math.sqrt(1.0 + 1.0 / f.engines))
            groups.setdefault(roles.get(name, name), []).append(Seen(name, reading, out, f))
    return {
        key: replace(max(found, key=lambda s: abs(s.out)), alike=len(found)) for key, found in groups.items()
    }


def log_factor(seen: Seen, shows: Sequence[Shows]) -> float:
    """ln of the factor by which a reading makes causes that may shift it more probable against none."""
    up = 1.0 - math.prod(1.0 - s.probability for s in shows if s.sign > 0)
    down = (1.0 - up) * (1.0 - math.prod(1.0 - s.probability for s in shows if s.sign < 0))
    out = max(-_FARTHEST, min(seen.out, _FARTHEST))
    sound, above, below = _densities(round(out, 6), seen.alike, seen.fleet.engines - 1)
    return math.log(((1.0 - up - down) * sound + up * above + down * below) / sound)


def gas_factor(seen: Seen, shows: Sequence[Shows]) -> float:
    """`log_factor` for causes in the gas path alone: a judgement says no more than ten to one."""
    return min(log_factor(seen, shows), math.log(MOST_SAID))


@lru_cache(maxsize=4096)
def _densities(out: float, alike: int, freedom: int) -> tuple[float, float, float]:
    """Density of a reading when sound, when shifted up, when shifted down; the farthest of `alike` counts."""
    from scipy.stats import t

    within = float(t.cdf(abs(out), freedom) - t.cdf(-abs(out), freedom))
    usual = alike * within ** (alike - 1) * float(t.pdf(out, freedom))
    sound = (1.0 - STRAY) * usual + STRAY / (2.0 * _WIDE) * (abs(out) <= _WIDE) + 1e-12
    low, high = _SHIFT

    def shifted(x: float) -> float:
        return float(t.cdf(x - low, freedom) - t.cdf(x - high, freedom)) / (high - low) + 1e-12

    return sound, shifted(out), shifted(-out)


@dataclass(frozen=True)
class Joined:
    """Causes in the gas path and mechanical faults together.

    `explanations` are of the gas path, with what the other readings say of them; `mechanical` the
    probability of every mechanical fault; `healthy` that nothing is wrong at all.
    """

    explanations: tuple[Explanation, ...]
    mechanical: Mapping[str, float]
    healthy: float


def joined_weighing(explanations: Sequence[Explanation], seen: Mapping[str, Seen]) -> Joined:
    """Weigh explanations of the gas path once more, each with every mechanical fault and with none."""
    faults: list[Mechanical | None] = [None, *MECHANICAL]
    none = 1.0 - sum(m.prior for m in MECHANICAL)
    weights = [
        [
            e.probability * (none if m is None else m.prior) * math.exp(_log_factors(e.ids, m, seen))
            for m in faults
        ]
        for e in explanations
    ]
    total = sum(map(sum, weights))
    told = [replace(e, probability=sum(w) / total) for e, w in zip(explanations, weights, strict=True)]
    mechanical = {m.id: sum(w[i] for w in weights) / total for i, m in enumerate(faults) if m is not None}
    healthy = sum(w[0] for e, w in zip(explanations, weights, strict=True) if not e.causes) / total
    return Joined(tuple(sorted(told, key=lambda e: -e.probability)), mechanical, healthy)


def _log_factors(ids: Sequence[str], fault: Mechanical | None, seen: Mapping[str, Seen]) -> float:
    gas = [s for i in ids for s in SHOWS.get(i, ())]
    own = list(fault.shows if fault else ())
    total = 0.0
    for reading in dict.fromkeys(s.reading for s in (*gas, *own)):
        if reading in seen:
            by_gas = [s for s in gas if s.reading == reading]
            by_own = [s for s in own if s.reading == reading]
            total += (
                log_factor(seen[reading], [*by_gas, *by_own]) if by_own else gas_factor(seen[reading], by_gas)
            )
    return total
