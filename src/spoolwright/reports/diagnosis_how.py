"""How the numbers of a diagnosis came to be: its own derivations, and what its record tells of all others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from spoolwright.crafts.testcell.diagnosis.model import (
    Check,
    Diagnosis,
    Evidence,
    Group,
    Pair,
    Residual,
    Suspect,
)
from spoolwright.crafts.testcell.diagnosis.words import size_texts
from spoolwright.crafts.testcell.model import Derivation, Input
from spoolwright.reports.derived import Family, gathered, results_of
from spoolwright.reports.diagnosis_charts import scale_of
from spoolwright.reports.figures import number, percent

HEALTHY: Final = "probability:nothing_wrong"
OUTSIDE: Final = "misfit"
_WEIGHED: Final = "core.diagnosis.weighing.weighed"
_POSTERIOR: Final = (
    "prior share × likelihood, size integrated over its prior; over the sum for all explanations"
)
_BAYES: Final = (
    "Bayes' rule; normal likelihood with build scatter, instrument and model errors in one covariance"
)


def suspect_id(s: Suspect) -> str:
    """Id of the derivation of a cause's probability."""
    return f"probability:{s.id}"


def size_id(s: Suspect) -> str:
    """Id of the derivation of a cause's size."""
    return f"size:{s.id}"


def work_id(s: Suspect) -> str:
    """Id of the derivation of a cause's hours and money."""
    return f"work:{s.id}"


def group_id(g: Group) -> str:
    """Id of the derivation of a group's probability."""
    return f"probability:{'|'.join(g.causes)}"


def pair_id(p: Pair) -> str:
    """Id of the derivation of a pair's probability and sizes."""
    return f"probability:{'+'.join(p.causes)}"


def check_id(c: Check) -> str:
    """Id of the derivation of what a check is worth."""
    return f"check:{c.id}"


def residual_id(output: str) -> str:
    """Id of the derivation of an output's residuals."""
    return f"residual:{output}"


def families(d: Diagnosis) -> list[Family]:
    """Derivations by calculation: the diagnosis's own where it has one, else told from its record."""
    made = {h.id: (h, told) for h, told in _made(d) if h.id not in d.derivations}
    told = {id: text for id, (_, text) in made.items()}
    return gathered({**d.derivations, **{id: h for id, (h, _) in made.items()}}, results_of(d), told)


def _made(d: Diagnosis) -> Iterator[tuple[Derivation, str]]:
    if d.residuals:
        yield _nothing_wrong(d), percent(d.healthy)
        yield _misfit(d), percent(d.outside)
    for s in d.suspects:
        yield _probability(d, s), percent(s.probability)
        yield _size(d, s), size_texts(s.magnitude)[0]
        yield _work(d, s), ""
    for g in d.groups:
        yield _group(d, g), percent(g.probability)
    for p in d.pairs:
        yield _pair(d, p), percent(p.probability)
    for c in d.checks:
        yield _check(d, c), f"{number(c.information, 2)} bit"
    for _, rows in groupby(sorted(d.residuals, key=lambda r: r.output), key=lambda r: r.output):
        yield _residual(d, list(rows)), ""


def _entry(
    d: Diagnosis,
    id: str,
    title: str,
    formula: str,
    inputs: Sequence[Input],
    *,
    by: str = _WEIGHED,
    source: str = _BAYES,
) -> Derivation:
    return Derivation(
        id=id,
        title=title,
        calculation=by,
        version=d.program,
        formula=formula,
        inputs=tuple(inputs),
        reference=source,
    )


def _given(name: str, value: float | str, origin: str, unit: str = "") -> Input:
    return Input(name=name, value=value, unit=unit, origin=origin)


def _rests_on(d: Diagnosis) -> list[Input]:
    return [
        _given("prior shares", d.priors, "use of the program"),
        _given("average engine", d.baseline, "baseline"),
        _given(
            "residuals",
            f"{len(d.residuals)} at {len({r.point for r in d.residuals})} points",
            "this diagnosis",
        ),
    ]


def _nothing_wrong(d: Diagnosis) -> Derivation:
    return _entry(d, HEALTHY, "Probability that nothing is wrong", _POSTERIOR, _rests_on(d))


def _misfit(d: Diagnosis) -> Derivation:
    formula = "probability of a misfit at least this large if the most probable explanation were true"
    return _entry(
        d, OUTSIDE, "Fit of the most probable explanation", formula, _rests_on(d)[1:],
        by="core.diagnosis", source="covariance of the residuals as they were weighed",
    )  # fmt: skip


def _probability(d: Diagnosis, s: Suspect) -> Derivation:
    told = [_weight(e) for e in (*s.evidence_for, *s.evidence_against)]
    alone = _given("as the only cause", percent(s.alone), "this diagnosis")
    return _entry(d, suspect_id(s), f"Probability: {s.text}", _POSTERIOR, [*_rests_on(d), alone, *told])


def _weight(e: Evidence) -> Input:
    text = f"{e.seen}; the cause would show {e.expected}"
    return _given(f"ln of the factor, {e.what}", round(e.weight, 3), text)


def _size(d: Diagnosis, s: Suspect) -> Derivation:
    m = s.magnitude
    ends = [
        _given("lower end, 5 %", m.low, "this diagnosis", m.unit),
        _given("upper end, 95 %", m.high, "this diagnosis", m.unit),
    ]
    if m.step is not None:
        ends.append(_given("a size of 1", m.step, "uncertainty budget of the channel", m.step_unit))
    formula = "mean and middle 90 % of the size's posterior, if this is the cause"
    return _entry(d, size_id(s), f"Size: {s.text}", formula, [*ends, *_rests_on(d)[1:]])


def _work(d: Diagnosis, s: Suspect) -> Derivation:
    table = "the shop's cost table"
    given = [
        _given("what is opened or changed", s.reopen or "not told", table),
        _given(
            "hours", "not in the table" if s.hours is None else s.hours, table, "" if s.hours is None else "h"
        ),
        _given(
            "money",
            "not in the table" if s.cost is None else f"{number(s.cost, 0)} {d.currency}".rstrip(),
            table,
        ),
    ]
    return _entry(d, work_id(s), f"Work: {s.text}", "as entered", given, by="shop's table", source=table)


def _group(d: Diagnosis, g: Group) -> Derivation:
    known = {s.id: s for s in d.suspects}
    members = [
        _given(known[c].text, percent(known[c].probability), suspect_id(known[c]))
        for c in g.causes
        if c in known
    ]
    formula = "sum over all explanations that hold a cause of the group"
    return _entry(d, group_id(g), "Probability: one of the group", formula, members, source=g.reason)


def _pair(d: Diagnosis, p: Pair) -> Derivation:
    known = {s.id: s.text for s in d.suspects}
    sizes = [
        _given(
            f"size, {known.get(c, c)}",
            "{} ({})".format(*size_texts(m)),
            "this diagnosis",
        )
        for c, m in zip(p.causes, p.magnitudes, strict=True)
    ]
    return _entry(d, pair_id(p), "Probability: both at once", _POSTERIOR, [*_rests_on(d), *sizes])


def _check(d: Diagnosis, c: Check) -> Derivation:
    given = [
        _given("fall of the uncertainty", c.information, "this diagnosis", "bit"),
        _given("hours", c.hours, "the shop's cost table", "h"),
        _given("money", f"{number(c.cost, 0)} {d.currency}".rstrip(), "the shop's cost table"),
        _given("information per hour, money counted as hours", c.per_hour, "this diagnosis", "bit/h"),
    ]
    formula = "entropy over the causes now less its expectation after the check"
    return _entry(
        d, check_id(c), f"Worth of the check: {c.text}", formula, given,
        by="crafts.testcell.diagnosis", source="Shannon's entropy in bits; cost counted as hours",
    )  # fmt: skip


def _residual(d: Diagnosis, rows: list[Residual]) -> Derivation:
    factor, unit = scale_of(rows[0].output)
    given = [
        _given(
            f"point {r.point}",
            f"{number(factor * r.value, 2)} ± {number(2 * factor * r.standard_uncertainty, 2)} {unit}",
            f"the most probable cause gives {number(factor * r.explained, 2)} {unit}",
        )
        for r in rows
    ]
    formula = "ln(observed / modelled), angles by difference; less what is expected of the average engine"
    return _entry(
        d, residual_id(rows[0].output), f"Residuals: {rows[0].name}", formula, given,
        by="core.diagnosis.comparison.compared", source=d.baseline,
    )  # fmt: skip
