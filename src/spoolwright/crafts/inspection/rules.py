"""Which paragraph covers a finding, and what it says. Limits are data; no limit, no verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from spoolwright.crafts.inspection.company import Company
from spoolwright.crafts.inspection.cut import BlendSize as BlendSize
from spoolwright.crafts.inspection.cut import chord_at as chord_at
from spoolwright.crafts.inspection.cut import smallest_blend as smallest_blend
from spoolwright.crafts.inspection.model import Check, FindingRecorded, Judgement, Proposed
from spoolwright.crafts.inspection.stage import Earlier as Earlier
from spoolwright.crafts.inspection.stage import Stage as Stage
from spoolwright.crafts.inspection.stage import covering as covering
from spoolwright.crafts.typefile.shop.inspection import DamageLimit

Tried = list[tuple[DamageLimit, tuple[Check, ...]]]
SURE = 0.95
"""A probability of conforming below this is told in the sentence."""


def judge_finding(finding: FindingRecorded, stage: Stage) -> Judgement:
    """What the limits propose for a finding, given everything else on its stage.

    The answer does not depend on the order in which findings were recorded: counts, spacing and neighbours
    look at all of them.
    """
    if finding.withdrawn:
        raise ValueError("a withdrawn finding is not judged")
    if finding not in stage.findings:
        stage = replace(stage, findings=(*stage.findings, finding))
    company = Company(stage)
    return _judged(company.findings.index(finding), company)


def judge_stage(stage: Stage) -> list[Judgement | None]:
    """The proposal for each finding of a stage, in their order; none for a withdrawn one."""
    company = Company(stage)
    judged = iter([_judged(i, company) for i in range(len(company.findings))])
    return [None if f.withdrawn else next(judged) for f in stage.findings]


def checks_of(finding: FindingRecorded, line: DamageLimit, stage: Stage) -> tuple[Check, ...]:
    """Every comparison that a line of the limits asks for."""
    if finding not in stage.findings:
        stage = replace(stage, findings=(*stage.findings, finding))
    company = Company(stage)
    return company.checks(company.findings.index(finding), line)


def _judged(i: int, company: Company) -> Judgement:
    finding, lines = company.findings[i], company.lines(i)
    if not lines:
        told = f"no limit covers {_article(finding)} in this zone of {company.stage.part.name}."
        return Judgement(proposed=Proposed.REFER, words=f"Refer to engineering: {told}")
    for line in (x for x in lines if x.allows == "nothing"):
        words = f"Outside limits: {_article(finding)} is not allowed here at all."
        return _told(Proposed.OUTSIDE, words, line, ())
    tried: Tried = []
    for allows, proposed in (("as is", Proposed.AS_IS), ("blend", Proposed.BLEND)):
        here = [(line, company.checks(i, line)) for line in lines if line.allows == allows]
        for line, checks in here:
            if all(c.holds for c in checks):
                return _told(proposed, _inside(proposed, checks), line, checks)
        for line, checks in here:
            if not any(c.holds is False for c in checks):
                missing = ", ".join(c.bound for c in checks if c.holds is None)
                return _told(Proposed.MEASURE, f"Measure first: {missing}.", line, checks)
        tried += here
    line, checks = tried[-1]
    failed = "; ".join(f"{c.bound} {c.reading}, limit {c.limit}" for c in checks if c.holds is False)
    return _told(Proposed.OUTSIDE, f"Outside limits: {failed}.", line, checks)


def _inside(proposed: Proposed, checks: Iterable[Check]) -> str:
    """The sentence of a finding within limits; a bound that may not hold in truth is named."""
    words = proposed.value[0].upper() + proposed.value[1:]
    measured = [(c.probability, c) for c in checks if c.probability is not None]
    if not measured or (least := min(measured, key=lambda m: m[0]))[0] >= SURE:
        return f"{words}."
    chance, check = least
    return (
        f"{words}; {check.bound} {check.reading}, {check.limit}: {percent(chance)} probability of conforming."
    )


def percent(chance: float) -> str:
    """A probability as people read it; never rounded up to certainty."""
    if chance > 0.995:
        return "over 99 %"
    return "under 1 %" if chance < 0.005 else f"{100 * chance:.0f} %"


def _told(proposed: Proposed, words: str, line: DamageLimit, checks: Iterable[Check]) -> Judgement:
    paragraph = f"{line.source.document}, {line.source.paragraph}"
    return Judgement(proposed=proposed, words=words, limit=line.id, paragraph=paragraph, checks=tuple(checks))


def _article(finding: FindingRecorded) -> str:
    word = finding.damage.value
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"
