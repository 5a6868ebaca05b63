"""Comparisons of a finding's own sizes, and of the blend it would take, with a line of the limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from spoolwright.crafts.inspection.cut import smallest_blend
from spoolwright.crafts.inspection.lengths import Size, in_mm, shown_mm
from spoolwright.crafts.inspection.model import Check, FindingRecorded
from spoolwright.crafts.inspection.stage import Stage
from spoolwright.crafts.typefile.shop.inspection import DamageLimit, LengthUnit


def own_checks(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Iterator[Check]:
    """What a line asks of a finding whatever else is on its stage, earlier blends at its place aside."""
    yield from _size_checks(finding, line)
    if line.allows == "blend":
        yield from _blend_checks(finding, line, stage)


def compared(
    name: str, reading: Fraction | None, limit: Fraction, unit: LengthUnit, u: float = 0.0, *, at_most: bool
) -> Check:
    """A length [mm] against its limit [mm]; the limit itself is a permitted value.

    The probability that the truth conforms is that of a normal distribution about the reading with its
    stated standard uncertainty (JCGM 106:2012, 7.3); without one there is none.
    """
    told = ("at most " if at_most else "at least ") + shown_mm(limit, unit)
    if reading is None:
        return Check(bound=name, reading="not measured", limit=told, holds=None)
    inside = reading <= limit if at_most else reading >= limit
    gap = float(limit - reading) if at_most else float(reading - limit)
    chance = 0.5 * math.erfc(-gap / (u * math.sqrt(2.0))) if u > 0.0 else None
    return Check(bound=name, reading=shown_mm(reading, unit), limit=told, holds=inside, probability=chance)


def _size_checks(finding: FindingRecorded, line: DamageLimit) -> Iterator[Check]:
    length = line.length_max if line.allows == "as is" else None  # of a blend it bounds the blend
    for name, size, most in (
        ("depth", finding.depth, line.depth_max),
        ("width", finding.width, line.width_max),
        ("length", finding.length, length),
    ):
        if most is not None:
            yield _measured(name, size, most, line, at_most=True)
    if line.fillet_distance_min is not None:
        distance = finding.fillet_distance
        yield _measured("distance from the fillet", distance, line.fillet_distance_min, line, at_most=False)
    if line.remaining_thickness_min is not None and line.allows == "as is":
        left = finding.thickness_left
        yield _measured("remaining thickness", left, line.remaining_thickness_min, line, at_most=False)


def _blend_checks(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> Iterator[Check]:
    blend = smallest_blend(finding, line, stage)
    total, length = (None, None) if blend is None else (blend.total, blend.length)
    u = finding.depth.u_mm if finding.depth else 0.0
    if line.depth_after_max is not None:
        most = in_mm(line.depth_after_max, line.unit)
        yield compared("depth after the blend", total, most, line.unit, u, at_most=True)
    if line.length_max is not None:
        most = in_mm(line.length_max, line.unit)
        yield compared("length of the blend", length, most, line.unit, at_most=True)
    if line.remaining_thickness_min is not None:
        left = finding.thickness_left
        after = None if left is None else left.mm - in_mm(line.allowance, line.unit)
        least = in_mm(line.remaining_thickness_min, line.unit)
        u_left = left.u_mm if left else 0.0
        yield compared("thickness after the blend", after, least, line.unit, u_left, at_most=False)


def _measured(name: str, size: Size | None, bound: str, line: DamageLimit, *, at_most: bool) -> Check:
    """A measured size against a printed bound; the reading is told as it was entered."""
    limit = in_mm(bound, line.unit)
    if size is None:
        return compared(name, None, limit, line.unit, at_most=at_most)
    check = compared(name, size.mm, limit, line.unit, size.u_mm, at_most=at_most)
    return check.model_copy(update={"reading": str(size)})
