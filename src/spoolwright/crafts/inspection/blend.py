"""What a blend does: stress, first modes, mass, balance, blade area. Advisory beside the limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from spoolwright.core.blade.beam import SLENDER, bending_frequencies, torsion_frequencies
from spoolwright.core.blade.notch import (
    FatigueFactor,
    arc_radius,
    critical_length,
    fatigue_factor,
    peterson_length,
    stress_concentration,
)
from spoolwright.core.blade.removed import segment_area
from spoolwright.core.planning.stage import DamagedBlade, StageLimits, StagePlan, stage_plan
from spoolwright.crafts.inspection.airfoil import Cut, beam_of, removed, slenderness, stations
from spoolwright.crafts.inspection.cut import BlendSize, smallest_blend
from spoolwright.crafts.inspection.model import FindingRecorded, Proposed
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Stage
from spoolwright.crafts.typefile.shop.inspection import Airfoil, DamageLimit, NaturalMode

NICK_RADII_MM = (0.05, 0.25)
"""A nick's root radius is hardly ever measured; taken between these. Common practice, no source."""


@dataclass(frozen=True)
class Crossing:
    """Where an engine order meets a mode in the running range."""

    order: int
    cause: str
    speed_rpm: float


@dataclass(frozen=True)
class ModeAfter:
    """A documented mode and what a blend shifts it by."""

    mode: NaturalMode
    shift: float
    before_hz: float
    after_hz: float
    crossings_before: tuple[Crossing, ...]
    crossings_after: tuple[Crossing, ...]

    @property
    def nears(self) -> tuple[Crossing, ...]:
        """Orders that come within the kept margin by the blend and were outside it before."""
        had = {c.order for c in self.crossings_before}
        return tuple(c for c in self.crossings_after if c.order not in had)


@dataclass(frozen=True)
class BlendEffect:
    """What the smallest blend of a finding does to its blade."""

    size: BlendSize
    nick: tuple[float, float]
    """Stress concentration of the damage as it is, for a blunt and a sharp root."""
    stress: float
    fatigue: FatigueFactor | None
    """Fatigue factors after the blend, where the material is known to the two models."""
    modes: tuple[ModeAfter, ...]
    modes_referred: str
    """Why no shift is given; empty where it is."""
    mass_g: float
    unbalance_g_mm: float
    area_mm2: float
    area_share: float
    """Of the row's blade area: what a forecast takes as blended."""


@dataclass(frozen=True)
class StageBlends:
    """The plan of a stage: which blades to blend, which to replace, what balance is left."""

    plan: StagePlan
    effects: tuple[tuple[FindingRecorded, BlendEffect], ...]
    replaced_for: tuple[tuple[int, str], ...]
    """Blades to replace, and why in words."""


def blend_effect(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> BlendEffect | None:
    """What the smallest blend that the line allows does; None without an airfoil, depth or place."""
    airfoil, size = stage.part.airfoil, smallest_blend(finding, line, stage)
    if airfoil is None or size is None or finding.position is None or finding.depth is None:
        return None
    cut = cut_of(finding, size, stage)
    depth, length = float(size.total) * 1e-3, float(size.length) * 1e-3
    mass, moment = removed(airfoil, [cut])
    found = float(finding.depth.mm)
    area = segment_area(length, depth)
    low, high = (stress_concentration(found, r) for r in reversed(NICK_RADII_MM))
    return BlendEffect(
        size=size,
        nick=(low, high),
        stress=stress_concentration(depth, arc_radius(length, depth)),
        fatigue=_fatigue(airfoil, depth, length),
        modes=_modes(airfoil, cut),
        modes_referred=_referred(airfoil),
        mass_g=1e3 * mass,
        unbalance_g_mm=1e6 * moment,
        area_mm2=1e6 * area,
        area_share=area / row_area(airfoil, stage.part.count),
    )


def cut_of(finding: FindingRecorded, size: BlendSize, stage: Stage) -> Cut:
    """The blend as a cut into the blade's edge."""
    assert finding.position is not None
    leading = stage.side(finding.zone) != "trailing edge"
    return Cut(
        leading, float(finding.position.mm) * 1e-3, float(size.length) * 1e-3, float(size.total) * 1e-3
    )


def row_area(airfoil: Airfoil, count: int) -> float:
    """Blade area of a row, seen on the chord [m²]."""
    from spoolwright.crafts.inspection.airfoil import shape_at

    chords = [shape_at(airfoil, i / 20.0).chord for i in range(21)]
    return count * airfoil.span_mm * 1e-3 * sum(chords) / len(chords)


def plan_blends(stage: Stage) -> StageBlends | None:
    """The stage's blends planned together: fewest blades replaced, counts, neighbours and balance kept.

    None without an airfoil or an unbalance that the document allows the stage.
    """
    airfoil = stage.part.airfoil
    if airfoil is None or airfoil.unbalance_g_mm is None:
        return None
    judged = judge_stage(stage)
    lines = {x.id: x for x in stage.limits}
    damaged: dict[int, DamagedBlade] = {}
    effects: list[tuple[FindingRecorded, BlendEffect]] = []
    why: dict[int, str] = {}
    for finding, told in zip(stage.findings, judged, strict=True):
        if told is None or finding.blade is None or finding.withdrawn or told.proposed is Proposed.AS_IS:
            continue
        effect, line = _allowed(finding, stage, lines)
        before = damaged.get(finding.blade)
        if effect is None or line is None or (before is not None and before.unbalance is None):
            damaged[finding.blade] = DamagedBlade(finding.blade, None)
            why[finding.blade] = told.words
            continue
        effects.append((finding, effect))
        taken = effect.unbalance_g_mm * 1e-6 + (before.unbalance or 0.0 if before else 0.0)
        damaged[finding.blade] = DamagedBlade(finding.blade, taken, line.id)
    plan = stage_plan(list(damaged.values()), _stage_limits(stage, airfoil))
    for blade in plan.replace:
        why.setdefault(blade, "within its own limits, but the stage's count, spacing or balance is not kept")
    kept = tuple((f, e) for f, e in effects if f.blade in plan.blend)
    return StageBlends(plan, kept, tuple(sorted(why.items())))


def _allowed(
    finding: FindingRecorded, stage: Stage, lines: dict[str, DamageLimit]
) -> tuple[BlendEffect | None, DamageLimit | None]:
    """The blend that a finding may take for itself: judged with what is on its own blade, nothing else."""
    mine = tuple(f for f in stage.findings if f.blade == finding.blade)
    alone = replace(stage, findings=mine, blends=tuple(b for b in stage.blends if b.blade == finding.blade))
    told = judge_stage(alone)[next(i for i, f in enumerate(mine) if f is finding)]
    if told is None or told.proposed is not Proposed.BLEND:
        return None, None
    line = lines[told.limit]
    return blend_effect(finding, line, stage), line


def _stage_limits(stage: Stage, airfoil: Airfoil) -> StageLimits:
    blends = [x for x in stage.limits if x.allows == "blend"]
    return StageLimits(
        blades=stage.part.count,
        unbalance=(airfoil.unbalance_g_mm or 0.0) * 1e-6,
        most={x.id: x.blades_max for x in blends if x.blades_max is not None},
        apart=frozenset(x.id for x in blends if not x.adjacent),
        carried=tuple(
            (x.id, b.blade) for b in stage.blends for x in blends if not x.zone or b.zone in x.zone
        ),
    )


def _fatigue(airfoil: Airfoil, depth: float, length: float) -> FatigueFactor | None:
    """Both models where the material's figures are transcribed; Peterson's length holds for steels."""
    if not (
        airfoil.steel and airfoil.ultimate_strength and airfoil.threshold_range and airfoil.endurance_range
    ):
        return None
    intrinsic = critical_length(airfoil.threshold_range, airfoil.endurance_range)
    material = peterson_length(airfoil.ultimate_strength)
    return fatigue_factor(depth, arc_radius(length, depth), material, intrinsic)


def _referred(airfoil: Airfoil) -> str:
    slender = slenderness(airfoil)
    if slender < SLENDER:
        return f"span is {slender:.1f} times the chord, below {SLENDER:.0f}: no beam. Refer to engineering."
    return "" if airfoil.mode else "no natural frequency is transcribed. Refer to engineering."


def _modes(airfoil: Airfoil, cut: Cut) -> tuple[ModeAfter, ...]:
    if _referred(airfoil):
        return ()
    along = stations(airfoil, [cut])
    whole, less = beam_of(airfoil, (), along), beam_of(airfoil, [cut], along)
    out = []
    for mode in airfoil.mode:
        speed = mode.speed_rpm * math.pi / 30.0
        if mode.kind == "bending":
            before, after = (bending_frequencies(b, speed, mode.number)[-1] for b in (whole, less))
        else:
            before, after = (torsion_frequencies(b, mode.number)[-1] for b in (whole, less))
        shift = float(after / before - 1.0)
        moved = mode.frequency_hz * (1.0 + shift)
        out.append(
            ModeAfter(
                mode, shift, mode.frequency_hz, moved, _crossings(airfoil, mode.frequency_hz),
                _crossings(airfoil, moved),
            )
        )  # fmt: skip
    return tuple(out)


def _crossings(airfoil: Airfoil, frequency: float) -> tuple[Crossing, ...]:
    """Orders whose line comes within the kept margin of a frequency somewhere in the running range."""
    low, high = airfoil.speed_rpm
    found = []
    for o in airfoil.engine_order:
        speed = 60.0 * frequency / o.order
        if low * (1.0 - airfoil.order_margin) <= speed <= high * (1.0 + airfoil.order_margin):
            found.append(Crossing(o.order, o.cause, speed))
    return tuple(found)


def blended_area(effects: Sequence[tuple[FindingRecorded, BlendEffect]]) -> float:
    """Blended area of a row [mm²], as a build sheet takes it."""
    return sum(e.area_mm2 for _, e in effects)
