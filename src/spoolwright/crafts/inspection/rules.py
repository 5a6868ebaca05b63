"""Which paragraph covers a finding, and what it says. Limits are data; no limit, no verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from spoolwright.crafts.inspection.lengths import Size, in_mm, shown_mm
from spoolwright.crafts.inspection.model import Check, FindingRecorded, Judgement, Proposed
from spoolwright.crafts.typefile.shop.inspection import DamageLimit, InspectedPart


@dataclass(frozen=True)
class Earlier:
    """A blend that a blade carries already, from this visit or one before."""

    blade: int
    zone: str
    depth: Fraction
    """From the original edge [mm]."""
    position: Fraction | None = None
    length: Fraction = Fraction(0)


@dataclass(frozen=True)
class Stage:
    """A stage or part with its limits and everything that is known to be on it."""

    part: InspectedPart
    limits: tuple[DamageLimit, ...]
    findings: tuple[FindingRecorded, ...] = ()
    blends: tuple[Earlier, ...] = ()


@dataclass(frozen=True)
class BlendSize:
    """The smallest blend that clears a finding under a line of the limits [mm]."""

    depth: Fraction
    """Below the present edge."""
    total: Fraction
    """Below the original edge, earlier blends at the place included."""
    length: Fraction
    radius: Fraction


def judge_finding(finding: FindingRecorded, stage: Stage) -> Judgement:
    """What the limits propose for a finding, given everything else on its stage.

    The answer does not depend on the order in which findings were recorded: counts, spacing and neighbours
    look at all of them.
    """
    lines = covering(finding, stage)
    if not lines:
        told = f"no limit covers {_article(finding)} in this zone of {stage.part.name}."
        return Judgement(proposed=Proposed.REFER, words=f"Refer to engineering: {told}")
    for line in (x for x in lines if x.allows == "nothing"):
        words = f"Outside limits: {_article(finding)} is not allowed here at all."
        return _told(Proposed.OUTSIDE, words, line, ())
    tried: list[tuple[DamageLimit, tuple[Check, ...]]] = []
    for allows, proposed in (("as is", Proposed.AS_IS), ("blend", Proposed.BLEND)):
        for line in (x for x in lines if x.allows == allows):
            checks = tuple(checks_of(finding, line, stage))
            tried.append((line, checks))
            if all(c.holds for c in checks):
                return _told(proposed, f"{proposed.value.capitalize()}.", line, checks)
    open_lines = [(line, checks) for line, checks in tried if not any(c.holds is False for c in checks)]
    if open_lines:
        line, checks = open_lines[0]
        missing = ", ".join(c.bound for c in checks if c.holds is None)
        return _told(Proposed.MEASURE, f"Measure first: {missing}.", line, checks)
    line, checks = tried[-1]
    failed = "; ".join(f"{c.bound} {c.reading}, limit {c.limit}" for c in checks if c.holds is False)
    return _told(Proposed.OUTSIDE, f"Outside limits: {failed}.", line, checks)


def covering(finding: FindingRecorded, stage: Stage) -> list[DamageLimit]:
    """The lines that speak about a finding's part, zone and kind of damage."""
    return [
        x
        for x in stage.limits
        if x.part == stage.part.id and finding.damage in x.damage and (not x.zone or finding.zone in x.zone)
    ]


def checks_of(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Iterator[Check]:
    """Every comparison that a line of the limits asks for."""
    yield from _size_checks(finding, line)
    if line.allows == "blend":
        yield from _blend_checks(finding, line, stage)
    yield from _company_checks(finding, line, stage)


def smallest_blend(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> BlendSize | None:
    """The smallest arc that clears the damage by the line's own rules; None where the depth is not measured.

    The length is the greatest of what the length-to-depth ratio, the least radius and the damage itself ask.
    """
    if finding.depth is None:
        return None
    depth = finding.depth.mm + in_mm(line.allowance, line.unit)
    total = depth + _earlier_depth(finding, stage)
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


def _size_checks(finding: FindingRecorded, line: DamageLimit) -> Iterator[Check]:
    sizes: list[tuple[str, Size | None, str | None]] = [
        ("depth", finding.depth, line.depth_max),
        ("width", finding.width, line.width_max),
    ]
    if line.allows == "as is":
        sizes.append(("length", finding.length, line.length_max))
    for name, size, most in sizes:
        if most is not None:
            yield _at_most(name, size, most, line)
    for name, size, least in (
        ("distance from the fillet", finding.fillet_distance, line.fillet_distance_min),
        ("remaining thickness", finding.thickness_left, line.remaining_thickness_min),
    ):
        if least is not None:
            yield _at_least(name, size, least, line)


def _blend_checks(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Iterator[Check]:
    blend = smallest_blend(finding, line, stage)
    total, length = (None, None) if blend is None else (blend.total, blend.length)
    u = finding.depth.u_mm if finding.depth else 0.0
    if line.depth_after_max is not None:
        most = in_mm(line.depth_after_max, line.unit)
        yield _compared("depth after the blend", total, most, line, u, at_most=True)
    if line.length_max is not None:
        most = in_mm(line.length_max, line.unit)
        yield _compared("length of the blend", length, most, line, 0.0, at_most=True)
    if line.remaining_chord_min is not None:
        chord = chord_at(finding, stage)
        left = None if total is None or chord is None else chord - total
        least = in_mm(line.remaining_chord_min, line.unit)
        yield _compared("remaining chord", left, least, line, u, at_most=False)


def _company_checks(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Iterator[Check]:
    """Counts, neighbours and spacing, over all findings that the line speaks about and all blends."""
    alike = [f for f in stage.findings if not f.withdrawn and line in covering(f, stage)]
    if finding not in alike:
        alike.append(finding)
    blades = {f.blade for f in alike if f.blade is not None}
    blades |= {b.blade for b in stage.blends if not line.zone or b.zone in line.zone}
    here = [f for f in alike if f.blade == finding.blade]
    if line.per_blade_max is not None:
        yield _counted(f"findings on one {stage.part.numbered}", len(here), line.per_blade_max)
    if line.blades_max is not None:
        yield _counted(f"{stage.part.numbered}s of the stage", len(blades), line.blades_max)
    if not line.adjacent and finding.blade is not None:
        beside = sorted(blades & _neighbours(finding.blade, stage.part.count))
        told = ", ".join(map(str, beside)) or "none"
        yield Check(bound="neighbours with the same", reading=told, limit="none", holds=not beside)
    if line.spacing_min is not None and len(here) > 1:
        yield _spaced(finding, here, line)


def _spaced(finding: FindingRecorded, here: Sequence[FindingRecorded], line: DamageLimit) -> Check:
    gaps: list[Fraction] = []
    others = list(here)
    others.remove(finding)
    for other in others:
        if None in (finding.position, finding.length, other.position, other.length):
            return _compared(
                "spacing", None, in_mm(line.spacing_min or "0", line.unit), line, 0.0, at_most=False
            )
        assert finding.position and finding.length and other.position and other.length
        apart = abs(finding.position.mm - other.position.mm)
        gaps.append(max(apart - (finding.length.mm + other.length.mm) / 2, Fraction(0)))
    least = in_mm(line.spacing_min or "0", line.unit)
    return _compared("spacing", min(gaps), least, line, 0.0, at_most=False)


def chord_at(finding: FindingRecorded, stage: Stage) -> Fraction | None:
    """The airfoil's chord where a finding sits, from the type's sections [mm]."""
    airfoil = stage.part.airfoil
    if airfoil is None or finding.position is None:
        return None
    at = float(finding.position.mm) / airfoil.span_mm
    sections = sorted(airfoil.section, key=lambda s: s.at)
    for low, high in pairwise(sections):
        if low.at <= at <= high.at:
            share = (at - low.at) / (high.at - low.at)
            return Fraction(low.chord_mm + share * (high.chord_mm - low.chord_mm)).limit_denominator(10**6)
    return None


def _earlier_depth(finding: FindingRecorded, stage: Stage) -> Fraction:
    """Depth of the blends that a finding lies in or touches; a place not stated counts as touching."""
    deepest = Fraction(0)
    for b in stage.blends:
        if b.blade != finding.blade or b.zone != finding.zone:
            continue
        if b.position is not None and finding.position is not None:
            reach = (b.length + (finding.length.mm if finding.length else 0)) / 2
            if abs(b.position - finding.position.mm) > reach:
                continue
        deepest = max(deepest, b.depth)
    return deepest


def _neighbours(blade: int, count: int) -> set[int]:
    return {(blade - 2) % count + 1, blade % count + 1} - {blade}


def _at_most(name: str, size: Size | None, most: str, line: DamageLimit) -> Check:
    limit = in_mm(most, line.unit)
    reading, u = (None, 0.0) if size is None else (size.mm, size.u_mm)
    check = _compared(name, reading, limit, line, u, at_most=True)
    return check if size is None else check.model_copy(update={"reading": str(size)})


def _at_least(name: str, size: Size | None, least: str, line: DamageLimit) -> Check:
    limit = in_mm(least, line.unit)
    reading, u = (None, 0.0) if size is None else (size.mm, size.u_mm)
    check = _compared(name, reading, limit, line, u, at_most=False)
    return check if size is None else check.model_copy(update={"reading": str(size)})


def _compared(
    name: str, reading: Fraction | None, limit: Fraction, line: DamageLimit, u: float, *, at_most: bool
) -> Check:
    """A length against its limit; both ends of the limit are permitted values."""
    told = ("at most " if at_most else "at least ") + shown_mm(limit, line.unit)
    if reading is None:
        return Check(bound=name, reading="not measured", limit=told, holds=None)
    inside = reading <= limit if at_most else reading >= limit
    gap = float(limit - reading) if at_most else float(reading - limit)
    chance = 0.5 * math.erfc(-gap / (u * math.sqrt(2.0))) if u > 0.0 else None
    return Check(
        bound=name, reading=shown_mm(reading, line.unit), limit=told, holds=inside, probability=chance
    )


def _counted(name: str, count: int, most: int) -> Check:
    return Check(bound=name, reading=str(count), limit=f"at most {most}", holds=count <= most)


def _root_above(square: Fraction) -> Fraction:
    """A length whose square is not below the given one, a nanometre at most too long."""
    scaled = math.isqrt(math.ceil(square * 10**12))
    root = Fraction(scaled, 10**6)
    return root if root * root >= square else Fraction(scaled + 1, 10**6)


def _told(proposed: Proposed, words: str, line: DamageLimit, checks: Iterable[Check]) -> Judgement:
    paragraph = f"{line.source.document}, {line.source.paragraph}"
    return Judgement(proposed=proposed, words=words, limit=line.id, paragraph=paragraph, checks=tuple(checks))


def _article(finding: FindingRecorded) -> str:
    word = finding.damage.value
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"
