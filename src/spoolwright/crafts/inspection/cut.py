"""The smallest blend that clears a finding by a line of the limits, and the chord where it sits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from spoolwright.crafts.inspection.lengths import in_mm
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.stage import Stage, touches
from spoolwright.crafts.typefile.shop.inspection import Airfoil, DamageLimit


@dataclass(frozen=True)
class BlendSize:
    """The smallest blend that clears a finding under a line of the limits [mm]."""

    depth: Fraction
    """Below the present edge."""
    total: Fraction
    """Below the original edge, earlier blends at the place included."""
    length: Fraction
    radius: Fraction


def smallest_blend(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> BlendSize | None:
    """The smallest arc that clears the damage by the line's own rules; None where no depth is measured.

    The length is the greatest of what the length-to-depth ratio, the least radius and the damage itself ask.
    """
    if finding.depth is None:
        return None
    depth = finding.depth.mm + in_mm(line.allowance, line.unit)
    total = depth + earlier_depth(finding, stage)
    if total <= 0:
        return None
    least = [Fraction(0)]
    if line.length_to_depth_min is not None:
        least.append(Fraction(line.length_to_depth_min) * total)
    if line.radius_min is not None:
        radius = in_mm(line.radius_min, line.unit)
        square = 4 * (2 * radius * total - total**2)
        least.append(_root_above(square) if square > 0 else Fraction(0))
    if finding.length is not None:
        least.append(finding.length.mm)
    length = max(least) or 2 * total
    return BlendSize(depth, total, length, (length**2 / 4 + total**2) / (2 * total))


def earlier_depth(finding: FindingRecorded, stage: Stage) -> Fraction:
    """Depth of the deepest blend that a finding lies in or touches [mm]."""
    return max((b.depth for b in stage.blends if touches(finding, b)), default=Fraction(0))


def chord_at(finding: FindingRecorded, stage: Stage) -> Fraction | None:
    """The airfoil's chord where a finding sits, from the type's sections [mm]."""
    airfoil = stage.part.airfoil
    if airfoil is None or finding.position is None:
        return None
    return _chord(airfoil, finding.position.mm / _exact(airfoil.span_mm))


def least_chord(finding: FindingRecorded, stage: Stage) -> Fraction | None:
    """The smallest chord anywhere in a finding's zone, for one whose place was not measured [mm]."""
    airfoil = stage.part.airfoil
    zone = next((z for z in stage.part.zone if z.id == finding.zone), None)
    if airfoil is None or zone is None:
        return None
    low, high = _exact(zone.span_from), _exact(zone.span_to)
    inside = [_exact(s.at) for s in airfoil.section if zone.span_from < s.at < zone.span_to]
    chords = [_chord(airfoil, at) for at in (low, *inside, high)]
    return None if None in chords else min(c for c in chords if c is not None)


def _chord(airfoil: Airfoil, at: Fraction) -> Fraction | None:
    """The chord at a share of the span, on the straight line between the stated sections."""
    sections = sorted((_exact(s.at), _exact(s.chord_mm)) for s in airfoil.section)
    for (low, first), (high, second) in pairwise(sections):
        if low <= at <= high:
            return first + (at - low) / (high - low) * (second - first)
    return None


def _exact(written: float) -> Fraction:
    """A figure of the type file as it is written there."""
    return Fraction(repr(written))


def _root_above(square: Fraction) -> Fraction:
    """A length whose square is not below the given one, a nanometre at most too long."""
    scaled = math.isqrt(math.ceil(square * 10**12))
    root = Fraction(scaled, 10**6)
    return root if root * root >= square else Fraction(scaled + 1, 10**6)
