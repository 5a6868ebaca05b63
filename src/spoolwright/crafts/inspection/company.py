"""What a line of the limits asks of everything on a stage together: counts, neighbours, spacing, chord left.

A line counts the findings that it speaks about and whose own sizes it admits. One under which damage is
blended counts of them those that no line lets stay, and the blends that are there already. What is counted
does not depend on the order of recording.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import cached_property

from spoolwright.crafts.inspection.checks import compared, own_checks
from spoolwright.crafts.inspection.cut import BlendSize, chord_at, least_chord, smallest_blend
from spoolwright.crafts.inspection.lengths import in_mm
from spoolwright.crafts.inspection.model import Check
from spoolwright.crafts.inspection.stage import Earlier, Stage, covering, touches
from spoolwright.crafts.typefile.shop.inspection import DamageLimit

EDGES = {"leading edge": "trailing edge", "trailing edge": "leading edge"}
Extent = tuple[Fraction | None, Fraction | None]
"""Middle along the span and length [mm]; none where it was not measured."""


class Company:
    """All findings and blends of a stage, as each line of the limits sees them; findings go by index."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.findings = [f for f in stage.findings if not f.withdrawn]
        self._lines = [covering(f, stage) for f in self.findings]
        self._own: dict[tuple[int, str], tuple[Check, ...]] = {}
        self._counted: dict[str, list[int]] = {}
        self._blend: dict[tuple[int, str], BlendSize | None] = {}

    def lines(self, i: int) -> list[DamageLimit]:
        """The lines that speak about a finding."""
        return self._lines[i]

    def checks(self, i: int, line: DamageLimit) -> tuple[Check, ...]:
        """Every comparison that a line asks for."""
        return (*self.own(i, line), *self._together(i, line))

    def own(self, i: int, line: DamageLimit) -> tuple[Check, ...]:
        """The comparisons of a finding's own sizes."""
        if (i, line.id) not in self._own:
            self._own[i, line.id] = tuple(own_checks(self.findings[i], line, self.stage))
        return self._own[i, line.id]

    @cached_property
    def staying(self) -> frozenset[int]:
        """Findings that a line lets stay as they are."""
        return frozenset(
            i
            for i in range(len(self.findings))
            if not self._forbidden(i)
            and any(x.allows == "as is" and all(c.holds for c in self.checks(i, x)) for x in self.lines(i))
        )

    def counted(self, line: DamageLimit) -> list[int]:
        """The findings that a line counts."""
        if line.id not in self._counted:
            every = range(len(self.findings))
            alike = [i for i in every if any(x.id == line.id for x in self.lines(i))]
            self._counted[line.id] = [i for i in alike if self._counts(i, line)]
        return self._counted[line.id]

    def blend(self, i: int, line: DamageLimit) -> BlendSize | None:
        """The smallest blend of a finding under a line."""
        if (i, line.id) not in self._blend:
            self._blend[i, line.id] = smallest_blend(self.findings[i], line, self.stage)
        return self._blend[i, line.id]

    def _forbidden(self, i: int) -> bool:
        return any(x.allows == "nothing" for x in self.lines(i))

    def _counts(self, i: int, line: DamageLimit) -> bool:
        if self._forbidden(i) or any(c.holds is False for c in self.own(i, line)):
            return False
        return line.allows != "blend" or i not in self.staying

    def _there(self, line: DamageLimit, counted: Iterable[int]) -> list[Earlier]:
        """Blends that are there already and that none of the counted findings widens."""
        if line.allows != "blend":
            return []
        mine = [self.findings[i] for i in counted]
        blends = [b for b in self.stage.blends if not line.zone or b.zone in line.zone]
        return [b for b in blends if not any(touches(f, b) for f in mine)]

    def _together(self, i: int, line: DamageLimit) -> Iterator[Check]:
        finding, noun = self.findings[i], self.stage.part.numbered
        counted = self.counted(line)
        counted = counted if i in counted else [*counted, i]
        there = self._there(line, counted)
        here = [k for k in counted if self.findings[k].blade == finding.blade]
        blends_here = [b for b in there if b.blade == (finding.blade or 0)]
        blades = {f.blade for k in counted if (f := self.findings[k]).blade is not None}
        blades |= {b.blade for b in there if b.blade}
        if line.per_blade_max is not None:
            word = "blends" if line.allows == "blend" else "findings"
            on = f"{word} on one {noun}" if self.stage.part.count > 1 else f"{word} on the part"
            yield _counted(on, len(here) + len(blends_here), line.per_blade_max)
        if line.blades_max is not None:
            yield _counted(
                f"{'teeth' if noun == 'tooth' else noun + 's'} with it", len(blades), line.blades_max
            )
        if not line.adjacent and finding.blade is not None:
            beside = sorted(blades & _neighbours(finding.blade, self.stage.part.count))
            told = ", ".join(map(str, beside)) or "none"
            yield Check(bound="neighbours with it", reading=told, limit="none", holds=not beside)
        if line.spacing_min is not None:
            yield from self._spaced(i, line, here, blends_here)
        if line.remaining_chord_min is not None:
            yield self._chord(i, line)

    def _spaced(
        self, i: int, line: DamageLimit, here: Sequence[int], blends: Sequence[Earlier]
    ) -> Iterator[Check]:
        """Edge to edge to everything else that counts on the same side of the same blade."""
        side = self.stage.side(self.findings[i].zone)
        others = [
            self._extent(k, line) for k in here if k != i and self.stage.side(self.findings[k].zone) == side
        ]
        others += [
            (b.position, b.length)
            for b in blends
            if self.stage.side(b.zone) == side and b.position is not None
        ]
        if not others:
            return
        gaps = [_gap(self._extent(i, line), other) for other in others]
        known = [g for g in gaps if g is not None]
        least = in_mm(line.spacing_min or "0", line.unit)
        nearest = min(known, default=None)
        if len(known) < len(gaps) and (nearest is None or nearest >= least):
            nearest = None  # what was not measured may be nearer
        yield compared("spacing", nearest, least, line.unit, at_most=False)

    def _extent(self, i: int, line: DamageLimit) -> Extent:
        """Of the damage where it stays, of its blend where it is blended."""
        f = self.findings[i]
        position = f.position.mm if f.position else None
        if line.allows == "blend":
            blend = self.blend(i, line)
            return position, blend.length if blend else None
        return position, f.length.mm if f.length else None

    def _chord(self, i: int, line: DamageLimit) -> Check:
        """Chord left after the blend and after what is or will be taken from the other edge beside it.

        Without a place the smallest chord of the zone stands for it, where that is enough.
        """
        f = self.findings[i]
        least = in_mm(line.remaining_chord_min or "0", line.unit)
        blend, opposite = self.blend(i, line), self._opposite(i, line)
        chord = chord_at(f, self.stage) if f.position else least_chord(f, self.stage)
        left = None if chord is None or blend is None or opposite is None else chord - blend.total - opposite
        u = f.depth.u_mm if f.depth else 0.0
        check = compared("remaining chord", left, least, line.unit, u, at_most=False)
        if f.position is None and check.holds is not None:
            if not check.holds:  # at its own place there may be more
                return compared("remaining chord", None, least, line.unit, at_most=False)
            return check.model_copy(update={"reading": f"{check.reading} or more", "probability": None})
        return check

    def _opposite(self, i: int, line: DamageLimit) -> Fraction | None:
        """The deepest cut in the other edge that overlaps along the span; none when one is not measured."""
        f = self.findings[i]
        other = EDGES.get(self.stage.side(f.zone))
        mine = self._extent(i, line)
        cuts: list[Fraction | None] = [
            b.depth
            for b in self.stage.blends
            if b.blade == (f.blade or 0)
            and self.stage.side(b.zone) == other
            and not _gap(mine, (b.position, b.length))
        ]
        for k, g in enumerate(self.findings):
            if g.blade != f.blade or self.stage.side(g.zone) != other or k in self.staying:
                continue
            blend = self.blend(k, line)
            if blend is None:
                cuts.append(None)
            elif not _gap(mine, (g.position.mm if g.position else None, blend.length)):
                cuts.append(blend.total)
        if any(c is None for c in cuts):
            return None
        return max((c for c in cuts if c is not None), default=Fraction(0))


def _gap(one: Extent, other: Extent) -> Fraction | None:
    """Free length between two places; zero where they overlap, none where a place or length is not known."""
    (a, la), (b, lb) = one, other
    if a is None or la is None or b is None or lb is None:
        return None
    return max(abs(a - b) - (la + lb) / 2, Fraction(0))


def _counted(name: str, count: int, most: int) -> Check:
    return Check(bound=name, reading=str(count), limit=f"at most {most}", holds=count <= most)


def _neighbours(blade: int, count: int) -> set[int]:
    return {(blade - 2) % count + 1, blade % count + 1} - {blade}
