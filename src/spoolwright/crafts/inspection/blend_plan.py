"""A stage's blends planned together: fewest blades replaced, counts, neighbours, spacing and balance kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from spoolwright.core.planning.stage import DamagedBlade, StageLimits, StagePlan, stage_plan
from spoolwright.crafts.inspection.airfoil import removed
from spoolwright.crafts.inspection.blend import Taken, earlier_cut, taken_by
from spoolwright.crafts.inspection.company import Company
from spoolwright.crafts.inspection.model import FindingRecorded, Judgement, Proposed
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.inspection.standing import WHOLE

TOGETHER = "within its own limits; the stage's count, spacing or balance is not kept with it"
CHOSEN = "chosen to go"
UNPLACED = "Measure first: its place along the span."
OFF_EDGE = "Within limits, but not on an edge: what it takes is not computed. Weigh the blade."


@dataclass(frozen=True)
class Blended:
    """A finding that the plan blends: by which line, and what its blend takes."""

    finding: FindingRecorded
    judgement: Judgement
    taken: Taken


@dataclass(frozen=True)
class StageBlends:
    """The plan of a stage: which blades to blend, which to replace, which wait, what balance is left."""

    plan: StagePlan
    blended: tuple[Blended, ...]
    replaced_for: tuple[tuple[int, str], ...]
    """Blades to replace, and why in words."""
    waits: tuple[tuple[int, str], ...]
    """Blades on which nothing can be planned yet, and what is missing. They count as blended meanwhile."""
    is_whole: bool
    """The stage is of one piece: a blade that goes takes it all with it."""


def plan_blends(
    stage: Stage, *, done: Iterable[Earlier] = (), stays: Iterable[int] = (), also: Iterable[int] = ()
) -> StageBlends | None:
    """The plan of a stage; None without an airfoil or an unbalance that the document allows the stage.

    Parameters
    ----------
    stage : Stage
        The stage with its findings and the blends it carries [mm].
    done : iterable of Earlier
        Those of its blends that the stage was not balanced after, of this visit; they use the allowance [mm].
    stays : iterable of int
        Places among the findings of what engineering lets stay [-].
    also : iterable of int
        Blades that a person wants replaced whatever else [-].

    Returns
    -------
    StageBlends or None
        The plan, judged with what is left on the stage [-].

    Notes
    -----
    A blade keeps every rule of every line that counts it, so a plan is never outside limits. Where one line
    covers each finding, as few blades as any plan are replaced (compared with trying every choice).
    """
    airfoil = stage.part.airfoil
    if airfoil is None or airfoil.unbalance_g_mm is None:
        return None
    planned = _Planned(stage, tuple(done), frozenset(stays), frozenset(also))
    return planned.found()


class _Planned:
    def __init__(self, stage: Stage, done: tuple[Earlier, ...], stays: frozenset[int], also: frozenset[int]):
        self.stage, self.done, self.also = stage, done, also
        self.lines = {x.id: x for x in stage.limits}
        self.why: dict[int, str] = dict.fromkeys(also, CHOSEN)
        self.waits: dict[int, str] = {}
        self.blended: list[Blended] = []
        self.kept: list[tuple[int, str]] = []
        """Blades with a finding that may stay by a line which not all on the stage may use together."""
        self._sort(stays)
        used = {line for _, line in self.kept}
        self.counted = _counted_by(stage, used)

    def found(self) -> StageBlends:
        here = {b.finding.blade for b in self.blended} | {n for n, _ in self.kept}
        free = here - self.why.keys() - self.waits.keys()
        damaged = [self._damaged(n) for n in sorted(n for n in free if n is not None)]
        damaged += [DamagedBlade(n, None) for n in sorted(self.why)]
        plan = stage_plan(damaged, self._limits({d.number for d in damaged}))
        why = dict(self.why)
        for blade in plan.replace:
            why.setdefault(blade, TOGETHER)
        kept = tuple(b for b in self.blended if b.finding.blade in plan.blend)
        waits = tuple(sorted((n, w) for n, w in self.waits.items() if n not in why))
        is_whole = self.stage.part.outline in WHOLE
        return StageBlends(plan, kept, tuple(sorted(why.items())), waits, is_whole)

    def _sort(self, stays: frozenset[int]) -> None:
        """Each finding by what its limits say of it with what else is on its own blade."""
        judged = judge_stage(self.stage)
        for i, (finding, told) in enumerate(zip(self.stage.findings, judged, strict=True)):
            if told is None or finding.blade is None or told.proposed is Proposed.AS_IS or i in stays:
                continue
            alone = told if told.proposed is Proposed.BLEND else self._alone(i)
            if alone.proposed is Proposed.BLEND:
                taken = taken_by(finding, self.lines[alone.limit], self.stage)
                if taken is None:
                    self._wait(finding.blade, UNPLACED if finding.position is None else OFF_EDGE)
                else:
                    self.blended.append(Blended(finding, alone, taken))
            elif alone.proposed is Proposed.OUTSIDE:
                self.why.setdefault(finding.blade, alone.words)
            elif alone.proposed is Proposed.AS_IS:
                self.kept.append((finding.blade, alone.limit))
            else:
                self._wait(finding.blade, alone.words)
        for blade in self.why.keys() & self.waits.keys():
            del self.waits[blade]  # it goes whatever is measured

    def _wait(self, blade: int, words: str) -> None:
        if blade not in self.why:
            self.waits.setdefault(blade, words)

    def _alone(self, i: int) -> Judgement:
        """Judged with what is on its own blade, nothing else."""
        finding = self.stage.findings[i]
        mine = [k for k, f in enumerate(self.stage.findings) if f.blade == finding.blade]
        blends = tuple(b for b in self.stage.blends if b.blade == finding.blade)
        alone = replace(self.stage, findings=tuple(self.stage.findings[k] for k in mine), blends=blends)
        told = judge_stage(alone)[mine.index(i)]
        assert told is not None
        return told

    def _damaged(self, blade: int) -> DamagedBlade:
        taken = sum(b.taken.unbalance_g_mm for b in self.blended if b.finding.blade == blade) * 1e-6
        taken += sum(self._moment(b) for b in self.done if b.blade == blade)
        carried = {line for line, n in self._carried() if n == blade}
        return DamagedBlade(blade, taken, frozenset(self.counted.get(blade, set()) | carried))

    def _moment(self, blend: Earlier) -> float:
        cut = earlier_cut(blend, self.stage)
        assert self.stage.part.airfoil is not None
        return removed(self.stage.part.airfoil, [cut])[1] if cut is not None else 0.0

    def _carried(self) -> list[tuple[str, int]]:
        lines = [x for x in self.stage.limits if x.allows == "blend"]
        return [(x.id, b.blade) for b in self.stage.blends for x in lines if not x.zone or b.zone in x.zone]

    def _limits(self, damaged: set[int]) -> StageLimits:
        airfoil = self.stage.part.airfoil
        assert airfoil is not None
        used = {line for _, line in self.kept}
        lines = [x for x in self.stage.limits if x.allows == "blend" or x.id in used]
        found = [(line, n) for n, names in self.counted.items() for line in sorted(names)]
        carried = [(line, n) for line, n in (*self._carried(), *found) if n not in damaged]
        return StageLimits(
            blades=self.stage.part.count,
            unbalance=(airfoil.unbalance_g_mm or 0.0) * 1e-6,
            most={x.id: x.blades_max for x in lines if x.blades_max is not None},
            apart=frozenset(x.id for x in lines if not x.adjacent),
            carried=tuple(dict.fromkeys(carried)),
            standing=self._standing(damaged),
        )

    def _standing(self, damaged: set[int]) -> complex:
        left = 0j
        for blend in self.done:
            if blend.blade not in damaged:
                left -= self._moment(blend) * direction(blend.blade, self.stage.part.count)
        return left


def direction(blade: int, count: int) -> complex:
    """Where a blade stands around the stage, from blade 1 in the sense of numbering."""
    import cmath
    import math

    return cmath.exp(2j * math.pi * (blade - 1) / count)


def _counted_by(stage: Stage, used: set[str]) -> dict[int, set[str]]:
    """The lines that count each blade for what was found on it: those for blends, and `used` ones."""
    company = Company(stage)
    found: dict[int, set[str]] = {}
    for line in (x for x in stage.limits if x.allows == "blend" or x.id in used):
        for i in company.counted(line):
            blade = company.findings[i].blade
            if blade is not None:
                found.setdefault(blade, set()).add(line.id)
    return found


def blended_area_mm2(plan: StageBlends) -> float:
    """Area that the planned blends take from the row together [mm²]."""
    return sum(b.taken.area_mm2 for b in plan.blended)
