"""A computed forecast as records: figures that explain themselves, and the answer in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from spoolwright.core.diagnosis.forecast.build import FACTORS, Expected, expected_build
from spoolwright.core.diagnosis.forecast.outlook import MOST_LOST, Outlook
from spoolwright.core.diagnosis.forecast.published import CAUSES
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.forecast.case import Computed
from spoolwright.crafts.testcell.forecast.model import (
    Doubt,
    Eaten,
    Effect,
    FactorRow,
    Forecast,
    FoundRow,
    LimitForecast,
    Option,
    Outcome,
    Range,
    RuleRow,
)
from spoolwright.crafts.testcell.ledger import Ledger, Shown, figure
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.wording import joined, percent
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.units import INNER_UNIT

LIKELY, UNLIKELY = 0.90, 0.50
"""From this probability of passing on a forecast is called likely; below the second, unlikely."""
CAUTIONS: Final = (
    "A forecast advises; it is no test and no release. The run and the approved documents decide.",
    "Probabilities hold as far as the stated rules, the model and the build sheet do.",
)
_WORD: Final = {
    "likely": "likely to pass",
    "uncertain": "may pass or fail",
    "unlikely": "more likely to fail",
}


def outcome_of(p: float, *, told: bool) -> Outcome:
    """The word for a probability of passing."""
    if not told:
        return "cannot_tell"
    return "likely" if p >= LIKELY else "unlikely" if p < UNLIKELY else "uncertain"


class Teller:
    """Writes a computed forecast."""

    def __init__(self, c: Computed) -> None:
        self.c = c
        self.ledger = Ledger()
        self.expected: Expected = expected_build(c.build, c.basis.rules)
        self.reasons = self._reasons()

    def forecast(self) -> Forecast:
        """The records."""
        c, sheet = self.c, self.c.asked.sheet
        type_file = c.basis.reduction.type_file
        limits = tuple(self._limit(m) for m in range(len(c.limits)))
        p = c.outlook.passing_all
        word = outcome_of(p, told=not self.reasons)
        return Forecast(
            type_id=type_file.type.id,
            type_name=type_file.type.name,
            demonstration=type_file.type.demonstration,
            engine_serial=sheet.engine.serial,
            visit=sheet.engine.visit,
            limit_set=next(s.name for s in type_file.limit_set if s.id == sheet.limit_set),
            cell=next(x.name for x in type_file.cell if x.id == sheet.cell),
            prepared_on=sheet.prepared_on.isoformat(),
            prepared_by=sheet.prepared_by,
            sheet_file=c.asked.sheet_file,
            sheet_sha256=c.asked.sheet_sha256,
            model_basis=c.basis.model_basis,
            rules_basis=c.basis.rules_basis,
            draws=c.asked.draws,
            seed=c.asked.seed,
            outcome=word,
            answer=self._answer(word, p, limits),
            reasons=tuple(self.reasons),
            passing_all=p,
            passing_error=_error(p, c.asked.draws),
            governing=c.limits[c.governing].limit.id,
            limits=limits,
            eaten=self._eaten(),
            doubts=tuple(Doubt(cause=k, share=s) for k, s in c.shares),
            options=tuple(self._option(i) for i in range(len(c.tried))),
            currency=c.asked.costs.currency if c.asked.costs else "",
            findings=tuple(self._found(j) for j in range(len(c.found))),
            factors=self._factors(),
            rules=self._rules(),
            covariance=tuple(tuple(float(x) for x in row) for row in self.expected.covariance),
            notes=self._notes(),
            cautions=CAUTIONS,
            derivations=dict(self.ledger.derivations),
        )

    # the answer

    def _reasons(self) -> list[str]:
        """Why the forecast cannot be told, if it cannot."""
        c, out = self.c, []
        titles = [f.title for f in c.found]
        for j in dict.fromkeys(t.finding for t in self.expected.untold()):
            f = c.found[j]
            out.append(
                f"{titles[j]}: {f.finding.excess:+.3g} {_unit(f.finding.cause)} lies far outside what the "
                "rule holds for; measure it again, or put it right first"
            )
        if c.outlook.lost > MOST_LOST:
            out.append(
                f"in {percent(c.outlook.lost)} of the draws the model does not reach a rating; "
                "check the findings and their units"
            )
        return out

    def _answer(self, word: Outcome, p: float, limits: Sequence[LimitForecast]) -> str:
        if word == "cannot_tell":
            return "Whether this build will pass cannot be told."
        weak = limits[self.c.governing]
        head = f"This build is {_WORD[word]}" if word != "uncertain" else "This build may pass or fail"
        return f"{head}: {percent(p)} probability that the run clears every limit, {percent(weak.passing)} " \
            f"at the least sure, {weak.name}."  # fmt: skip

    # limits

    def _shown(self, m: int) -> Shown:
        x = self.c.limits[m].limit
        return Shown(DERIVED_QUANTITIES[x.quantity], x.unit)

    def _range(
        self, m: int, draws: FloatArray, how: str, *, difference: bool, mean: float | None = None
    ) -> Range:
        low, high = np.nanquantile(draws, [0.05, 0.95])
        middle = float(np.nanmean(draws)) if mean is None else mean
        spread = float(np.nanstd(draws))
        shown = self._shown(m)
        of = [figure(x, shown, how, difference=difference) for x in (float(low), float(high))]
        return Range(mean=figure(middle, shown, how, spread, difference=difference), low=of[0], high=of[1])

    def _limit(self, m: int) -> LimitForecast:
        c = self.c
        asked, r, o = c.limits[m], c.outlook.test.requirements[m], c.outlook
        how = self._limit_how(m)
        source = source_text(c.basis.reduction.type_file, asked.limit.source)
        shown = self._shown(m)
        reading = r.limit + r.sign * o.measured[m]
        p = float(o.passing[m])
        return LimitForecast(
            limit=asked.limit.id,
            name=asked.limit.name,
            rating=asked.rating.id,
            quantity=asked.limit.quantity,
            bound=asked.limit.bound,
            limit_value=figure(asked.value, shown, how),
            guard=figure(r.guard, shown, how, difference=True),
            reading=self._range(m, reading, how, difference=False),
            margin=self._range(m, o.measured[m], how, difference=True),
            measurement=figure(float(o.test.uncertainty[m]), shown, how, difference=True),
            passing=p,
            conforming=float(o.conforming[m]),
            outcome=outcome_of(p, told=not self.reasons),
            source=source,
        )

    def _limit_how(self, m: int) -> str:
        c, asked = self.c, self.c.limits[m]
        unit = INNER_UNIT[DERIVED_QUANTITIES[asked.limit.quantity]]
        inputs = [
            Input(name="limit", value=asked.value, unit=unit, origin=f"type file, limit '{asked.limit.id}'"),
            Input(
                name="guard band", value=c.outlook.test.requirements[m].guard, unit=unit, origin="JCGM 106"
            ),
            Input(
                name="standard uncertainty of the reading",
                value=float(c.outlook.test.uncertainty[m]),
                unit=unit,
                origin=f"expected points through the reduction, cell '{c.asked.sheet.cell}'",
            ),
            Input(name="draws", value=float(c.asked.draws), origin=f"Sobol points, seed {c.asked.seed}"),
            *(
                Input(name=f.title, value=f.as_built, origin=f"build sheet, {f.finding.name}")
                for f in c.found
            ),
        ]
        return self.ledger.enter(
            f"Forecast of {asked.limit.name}",
            "diagnosis.forecast.outlook.Forecaster",
            "findings, coefficients and build scatter drawn; each draw solved by the cycle model; the "
            "model's own errors and the reading's added; P = mean of Phi((margin - guard) / u)",
            inputs,
            "JCGM 106:2012, 8.3.2; JCGM 101:2008, 7",
        )

    # findings and changes

    def _eaten(self) -> tuple[Eaten, ...]:
        c = self.c
        rows = []
        for f, o in c.without:
            how = self._compare_how(f"What {f.title} takes", f.finding.name)
            effects = self._effects(c.compared.true - o.true, how)
            rows.append(
                Eaten(
                    finding=f.finding.name,
                    title=f.title,
                    effects=effects,
                    passing_without=o.passing_all,
                )
            )
        at = c.governing
        return tuple(sorted(rows, key=lambda e: e.effects[at].change.mean.value))

    def _effects(self, change: FloatArray, how: str) -> tuple[Effect, ...]:
        return tuple(
            Effect(limit=x.limit.id, change=self._range(m, change[m], how, difference=True))
            for m, x in enumerate(self.c.limits)
        )

    def _option(self, i: int) -> Option:
        t = self.c.tried[i]
        how = self._compare_how(t.change.title, ", ".join(t.change.names))
        effects = self._effects(t.outlook.true - self.c.compared.true, how)
        gain, error = _gain(t.outlook, self.c.compared)
        hours, money, lacking = t.cost
        return Option(
            id=t.change.id,
            title=t.change.title,
            findings=t.change.names,
            effects=effects,
            passing=tuple(float(p) for p in t.outlook.passing),
            passing_all=t.outlook.passing_all,
            gain=gain,
            gain_error=error,
            hours=hours,
            money=money,
            note=lacking,
        )

    def _compare_how(self, title: str, names: str) -> str:
        return self.ledger.enter(
            title,
            "diagnosis.forecast.outlook.changed",
            "margins of two builds with the same draws, subtracted draw by draw; nothing linearised",
            [Input(name="findings that differ", value=names, origin="build sheet")],
            "common random numbers",
        )

    def _found(self, j: int) -> FoundRow:
        f = self.c.found[j]
        outside = [t for t in self.expected.outside() if t.finding == j]
        note = ""
        if outside:
            t = max(outside, key=lambda t: t.beyond)
            note = (
                f"outside the range of the rule ({t.rule.low:g} to {t.rule.high:g} {_unit(t.rule.cause)}); "
                "its uncertainty is widened"
            )
        return FoundRow(
            name=f.finding.name,
            title=f.title,
            as_built=f.as_built,
            nominal=f.nominal,
            uncertainty=f.uncertainty,
            excess=f.finding.excess,
            excess_uncertainty=f.finding.uncertainty,
            excess_unit=_unit(f.finding.cause),
            note=note,
        )

    def _factors(self) -> tuple[FactorRow, ...]:
        e = self.expected
        total = np.sqrt(np.diag(e.covariance))
        rows = []
        modules = self.c.basis.reduction.type_file.module
        for i, name in enumerate(FACTORS):
            owner = next((m.name for m in modules if name in m.factors), "")
            told = math.sqrt(max(float(total[i] ** 2 - e.rest[i] ** 2), 0.0))
            rows.append(
                FactorRow(
                    factor=name,
                    module=owner,
                    mean=float(e.mean[i]),
                    standard_deviation=float(total[i]),
                    by_findings=told,
                    unit="deg" if name == "vane_offset" else "1",
                )
            )
        return tuple(rows)

    def _rules(self) -> tuple[RuleRow, ...]:
        e, book = self.expected, self.c.basis.rules
        prior = book.prior(e.coefficients.keys)
        outside = {t.coefficient for t in e.outside()}
        rows = []
        for k, (name, stage) in enumerate(e.coefficients.keys):
            rule = book.named(name)
            rows.append(
                RuleRow(
                    rule=name,
                    stage=stage,
                    factor=rule.factor,
                    text=rule.text,
                    mean=float(e.coefficients.mean[k]),
                    standard_deviation=float(e.coefficients.standard_deviation[k]),
                    prior_mean=float(prior.mean[k]),
                    prior_standard_deviation=float(prior.standard_deviation[k]),
                    unit=_coefficient_unit(rule.factor, rule.cause),
                    source=rule.source,
                    outside=k in outside,
                )
            )
        return tuple(rows)

    def _notes(self) -> tuple[str, ...]:
        c, sheet = self.c, self.c.asked.sheet
        silent = [
            word
            for word, given in (
                ("tip clearances", sheet.clearance),
                ("nozzle areas", sheet.nozzle),
                ("blends", sheet.blend),
                ("blade roughness", sheet.roughness),
                ("the compressor's surface", sheet.surface),
                ("seal clearances", sheet.seal),
                ("leak checks", sheet.leak_check),
                ("vane rigging", sheet.vanes),
                ("drag of gears and accessories", sheet.drag),
            )
            if not given
        ]
        out = [c.basis.model_basis, c.basis.rules_basis]
        if silent:
            out.append(f"Not on the build sheet, left to scatter as builds do: {joined(silent)}.")
        return tuple(out)


def _gain(o: Outlook, base: Outlook) -> tuple[float, float]:
    """Gain in the probability of passing all limits, with its standard error: the draws are paired."""
    guard = np.array([[r.guard] for r in o.test.requirements])
    apart = np.all(o.measured >= guard, axis=0).astype(float) - np.all(base.measured >= guard, axis=0)
    return float(np.mean(apart)), float(np.std(apart) / math.sqrt(apart.size))


def _error(p: float, draws: int) -> float:
    return math.sqrt(max(p * (1.0 - p), 1.0 / draws) / draws)


def _unit(cause: str) -> str:
    text = CAUSES[cause]
    return text[text.rindex("[") + 1 : -1]


def _coefficient_unit(factor: str, cause: str) -> str:
    top = "deg" if factor == "vane_offset" else "%"
    return f"{top} per {_unit(cause)}"


def told(c: Computed) -> Forecast:
    """A computed forecast as records."""
    return Teller(c).forecast()
