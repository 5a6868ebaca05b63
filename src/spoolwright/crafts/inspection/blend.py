"""What a blend does: stress, first modes, mass, balance, blade area. Advisory beside the limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from spoolwright.core.blade.beam import SLENDER, bending_frequencies, torsion_frequencies
from spoolwright.core.blade.notch import (
    arc_radius,
    critical_length,
    fatigue_factor,
    peterson_length,
    stress_concentration,
)
from spoolwright.core.blade.removed import segment_area
from spoolwright.crafts.inspection.airfoil import (
    Cut,
    FloatArray,
    beam_of,
    removed,
    shape_at,
    slenderness,
    stations,
)
from spoolwright.crafts.inspection.cut import BlendSize, smallest_blend
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.resonance import ModeLine, mode_lines
from spoolwright.crafts.inspection.stage import Earlier, Stage, touches
from spoolwright.crafts.typefile.shop.inspection import Airfoil, DamageLimit, NaturalMode

NICK_RADII_MM = (0.05, 0.25)
"""A nick's root radius is hardly ever measured; taken between these. Common practice, no source."""
EDGES = ("leading edge", "trailing edge")
_FULLY_FELT = 1e-9


@dataclass(frozen=True)
class ModeAfter:
    """A documented mode and what a blend shifts it by."""

    mode: NaturalMode
    shift: float
    after_hz: float


@dataclass(frozen=True)
class Felt:
    """What fatigue feels of a notch, between two models."""

    low: float
    high: float


@dataclass(frozen=True)
class Stress:
    """Stress at a notch over the stress far from it: of the metal, and as fatigue feels it."""

    factor: tuple[float, float]
    felt: Felt | None
    """None where the material's figures are not transcribed."""


@dataclass(frozen=True)
class Taken:
    """What the smallest blend of a finding takes from its blade."""

    size: BlendSize
    cut: Cut
    mass_g: float
    unbalance_g_mm: float
    area_mm2: float


@dataclass(frozen=True)
class BlendEffect:
    """What the smallest blend of a finding does to its blade."""

    taken: Taken
    nick: Stress
    """Of the damage as it is, for a blunt and a sharp root."""
    blend: Stress
    modes: tuple[ModeAfter, ...]
    lines: tuple[ModeLine, ...]
    modes_referred: str
    """Why no shift is given; empty where it is."""
    area_share: float
    """Of the row's blade area: what a forecast takes as blended."""


def taken_by(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Taken | None:
    """What the smallest blend that a line allows takes; None without an airfoil, edge, depth or place.

    Mass, moment and area are those beyond the earlier blend that it widens.
    """
    airfoil, size = stage.part.airfoil, smallest_blend(finding, line, stage)
    if airfoil is None or size is None or finding.position is None:
        return None
    if stage.side(finding.zone) not in EDGES:
        return None
    cut = Cut(is_leading(stage, finding.zone), _m(finding.position.mm), _m(size.length), _m(size.total))
    mass, moment = removed(airfoil, [cut])
    area = segment_area(cut.length, cut.depth)
    for before in widened(finding, stage):
        had_mass, had_moment = removed(airfoil, [before])
        mass, moment = max(mass - had_mass, 0.0), max(moment - had_moment, 0.0)
        area = max(area - segment_area(before.length, before.depth), 0.0)
    return Taken(size, cut, 1e3 * mass, 1e6 * moment, 1e6 * area)


def blend_effect(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> BlendEffect | None:
    """What the smallest blend that a line allows does; None as `taken_by`.

    Frequencies are those of the blade with every blend that it carries, against the documented ones.
    """
    airfoil, taken = stage.part.airfoil, taken_by(finding, line, stage)
    if airfoil is None or taken is None or finding.depth is None:
        return None
    cut, replaced = taken.cut, widened(finding, stage)
    beside = [
        c for b in stage.blends if b.blade == finding.blade and (c := earlier_cut(b, stage)) is not None
    ]
    referred = _referred(airfoil)
    modes = () if referred else _modes(airfoil, (cut, *(c for c in beside if c not in replaced)))
    return BlendEffect(
        taken=taken,
        nick=_stress(airfoil, _m(finding.depth.mm), [r * 1e-3 for r in reversed(NICK_RADII_MM)]),
        blend=_stress(airfoil, cut.depth, [arc_radius(cut.length, cut.depth)]),
        modes=modes,
        lines=() if referred else mode_lines(airfoil, {i: m.shift for i, m in enumerate(modes)}),
        modes_referred=referred,
        area_share=1e-6 * taken.area_mm2 / row_area(airfoil, stage.part.count),
    )


def widened(finding: FindingRecorded, stage: Stage) -> list[Cut]:
    """Cuts that are there already and that a finding lies in."""
    found = [earlier_cut(b, stage) for b in stage.blends if touches(finding, b)]
    return [c for c in found if c is not None]


def is_leading(stage: Stage, zone: str) -> bool:
    """Whether a zone lies on the leading edge."""
    return stage.side(zone) == "leading edge"


def earlier_cut(blend: Earlier, stage: Stage) -> Cut | None:
    """A blend that is there already as a cut; None where it is on no edge, or its place is not known."""
    if blend.position is None or stage.side(blend.zone) not in EDGES or blend.depth <= 0 or blend.length <= 0:
        return None
    return Cut(is_leading(stage, blend.zone), _m(blend.position), _m(blend.length), _m(blend.depth))


def row_area(airfoil: Airfoil, count: int) -> float:
    """Blade area of a row, seen on the chord [m²]."""
    chords = [shape_at(airfoil, i / 20.0).chord for i in range(21)]
    return count * airfoil.span_mm * 1e-3 * sum(chords) / len(chords)


def _m(mm: object) -> float:
    return float(mm) * 1e-3  # type: ignore[arg-type]


def _stress(airfoil: Airfoil, depth: float, radii: list[float]) -> Stress:
    """Of the metal, from the bluntest to the sharpest root; as fatigue feels it, between both models."""
    factors = [stress_concentration(depth, r) for r in radii]
    felt = [f for r in radii for f in _felt(airfoil, depth, r)]
    return Stress((factors[0], factors[-1]), Felt(min(felt), max(felt)) if felt else None)


def _felt(airfoil: Airfoil, depth: float, radius: float) -> tuple[float, ...]:
    """Both models. Peterson's length holds for steels; of others the metal's own factor bounds it."""
    if airfoil.threshold_range is None or airfoil.endurance_range is None:
        return ()
    intrinsic = critical_length(airfoil.threshold_range, airfoil.endurance_range)
    steel = airfoil.steel and airfoil.ultimate_strength is not None
    material = peterson_length(airfoil.ultimate_strength or 0.0) if steel else _FULLY_FELT
    return fatigue_factor(depth, radius, material, intrinsic).bracket


def _referred(airfoil: Airfoil) -> str:
    slender = slenderness(airfoil)
    if slender < SLENDER:
        return f"Span is {slender:.1f} times the chord, below {SLENDER:.0f}: no beam. Refer to engineering."
    return "" if airfoil.mode else "No natural frequency is transcribed. Refer to engineering."


@lru_cache(maxsize=512)
def _modes(airfoil: Airfoil, cuts: tuple[Cut, ...]) -> tuple[ModeAfter, ...]:
    along = stations(airfoil, cuts)
    whole, less = beam_of(airfoil, (), along), beam_of(airfoil, cuts, along)
    torsion = max((m.number for m in airfoil.mode if m.kind == "torsion"), default=0)
    twisted = [torsion_frequencies(b, torsion) for b in (whole, less)] if torsion else []
    most = max((m.number for m in airfoil.mode if m.kind == "bending"), default=0)
    bent: dict[float, list[FloatArray]] = {}
    out = []
    for mode in airfoil.mode:
        if mode.kind == "bending" and mode.speed_rpm not in bent:
            speed = mode.speed_rpm * math.pi / 30.0
            bent[mode.speed_rpm] = [bending_frequencies(b, speed, most) for b in (whole, less)]
        before, after = twisted if mode.kind == "torsion" else bent[mode.speed_rpm]
        shift = float(after[mode.number - 1] / before[mode.number - 1] - 1.0)
        out.append(ModeAfter(mode, shift, mode.frequency_hz * (1.0 + shift)))
    return tuple(out)
