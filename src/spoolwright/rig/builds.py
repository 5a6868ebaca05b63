"""Builds of simulated engines: findings drawn at random, what they truly do, and what is told of them.

Each shop has its own truth: the coefficients of the physical rules drawn once from the rules' stated
distribution. A build draws its findings, measures most of them with the errors of gauges and flow rigs, and
leaves the others to scatter as builds do. What no finding explains of the rig's build scatter is drawn anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.diagnosis.forecast.build import FACTORS, factors_of, root_of
from spoolwright.core.diagnosis.forecast.findings import Finding
from spoolwright.core.diagnosis.forecast.published import USUAL_SPREAD
from spoolwright.core.diagnosis.forecast.rules import Key, RuleBook
from spoolwright.rig.draws import stream
from spoolwright.rig.module_faults import LEAK_SCATTER, SCATTER, VANE_SCATTER

FloatArray = NDArray[np.float64]

STAGES: Final = {"compressor": 3, "gas_generator_turbine": 2, "power_turbine": 2}


@dataclass(frozen=True)
class Part:
    """A part that may be found off its nominal.

    Parameters
    ----------
    name, cause, module, stage : as a `Finding`
    told : probability that it is measured
    mean, spread, least : of the excess when it is: normal, cut at `least` [unit of the kind]
    gauge, relative : standard uncertainty of the measurement, absolute and of the excess [unit, -]
    """

    name: str
    cause: str
    module: str
    stage: int
    told: float
    mean: float
    spread: float
    least: float
    gauge: float
    relative: float = 0.0

    @property
    def share(self) -> float:
        """Part of the module's work."""
        return 1.0 / STAGES[self.module] if self.stage else 1.0


def _parts() -> tuple[Part, ...]:
    out = []
    for module, count in STAGES.items():
        for s in range(1, count + 1):
            out.append(Part(f"clearance_{module}_{s}", "clearance", module, s, 0.85, 0.35, 0.45, -0.8, 0.08))
    for module in ("gas_generator_turbine", "power_turbine"):
        out.append(Part(f"nozzle_{module}", "nozzle_area", module, 0, 0.9, 0.0, 1.0, -3.0, 0.25))
    for s in range(1, STAGES["compressor"] + 1):
        out.append(Part(f"blend_{s}", "blend", "compressor", s, 0.4, 0.6, 0.5, 0.0, 0.05, 0.1))
        out.append(Part(f"roughness_{s}", "friction", "compressor", s, 0.3, 8.0, 6.0, 0.0, 1.0, 0.25))
    out += [
        Part("surface", "fouling", "compressor", 0, 0.7, 0.5, 0.7, 0.0, 0.25),
        Part("seal_rear", "seal", "", 0, 0.7, 25.0, 25.0, -20.0, 6.0),
        Part("leak_valve", "leak", "", 0, 0.3, 0.3, 0.3, 0.0, 0.05),
        Part("vanes", "vanes", "compressor", 0, 0.7, 0.0, 0.8, -4.0, 0.2),
        Part("gear_drag", "gear_drag", "", 0, 0.4, 3.0, 8.0, -30.0, 2.0),
        Part("accessory_drag", "accessory_drag", "", 0, 0.4, 3.0, 8.0, -30.0, 2.0),
    ]
    return tuple(out)


PARTS: Final = _parts()
"""Parts of the Corrie 940 that a rig build may have off nominal."""


@dataclass(frozen=True)
class Shop:
    """A shop's own truth: the coefficient of every rule at every stage."""

    coefficients: Mapping[Key, float]


@dataclass(frozen=True)
class RigBuild:
    """A build of the rig.

    Parameters
    ----------
    findings : what is told: measured excess with its uncertainty
    true_excess : what the parts truly are, told or not
    factors : condition of the modules, findings and scatter together
    """

    findings: tuple[Finding, ...]
    true_excess: Mapping[str, float]
    factors: ConditionFactors


def _keys(rules: RuleBook) -> list[Key]:
    return list(dict.fromkeys((r.name, p.stage) for p in PARTS for r in rules.of(p.cause, p.module)))


def drawn_shop(rules: RuleBook, seed: int) -> Shop:
    """A shop, its coefficients drawn from the rules' stated distribution."""
    prior = rules.prior(_keys(rules))
    z = stream(seed, "shop").standard_normal(len(prior.keys))
    values = prior.mean + root_of(prior.covariance) @ z
    return Shop(dict(zip(prior.keys, (float(v) for v in values), strict=True)))


def drawn_build(rules: RuleBook, shop: Shop, seed: int) -> RigBuild:
    """A build of a shop."""
    findings, true = [], {}
    generator = stream(seed, "findings")
    for p in PARTS:
        excess, finding = _drawn_part(p, generator)
        true[p.name] = excess
        if finding is not None:
            findings.append(finding)
    change = np.zeros(len(FACTORS))
    for p in PARTS:
        for r in rules.of(p.cause, p.module):
            unit = 1.0 if r.factor == "vane_offset" else 0.01
            size = shop.coefficients[r.name, p.stage] * unit * p.share * true[p.name]
            change[FACTORS.index(r.factor)] += size
    change += _rest(rules, stream(seed, "scatter"))
    return RigBuild(tuple(findings), true, factors_of(change))


def _drawn_part(p: Part, generator: Generator) -> tuple[float, Finding | None]:
    told = generator.random() < p.told
    z, error = generator.standard_normal(2)
    if not told:
        return USUAL_SPREAD[p.cause] * float(z), None
    excess = max(p.mean + p.spread * float(z), p.least)
    u = float(np.hypot(p.gauge, p.relative * excess))
    return excess, Finding(p.name, p.cause, p.module, p.stage, excess + u * float(error), u, p.share)


def _rest(rules: RuleBook, generator: Generator) -> FloatArray:
    """Build scatter that no part of `PARTS` brings: with what usual parts bring it makes the rig's own."""
    total = np.array([SCATTER.get(f, 0.0) for f in FACTORS])
    total[FACTORS.index("vane_offset")] = VANE_SCATTER
    leak = FACTORS.index("leak")
    total[leak] = LEAK_SCATTER
    explained = np.zeros(len(FACTORS))
    for p in PARTS:
        for r in rules.of(p.cause, p.module):
            unit = 1.0 if r.factor == "vane_offset" else 0.01
            size = r.mean**2 + r.standard_deviation**2
            explained[FACTORS.index(r.factor)] += (unit * p.share * USUAL_SPREAD[p.cause]) ** 2 * size
    rest = np.sqrt(np.maximum(total**2 - explained, 0.0))
    z = generator.standard_normal(len(FACTORS))
    z[leak] = generator.standard_exponential()
    return np.asarray(rest * z)
