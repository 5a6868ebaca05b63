"""The use case: forecast a run from the build sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from spoolwright.core.diagnosis.forecast.build import FACTORS, Build, Received, expected_build
from spoolwright.core.diagnosis.forecast.outlook import Forecaster, Outlook, changed
from spoolwright.core.diagnosis.forecast.rated import LEVELS, rated_slopes
from spoolwright.crafts.testcell.forecast.case import Asked, Computed, ForecastBasis, Tried
from spoolwright.crafts.testcell.forecast.change import Change, changes_of, cost_of, together
from spoolwright.crafts.testcell.forecast.found import Found, found_of
from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.crafts.testcell.forecast.received import kept_factors, received_by_readings
from spoolwright.crafts.testcell.forecast.run_to_come import limits_asked, run_to_come
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet, CostTable
from spoolwright.crafts.testcell.forecast.telling import told as in_records

COMPARED = 512
"""Draws of a comparison: with and without a finding, with and without a change."""
UNTOLD = 64
"""Draws where a finding lies so far out that the answer cannot be told."""
Tell = Callable[[str, float], None]


def forecast(
    asked: Asked, basis: ForecastBasis, received: Received | None = None, tell: Tell = lambda _, __: None
) -> Forecast:
    """Forecast a run; `received` is the module condition that a file tells of the engine on arrival."""
    return in_records(computed(asked, basis, received_of(asked.sheet, basis, received), tell))


def computed(
    asked: Asked, basis: ForecastBasis, received: Received | None = None, tell: Tell = lambda _, __: None
) -> Computed:
    """Compute a forecast: margins, what eats them, and every change anew."""
    limits = limits_asked(basis.reduction.type_file, asked.sheet.limit_set)
    test = run_to_come(
        basis.reduction, basis.model, limits, asked.sheet.cell, asked.guard_times, basis.average
    )
    found = found_of(asked.sheet, basis.model)
    stated = Build(tuple(f.finding for f in found), basis.scatter, received)
    expected = expected_build(stated, basis.rules)
    build, told = expected.within_reach(), not expected.untold()
    # where the rules tell nothing, no comparison is worth its time
    draws = asked.draws if told else min(UNTOLD, asked.draws)
    whole = Forecaster(basis.model, basis.rules, test, draws, asked.seed)
    part = replace(whole, draws=min(COMPARED, asked.draws))
    tell("drawing margins", 0.2)
    outlook = whole.outlook(build)
    compared = part.outlook(build)
    tell("leaving findings out", 0.4)
    without = [(f, part.outlook(_without(build, f))) for f in found if told]
    tell("trying changes", 0.6)
    changes = changes_of(asked.sheet, found) if told else []
    tried = _tried(part, build, changes, compared, asked.costs)
    governing = int(np.argmin(outlook.passing))
    shares = _shares(whole, build, outlook, governing)
    return Computed(asked, basis, limits, found, stated, outlook, compared, without, tried, shares)


def _without(build: Build, f: Found) -> Build:
    """The build with a finding at its nominal, surely."""
    nominal = replace(f.finding, excess=0.0, uncertainty=0.0)
    return changed(build, [f.finding.name], [nominal])


def _tried(
    part: Forecaster,
    build: Build,
    changes: Sequence[Change],
    compared: Outlook,
    costs: CostTable | None,
) -> list[Tried]:
    def one(c: Change) -> Tried:
        return Tried(c, part.outlook(changed(build, c.names, c.to)), cost_of(c, costs))

    def gain(t: Tried) -> tuple[float, float]:
        at = int(np.argmin(compared.passing))
        return t.outlook.passing_all, float(t.outlook.mean[at])

    singles = sorted((one(c) for c in changes), key=gain, reverse=True)
    better = [t.change for t in singles if t.outlook.passing_all > compared.passing_all]
    return sorted([*singles, *(one(c) for c in together(better))], key=gain, reverse=True)


def _shares(whole: Forecaster, build: Build, outlook: Outlook, governing: int) -> list[tuple[str, float]]:
    """Parts of the variance of the governing reading, to first order."""
    e = expected_build(build, whole.rules)
    r = outlook.test.requirements[governing]
    value, slope = rated_slopes(whole.model, [r.rated], e.mean[:, None])
    d, v = slope[0, :, 0], float(value[0, 0])
    u = np.array([f.uncertainty for f in build.findings])
    levels = whole.rules.coefficients([(n, 0) for n in LEVELS])
    load = np.array(r.rated.levels)
    c = e.by_coefficient(e.excess)
    parts = {
        "rules' coefficients": float(d @ c @ e.coefficients.covariance @ c.T @ d),
        "build scatter that no finding tells": float(np.sum((d * e.rest) ** 2)),
        "the model itself": float(load @ levels.covariance @ load),
        "measurement of the run to come": float(outlook.test.measurement[governing, governing] / v**2),
    }
    by_excess = d @ e.by_excess() if build.findings else np.zeros(0)
    parts["measurement of the findings"] = float(np.sum((by_excess * u) ** 2))
    if build.received is not None:
        at = d[[FACTORS.index(f) for f in build.received.factors]]
        parts["modules left as received"] = float(at @ build.received.covariance @ at)
    total = sum(parts.values())
    return sorted(((k, p / total) for k, p in parts.items()), key=lambda x: -x[1])


def received_of(sheet: BuildSheet, basis: ForecastBasis, found: Received | None) -> Received | None:
    """What is known of modules left as they were: from a file, from the as-received run, or nothing."""
    if sheet.as_received is None:
        return None
    if found is None:
        return received_by_readings(sheet, basis)
    kept = [f for f in kept_factors(sheet, basis) if f in found.factors]
    at = [found.factors.index(f) for f in kept]
    return Received(tuple(kept), found.mean[at], found.covariance[np.ix_(at, at)])
