"""A stage as it stands: its limits, everything found on it, the blends it carries already."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from spoolwright.crafts.inspection.model import FindingRecorded
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

    def side(self, zone: str) -> str:
        """The side of the part on which a zone lies; the zone itself where the part does not know it."""
        return next((z.side for z in self.part.zone if z.id == zone), zone)


def covering(finding: FindingRecorded, stage: Stage) -> list[DamageLimit]:
    """The lines that speak about a finding's part, zone and kind of damage."""
    return [
        x
        for x in stage.limits
        if x.part == stage.part.id and finding.damage in x.damage and (not x.zone or finding.zone in x.zone)
    ]


def touches(finding: FindingRecorded, blend: Earlier) -> bool:
    """Whether a finding lies in or touches an earlier blend; a place not stated counts as touching."""
    if blend.blade != (finding.blade or 0) or blend.zone != finding.zone:
        return False
    if blend.position is None or finding.position is None:
        return True
    length = finding.length.mm if finding.length else Fraction(0)
    return abs(blend.position - finding.position.mm) <= (blend.length + length) / 2
