"""Verdicts: a reading with its uncertainty against an approved limit. The tool only proposes."""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, field

from spoolwright.core.measurement.decision import (
    ConformanceProbability,
    Conformity,
    GuardBand,
    ToleranceInterval,
    acceptance_interval,
    conformance_probability,
)
from spoolwright.core.measurement.prior import Prior
from spoolwright.core.measurement.risk import conformance_probability_with_prior, guard_for_specific_risk
from spoolwright.crafts.testcell.ledger import Ledger, Shown, figure, share_inputs
from spoolwright.crafts.testcell.model import Finding, GateState, Input, Verdict
from spoolwright.crafts.testcell.reading import ScalarReading
from spoolwright.crafts.testcell.rules.in_force import Demand, Untold, demands
from spoolwright.crafts.testcell.rules.settle import settling_step
from spoolwright.crafts.testcell.wording import amount, percent
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES, Limit
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import RangeError
from spoolwright.units import INNER_UNIT

USUAL_RISK = 0.05
"""Consumer's risk that a step to settle a reading aims at, where the limit names none."""
_RANK = {"does_not_meet": 0, "cannot_tell": 1, "meets": 2}


@dataclass(frozen=True)
class Judging:
    """What stands around a reading when it is judged.

    `gates` are those that fail or are unknown for the run; they bar performance readings (regime 'rating').
    `priors` by limit id: printed with the verdict, without any part in whether the reading meets the limit.
    """

    type_file: TypeFile
    ledger: Ledger
    findings: dict[str, Finding] = field(default_factory=dict)
    gates: tuple[GateState, ...] = ()
    priors: dict[str, Prior] = field(default_factory=dict)


@dataclass(frozen=True)
class _Case:
    """One comparison made, ready to be worded."""

    demand: Demand
    conformity: Conformity
    outcome: str
    acceptance: float
    risk: float

    @property
    def margin(self) -> float:
        """Distance to the limit, positive on the good side."""
        d = self.demand
        return d.limit - d.value if d.bound == "max" else d.value - d.limit


def shown_for(limit: Limit, type_file: TypeFile) -> Shown:
    """How readings under a limit are shown: in the limit's unit, the channel's second unit beside."""
    channel = next((c for c in type_file.channel if c.id == limit.quantity), None)
    if channel is None:
        return Shown(DERIVED_QUANTITIES[limit.quantity], limit.unit)
    return Shown(channel.dimension, limit.unit, channel.also_shown_in)


def judge(limit: Limit, reading: ScalarReading, around: Judging) -> Verdict | None:
    """The verdict on one reading; None when the limit does not count at it."""
    barred = _barred(limit, reading, around)
    if barred is not None:
        return _untold(limit, reading, around, barred)
    asked = demands(limit, reading, shown_for(limit, around.type_file))
    if asked is None:
        return None
    if isinstance(asked, Untold):
        return _untold(limit, reading, around, asked)
    cases = [_compared(limit, d, reading, around.priors.get(limit.id)) for d in asked]
    worst = min(cases, key=lambda c: (_RANK[c.outcome], c.conformity.probability.conforming))
    if reading.thin and worst.outcome == "meets":
        return _untold(limit, reading, around, Untold(reading.thin, reading.mend))
    return _told(limit, reading, around, worst)


def worst_of(verdicts: list[Verdict]) -> Verdict:
    """The verdict that decides among several readings under one limit: the worst, then the least sure."""

    def key(v: Verdict) -> tuple[int, float, float]:
        chance = 2.0 if v.probability_conforming is None else v.probability_conforming
        distance = math.inf
        if v.margin is not None and v.limit_value is not None:
            distance = v.margin.value / (abs(v.limit_value.value) or 1.0)
        return _RANK[v.outcome], chance, distance

    worst = min(verdicts, key=key)
    rests = dict.fromkeys(x for v in verdicts for x in v.rests_on)
    return worst.model_copy(update={"rests_on": tuple(rests)})


def _barred(limit: Limit, reading: ScalarReading, around: Judging) -> Untold | None:
    if not math.isfinite(reading.value):
        mend = reading.mend or "Repeat it with the channels recorded."
        return Untold(reading.why_not or "the reading could not be made", mend)
    if not math.isfinite(reading.uncertainty):
        return Untold("its uncertainty cannot be stated", reading.mend or "Repeat it with steady readings.")
    doubts = [around.findings[f] for f in reading.findings if f in around.findings]
    open_doubts = [f for f in doubts if f.bars_use and not f.corrected_by]
    if open_doubts:
        return Untold("; ".join(f.text.rstrip(".") for f in open_doubts), open_doubts[0].mend)
    if limit.regime == "rating" and around.gates:
        return Untold("; ".join(g.text for g in around.gates), around.gates[0].mend)
    return None


def _compared(limit: Limit, demand: Demand, reading: ScalarReading, prior: Prior | None) -> _Case:
    tolerance = (
        ToleranceInterval(upper=demand.limit)
        if demand.bound == "max"
        else ToleranceInterval(lower=demand.limit)
    )
    u, nu = demand.uncertainty, reading.degrees_of_freedom
    guard = GuardBand()
    if u > 0.0 and limit.guard_consumer_risk is not None:
        guard = guard_for_specific_risk(tolerance, u, limit.guard_consumer_risk, nu)
    found = Conformity(tolerance, demand.value, _probability(tolerance, demand, nu, prior), guard)
    outcome = "meets" if found.accepted else ("cannot_tell" if found.reading_meets else "does_not_meet")
    low, high = acceptance_interval(tolerance, guard)
    return _Case(
        demand,
        found,
        outcome,
        high if demand.bound == "max" else low,
        limit.guard_consumer_risk or USUAL_RISK,
    )


def _probability(
    tolerance: ToleranceInterval, demand: Demand, nu: float, prior: Prior | None
) -> ConformanceProbability:
    if demand.uncertainty <= 0.0:
        inside = float(tolerance.holds(demand.value))
        return ConformanceProbability(inside, 1.0 - inside, "normal")
    if prior is not None:
        # A prior that excludes the reading is no reason to fail: the reading then stands alone.
        with contextlib.suppress(RangeError):
            return conformance_probability_with_prior(tolerance, demand.value, demand.uncertainty, prior, nu)
    return conformance_probability(tolerance, demand.value, demand.uncertainty, nu)


def _told(limit: Limit, reading: ScalarReading, around: Judging, case: _Case) -> Verdict:
    d, found = case.demand, case.conformity
    shares = {s.cause: s.uncertainty for s in reading.shares} if d.value == reading.value else {}
    step = "" if case.outcome == "does_not_meet" else _step(case, shares)
    why = (_guard_words(case),) if case.outcome == "cannot_tell" else ()
    source = source_text(around.type_file, limit.source)
    how = _reading_derivation(reading, around)
    return _verdict(limit, reading, around).model_copy(
        update={
            "outcome": case.outcome,
            "sentence": _sentence(limit, case, source, why),
            "reading": figure(d.value, d.shown, how, d.uncertainty),
            "limit_value": figure(d.limit, d.shown, _limit_derivation(limit, reading, around, d)),
            "margin": figure(
                case.margin,
                d.shown,
                _margin_derivation(limit, around, d, how),
                d.uncertainty,
                difference=True,
            ),
            "bound": d.bound,
            "probability_conforming": found.probability.conforming,
            "consumer_risk": found.consumer_risk,
            "producer_risk": found.producer_risk,
            "acceptance_limit": figure(case.acceptance, d.shown, how) if found.guard.width > 0.0 else None,
            "prior": "; ".join(str(p) for p in found.priors) or _unused(around.priors.get(limit.id)),
            "why": why,
            "next_step": step,
        }
    )


def _unused(prior: Prior | None) -> str:
    return "none" if prior is None else f"none; {prior} was not used: it and the reading exclude each other"


def _step(case: _Case, shares: dict[str, float]) -> str:
    if case.outcome == "meets" and case.conformity.probability.conforming >= 1.0 - case.risk:
        return ""
    step = settling_step(case.margin, case.demand.uncertainty, shares, case.risk, case.demand.shown)
    return f"{step} Refer to engineering." if case.outcome == "cannot_tell" and "closer to" in step else step


def _guard_words(case: _Case) -> str:
    d = case.demand
    return (
        "the reading lies within the limit, but beyond the acceptance limit "
        f"{amount(case.acceptance, d.shown)} that holds the consumer's risk to {percent(case.risk)}"
    )


def _sentence(limit: Limit, case: _Case, source: str, why: tuple[str, ...]) -> str:
    d = case.demand
    kind = "at most" if d.bound == "max" else "at least"
    what = f" ({d.what})" if d.what else ""
    value = amount(d.value, d.shown, d.uncertainty or None, apart=case.margin)
    bound = amount(d.limit, d.shown)
    chance = (
        f"probability that the true value conforms {percent(case.conformity.probability.conforming)}"
        if d.uncertainty > 0.0
        else "no uncertainty is stated for it"
    )
    if case.outcome == "cannot_tell":
        return f"Cannot tell whether '{limit.name}' is met ({source}): {'; '.join(why)}; {chance}."
    verb = "meets" if case.outcome == "meets" else "does not meet"
    return f"Reading {value}{what} {verb} '{limit.name}', {kind} {bound} ({source}); {chance}."


def _untold(limit: Limit, reading: ScalarReading, around: Judging, reason: Untold) -> Verdict:
    source = source_text(around.type_file, limit.source)
    known = math.isfinite(reading.value)
    shown = shown_for(limit, around.type_file)
    how = _reading_derivation(reading, around) if known else ""
    return _verdict(limit, reading, around).model_copy(
        update={
            "sentence": f"Cannot tell whether '{limit.name}' is met ({source}): {reason.why.rstrip('.')}.",
            "reading": figure(reading.value, shown, how, reading.uncertainty) if known else None,
            "why": (reason.why,),
            "next_step": reason.mend,
            "rests_on": _rests_on(reading, around, gates=limit.regime == "rating"),
        }
    )


def _verdict(limit: Limit, reading: ScalarReading, around: Judging) -> Verdict:
    return Verdict(
        id=f"{limit.id}.{reading.run}.{reading.block}",
        limit=limit.id,
        name=limit.name,
        outcome="cannot_tell",
        sentence="",
        run=reading.run,
        point=reading.point,
        rating=limit.rating or reading.rating,
        block=reading.block,
        at_s=reading.at_s,
        reading=None,
        limit_value=None,
        bound=limit.bound,
        action=limit.action,
        source=source_text(around.type_file, limit.source),
        rests_on=_rests_on(reading, around, gates=limit.regime == "rating"),
    )


def _rests_on(reading: ScalarReading, around: Judging, *, gates: bool) -> tuple[str, ...]:
    items = [reading.quantity] if reading.quantity not in DERIVED_QUANTITIES else []
    items += [reading.point] if reading.point else []
    items += list(reading.findings)
    items += [g.gate for g in around.gates] if gates else []
    return tuple(dict.fromkeys(items))


def _reading_derivation(reading: ScalarReading, around: Judging) -> str:
    inputs = list(reading.inputs)
    if not any(i.name.startswith("uncertainty share") for i in inputs):
        parts: dict[str, float] = {}
        for s in reading.shares:
            parts[s.cause] = math.hypot(parts.get(s.cause, 0.0), s.uncertainty)
        inputs += share_inputs(parts, reading.unit)
    return around.ledger.enter(reading.title, reading.calculation, reading.formula, inputs, reading.reference)


def _limit_derivation(limit: Limit, reading: ScalarReading, around: Judging, demand: Demand) -> str:
    inputs = [Input(name="limit", value=limit.id, origin=f"type file, limit '{limit.id}'")]
    if limit.curve is not None and limit.curve.of in reading.conditions:
        of = limit.curve.of
        unit = INNER_UNIT[next(c.dimension for c in around.type_file.channel if c.id == of)]
        x = reading.conditions[of]
        inputs.append(Input(name=of, value=x, unit=unit, origin=f"channel {of} at the reading"))
    return around.ledger.enter(
        f"Limit: {limit.name}",
        "testcell.rules.in_force.demands",
        demand.what or "value of the approved document at the reading's conditions",
        inputs,
        source_text(around.type_file, limit.source),
    )


def _margin_derivation(limit: Limit, around: Judging, demand: Demand, how: str) -> str:
    formula = "limit - reading" if demand.bound == "max" else "reading - limit"
    unit = INNER_UNIT[demand.shown.dimension]
    return around.ledger.enter(
        f"Margin to: {limit.name}",
        "testcell.rules.verdict.judge",
        f"{formula}; probability of conforming by JCGM 106:2012, 7.2",
        [
            Input(name="reading", value=demand.value, unit=unit, origin=how),
            Input(name="standard uncertainty", value=demand.uncertainty, unit=unit, origin=how),
            Input(name="limit", value=demand.limit, unit=unit, origin=f"type file, limit '{limit.id}'"),
        ],
        source_text(around.type_file, limit.source),
    )
