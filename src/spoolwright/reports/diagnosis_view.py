"""A diagnosis arranged for reading: the same words and rows for terminal, page and print."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from spoolwright.crafts.testcell.diagnosis.model import (
    Check,
    Diagnosis,
    Evidence,
    Magnitude,
    Pair,
    Suspect,
)
from spoolwright.crafts.testcell.diagnosis.telling import FEW
from spoolwright.crafts.testcell.diagnosis.words import in_words, size_texts
from spoolwright.reports import diagnosis_how as how
from spoolwright.reports.figures import number, percent
from spoolwright.reports.labels import words

TOLD: Final = 0.05
"""A cause less probable than this stands in the list of all causes only, unless nothing is more probable."""
FIRST_CHECKS: Final = 5
"""Next checks that stand open; those that follow tell less for their price."""
MOST: Final = 6
"""Causes ranked on the first page."""
_INFORMATION: Final = ((0.5, "tells much"), (0.15, "tells something"), (0.0, "tells little"))
_LARGE: Final = 1000.0
_UNIT: Final = re.compile(r"(?<=\d) (?=%|(?:h|K|kW|hp|deg)\b)")
"""The space between a number and its unit, at which no line is to break."""
_MINUS: Final = re.compile(r"(?<![\w.)])-(?=\d)")
_AGAINST: Final = " against the average engine at the same gas generator speed"
"""What the head of the column says of every reading."""
_SIGNATURE: Final = "Accepted by:"


@dataclass(frozen=True)
class Cause:
    """One line of the ranking: a cause, two causes at once, or nothing wrong."""

    name: str
    place: str
    note: str
    probability: float
    chance: str
    words: str
    sizes: tuple[tuple[str, str], ...]
    """Size and its 90 % interval, for every cause of the line."""
    reopen: str
    work: str
    how: str
    how_size: tuple[str, ...]
    how_work: str = ""


@dataclass(frozen=True)
class Block:
    """Lines that stand together: one, or causes that the data cannot tell apart."""

    causes: tuple[Cause, ...]
    probability: float
    chance: str
    words: str
    reasons: tuple[str, ...] = ()
    how: str = ""

    @property
    def is_group(self) -> bool:
        """Whether its causes cannot be told apart."""
        return bool(self.reasons)


@dataclass(frozen=True)
class CheckRow:
    """A next check."""

    text: str
    why: str
    bits: str
    words: str
    width: float
    hours: str
    cost: str
    per_hour: str
    how: str


@dataclass(frozen=True)
class EvidenceRow:
    """What one observation says."""

    what: str
    seen: str
    expected: str
    words: str
    width: float
    """Percent of the drawing's half; the strongest has 100."""


@dataclass(frozen=True)
class Case:
    """What speaks for and against a cause."""

    name: str
    chance: str
    speaks_for: tuple[EvidenceRow, ...]
    speaks_against: tuple[EvidenceRow, ...]
    how: str


def answer(d: Diagnosis) -> str:
    """The sentence that answers, without the place for a signature, which has a line of its own."""
    return _unsigned(d.sentence)


def proposal(d: Diagnosis) -> str:
    """What is proposed, without the place for a signature."""
    return _unsigned(d.proposal).removeprefix("Proposed: ")


def _unsigned(text: str) -> str:
    return set_words(text.partition(_SIGNATURE)[0].rstrip())


def set_words(text: str) -> str:
    """Words as they are set: a true minus sign, and no line broken between a number and its unit."""
    return _UNIT.sub("\u00a0", _MINUS.sub("−", text))


def share(probability: float) -> str:
    """A probability in whole per cent, finer near its ends only: more digits than that nobody knows."""
    return f"{100.0 * probability:.0f} %" if 0.01 <= probability <= 0.99 else percent(probability)


def size(m: Magnitude) -> tuple[str, str]:
    """A size and its interval as text."""
    mean, interval = size_texts(m)
    return _MINUS.sub("−", mean), _MINUS.sub("−", interval)


def work(d: Diagnosis, hours: float | None, cost: float | None) -> str:
    """Hours and money as text."""
    return ", ".join(filter(None, (hours_text(hours), money(d, cost))))


def hours_text(hours: float | None) -> str:
    """Hours as text; empty where nobody knows."""
    return "" if hours is None else f"{number(hours, 0 if hours >= 10 or hours == int(hours) else 1)} h"


def money(d: Diagnosis, cost: float | None) -> str:
    """Money as text; empty where there is none or nobody knows."""
    return f"{number(cost, 0)} {d.currency}".rstrip() if cost else ""


def blocks(d: Diagnosis) -> list[Block]:
    """The ranking: groups, single causes, pairs, nothing wrong; the most probable first."""
    grouped = {c for g in d.groups for c in g.causes}
    known = {s.id: s for s in d.suspects}
    found = [
        _block(
            tuple(_cause(d, known[c]) for c in g.causes if c in known),
            g.probability,
            g.reason,
            how.group_id(g),
        )
        for g in d.groups
    ]
    single = [s for s in ranked(d) if s.id not in grouped]
    least = TOLD if found else min(TOLD, max((s.probability for s in single), default=TOLD))
    found += [_alone(_cause(d, s)) for s in single if s.probability >= least][:MOST]
    found += [_alone(_pair(d, p)) for p in d.pairs if p.probability >= TOLD]
    if not found and d.outcome == "cannot_tell":
        return []
    return sorted([*found, _alone(_healthy(d))], key=_place)


def _place(b: Block) -> tuple[bool, float]:
    """Order of the ranking: a pair more probable than not stands above its two causes, which it explains."""
    is_pair = len(b.causes[0].sizes) > 1
    return not (is_pair and b.probability > 0.5), -b.probability


def ranked(d: Diagnosis) -> list[Suspect]:
    """All causes, the most probable first."""
    return sorted(d.suspects, key=lambda s: -s.probability)


def _block(causes: tuple[Cause, ...], probability: float, reason: str, link: str) -> Block:
    reasons = tuple(set_words(r[:1].upper() + r[1:]) for r in reason.rstrip(".").split("; ") if r)
    return Block(causes, probability, share(probability), in_words(probability), reasons or ("",), link)


def _alone(c: Cause) -> Block:
    return Block((c,), c.probability, c.chance, c.words)


def _cause(d: Diagnosis, s: Suspect) -> Cause:
    return Cause(
        name=s.text,
        place="the reading" if s.kind == "reading" else s.module_name,
        note=f"alone {share(s.alone)}, else with another" if s.alone < 0.8 * s.probability else "",
        probability=s.probability,
        chance=share(s.probability),
        words=s.words or in_words(s.probability),
        sizes=(size(s.magnitude),),
        reopen=s.reopen,
        work=work(d, s.hours, s.cost),
        how=how.suspect_id(s),
        how_size=(how.size_id(s),),
        how_work=how.work_id(s),
    )


def _pair(d: Diagnosis, p: Pair) -> Cause:
    known = {s.id: s for s in d.suspects}
    first, second = (
        text or (known[c].text if c in known else words(c)) for c, text in zip(p.causes, p.texts, strict=True)
    )
    return Cause(
        name=f"{first} and {second[:1].lower()}{second[1:]}",
        place="both at once",
        note="",
        probability=p.probability,
        chance=share(p.probability),
        words=in_words(p.probability),
        sizes=tuple(size(m) for m in p.magnitudes),
        reopen="",
        work="",
        how=how.pair_id(p),
        how_size=(how.pair_id(p),) * 2,
    )


def _healthy(d: Diagnosis) -> Cause:
    return Cause(
        name="Nothing wrong",
        place="within build scatter",
        note="",
        probability=d.healthy,
        chance=share(d.healthy),
        words=in_words(d.healthy),
        sizes=(),
        reopen="",
        work="",
        how=how.HEALTHY,
        how_size=(),
    )


def explains(d: Diagnosis) -> str:
    """The cause whose effect is drawn beside what was seen; empty where nothing wrong explains it best."""
    if not any(r.explained for r in d.residuals):
        return ""
    best = max(d.pairs, key=lambda p: p.probability, default=None)
    first = next(iter(ranked(d)), None)
    if best is not None and first is not None and best.probability > first.alone:
        return _pair(d, best).name
    return "" if first is None else first.text


def every(d: Diagnosis) -> list[tuple[Cause, str]]:
    """All causes, with the probability of being the only one; then pairs."""
    causes = [(_cause(d, s), share(s.alone)) for s in ranked(d)]
    pairs = sorted(d.pairs, key=lambda p: -p.probability)
    return causes + [(_pair(d, p), "–") for p in pairs]


def fit(d: Diagnosis) -> tuple[bool, str]:
    """Whether the most probable explanation explains the run, and the sentence that tells it."""
    told = f"a misfit as large as this comes about in {share(d.outside)} of runs where it is true."
    if d.outside < FEW:
        return False, f"Even for the most probable explanation {told} Something else may be at work."
    return True, f"The most probable explanation fits: {told}"


def checks(d: Diagnosis) -> list[CheckRow]:
    """Next checks, the one that tells most for its hours and money first; a bit fills the bar at least."""
    top = max((1.0, *(c.information for c in d.checks)))
    return [_check(d, c, top) for c in sorted(d.checks, key=lambda c: -c.per_hour)]


def _check(d: Diagnosis, c: Check, top: float) -> CheckRow:
    return CheckRow(
        text=c.text,
        why=c.why,
        bits=number(c.information, 2),
        words=next((w for least, w in _INFORMATION if c.information >= least), "tells little"),
        width=round(100.0 * max(c.information, 0.0) / top, 1),
        hours=hours_text(c.hours) or "–",
        cost=money(d, c.cost) or "–",
        per_hour=number(c.per_hour, 2),
        how=how.check_id(c),
    )


def leading(d: Diagnosis) -> list[Suspect]:
    """Causes that evidence and margins are told of: those of the ranking, the most probable first."""
    known = {s.id: s for s in d.suspects}
    grouped = [c for g in sorted(d.groups, key=lambda g: -g.probability) for c in g.causes if c in known]
    likely = [s for s in ranked(d) if s.probability >= TOLD or s.id in grouped]
    return (likely or ranked(d)[:1])[:MOST]


def cases(d: Diagnosis) -> list[Case]:
    """For and against, cause by cause."""
    told = [s for s in leading(d) if s.evidence_for or s.evidence_against]
    top = max((abs(e.weight) for s in told for e in (*s.evidence_for, *s.evidence_against)), default=1.0)
    return [
        Case(
            name=s.text,
            chance=share(s.probability),
            speaks_for=tuple(_evidence(e, top) for e in _strongest(s.evidence_for)),
            speaks_against=tuple(_evidence(e, top) for e in _strongest(s.evidence_against)),
            how=how.suspect_id(s),
        )
        for s in told
    ]


def _strongest(items: tuple[Evidence, ...]) -> list[Evidence]:
    return sorted(items, key=lambda e: -abs(e.weight))


def _evidence(e: Evidence, top: float) -> EvidenceRow:
    return EvidenceRow(
        set_words(e.what),
        set_words(e.seen.removesuffix(_AGAINST)),
        set_words(e.expected),
        factor(e.weight),
        round(100.0 * abs(e.weight) / (top or 1.0), 1),
    )


def factor(weight: float) -> str:
    """By how much an observation moves the odds, in words."""
    times = math.exp(min(abs(weight), 50.0))
    if times < 1.05:
        return "says nothing"
    told = f"over {number(_LARGE, 0)}" if times > _LARGE else number(times, 0 if times >= 10.0 else 1)
    return f"{told} times {'more' if weight > 0 else 'less'} probable"
