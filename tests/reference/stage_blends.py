"""Stages with findings, and their best plan found by trying every choice; asks the judge, not the planner.

A plan is a set of damaged blades that go. It is allowed when everything that is left meets its limits, as it
is or after a blend, with the judge asked anew each time, and the blends' vectors together keep the allowance.
"""

from __future__ import annotations

import cmath
import math
import random
from dataclasses import replace
from itertools import combinations

from spoolwright.crafts.inspection.blend import taken_by
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import FindingRecorded, Proposed
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.inspection import (
    Airfoil,
    AirfoilSection,
    Damage,
    DamageLimit,
    InspectedPart,
    InspectionZone,
    OutlineKind,
)

SOURCE = Source(document="OM", paragraph="1")
SPAN = 60.0
DEPTHS = ("0.05", "0.2", "0.35", "0.5", "0.7", "0.94", "0.96", "1.4")
Found = tuple[int, float] | None
"""How few blades go and the least unbalance then [g·mm]; none: no plan is allowed."""


def stage_of(seed: int, blades: int = 12, damaged: int = 7) -> Stage:
    """A stage with limits, earlier blends and findings drawn at random."""
    rng = random.Random(seed)
    limits = (
        _line("stay", "as is", depth_max="0.1", zone=("le", "te")),
        _line(
            "blend_le", "blend", depth_after_max="1.0", length_to_depth_min="8", allowance="0.05",
            zone=("le",),
            blades_max=rng.choice((None, 2, 3, 5)), adjacent=rng.random() < 0.6, per_blade_max=2,
            spacing_min=rng.choice((None, "4")), remaining_chord_min=rng.choice((None, "18.5")),
        ),
        _line(
            "blend_te", "blend", depth_after_max="0.8", radius_min="4", allowance="0.05", zone=("te",),
            blades_max=rng.choice((None, 2, 4)), adjacent=rng.random() < 0.7,
        ),
    )  # fmt: skip
    stage = Stage(_part(blades, rng.choice((3.0, 6.0, 20.0))), limits)
    numbers = rng.sample(range(1, blades + 1), damaged)
    findings = [_nick(rng, n) for n in numbers]
    findings += [_nick(rng, n) for n in numbers if rng.random() < 0.25]
    blends = []
    for n in rng.sample(range(1, blades + 1), rng.choice((0, 0, 1, 2))):
        zone = rng.choice(("le", "te"))
        depth, position = Size(value="0.4", unit="mm"), Size(value=str(rng.choice((20, 40))), unit="mm")
        blends.append(Earlier(n, zone, depth.mm, position.mm, 8 * depth.mm))
    return replace(stage, findings=tuple(findings), blends=tuple(blends))


def _part(blades: int, allowed: float) -> InspectedPart:
    section = [AirfoilSection(at=a, chord_mm=20.0, thickness_mm=2.0, angle_deg=0.0) for a in (0.0, 1.0)]
    return InspectedPart(
        id="rotor", name="Rotor", module="compressor", part="rotor", outline=OutlineKind.BLADES, count=blades,
        view="looking aft", numbering="clockwise from the master mark", source=SOURCE,
        zone=(
            InspectionZone(id="le", name="Leading edge", side="leading edge"),
            InspectionZone(id="te", name="Trailing edge", side="trailing edge"),
        ),
        airfoil=Airfoil(
            span_mm=SPAN, root_radius_mm=80.0, section=tuple(section), density=4430.0, elastic_modulus=114e9,
            shear_modulus=44e9, speed_rpm=(20000.0, 40000.0), unbalance_g_mm=allowed, source=SOURCE,
        ),
    )  # fmt: skip


def _line(name: str, allows: str, **values: object) -> DamageLimit:
    raw = {"id": name, "part": "rotor", "damage": (Damage.NICK,), "allows": allows, "source": SOURCE}
    return DamageLimit.model_validate({**raw, **{k: v for k, v in values.items() if v is not None}})


def _nick(rng: random.Random, blade: int) -> FindingRecorded:
    return FindingRecorded(
        part="rotor", blade=blade, zone=rng.choice(("le", "te")), damage=Damage.NICK,
        depth=Size(value=rng.choice(DEPTHS), unit="mm"), length=Size(value="1.0", unit="mm"),
        position=Size(value=f"{rng.uniform(8, SPAN - 8):.1f}", unit="mm"),
    )  # fmt: skip


def left_of(stage: Stage, gone: frozenset[int]) -> Stage:
    """The stage with sound blades where some went."""
    return replace(
        stage,
        findings=tuple(f for f in stage.findings if f.blade not in gone),
        blends=tuple(b for b in stage.blends if b.blade not in gone),
    )


def unbalance_of(stage: Stage) -> float | None:
    """Unbalance of every blend that the judge asks for [g·mm]; none: something left is outside limits."""
    lines = {x.id: x for x in stage.limits}
    total = 0j
    for finding, told in zip(stage.findings, judge_stage(stage), strict=True):
        if told is None or told.proposed not in (Proposed.AS_IS, Proposed.BLEND):
            return None
        if told.proposed is Proposed.BLEND:
            taken = taken_by(finding, lines[told.limit], stage)
            assert taken is not None and finding.blade is not None
            angle = 2.0 * math.pi * (finding.blade - 1) / stage.part.count
            total -= taken.unbalance_g_mm * cmath.exp(1j * angle)
    return abs(total)


def best_by_trying(stage: Stage) -> Found:
    """The fewest blades that must go, and the least unbalance with as many."""
    assert stage.part.airfoil is not None and stage.part.airfoil.unbalance_g_mm is not None
    allowed = stage.part.airfoil.unbalance_g_mm * (1.0 + 1e-9)
    damaged = sorted(
        {f.blade for f, told in zip(stage.findings, judge_stage(stage), strict=True)
         if f.blade is not None and told is not None and told.proposed is not Proposed.AS_IS}
    )  # fmt: skip
    for many in range(len(damaged) + 1):
        left = [unbalance_of(left_of(stage, frozenset(gone))) for gone in combinations(damaged, many)]
        kept = [u for u in left if u is not None and u <= allowed]
        if kept:
            return many, min(kept)
    return None
