"""Properties of corrections, curves and verdicts that hold whatever the numbers are."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent.parent / "unit"))
from judged_corrie import around, power_limit, reading

from spoolwright.core.measurement.channel import ErrorSource
from spoolwright.core.measurement.prior import Prior
from spoolwright.core.numerics import Dual
from spoolwright.core.reduction.approved import Law, Surroundings, correction_ladder, correction_shares
from spoolwright.core.reduction.curve import performance_curve
from spoolwright.core.reduction.estimate import SCATTER, ErrorBasis, estimate
from spoolwright.core.reduction.inputs import point_inputs
from spoolwright.core.reduction.point import ChannelMean, PointData, Systematic
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, reduction_basis
from spoolwright.crafts.testcell.performance.visit import Pool, visit_performance
from spoolwright.crafts.testcell.rules.verdict import judge
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.rig.quick import quick_runs
from spoolwright.sources.typefile import load_type, shipped_type

REFERENCE = Surroundings(288.15, 101325.0, 0.005, 43.1e6, 0.004, 0.01)
laws = st.builds(
    Law,
    st.floats(-1.5, 1.5),
    st.floats(-1.0, 1.5),
    st.floats(-1.0, 1.0),
    st.floats(-1.0, 1.0),
    st.floats(-3.0, 3.0),
    st.floats(-3.0, 3.0),
)


def corrected(law: Law, at: Surroundings, observed: float = 1.0) -> float:
    return float(correction_ladder(observed, correction_shares(law, at, REFERENCE))[-1].value)


@given(laws, st.floats(0.1, 1e7))
def test_corrected_equals_observed_at_the_reference(law: Law, observed: float) -> None:
    assert math.isclose(corrected(law, REFERENCE, observed), observed, rel_tol=1e-14)


@given(laws, st.floats(250.0, 320.0), st.floats(70e3, 110e3), st.floats(0.0, 0.03), st.floats(42e6, 44e6))
def test_the_ladder_is_the_product_of_its_shares(law: Law, t: float, p: float, w: float, h: float) -> None:
    shares = correction_shares(law, Surroundings(t, p, w, h, 0.0, 0.02), REFERENCE)
    ladder = correction_ladder(100.0, shares)
    assert math.isclose(ladder[-1].value, 100.0 * math.prod(shares.values()), rel_tol=1e-12)
    assert [r.name for r in ladder] == list(shares)


@given(st.floats(0.1, 1.5), st.floats(250.0, 310.0), st.floats(0.1, 10.0))
def test_a_warmer_inlet_raises_corrected_power_no_more(exponent: float, t: float, more: float) -> None:
    law = Law(theta_exponent=exponent)
    assert corrected(law, Surroundings(t + more, 101325.0)) < corrected(law, Surroundings(t, 101325.0))


values = st.floats(900.0, 1000.0)
uncertainties = st.floats(0.01, 20.0)


@given(values, uncertainties, st.floats(0.001, 0.499))
def test_a_guard_band_never_accepts_what_the_limit_alone_would_not(v: float, u: float, risk: float) -> None:
    plain = judge(power_limit(), reading(v, u), around())
    guarded = judge(power_limit(guard_consumer_risk=risk), reading(v, u), around())
    assert plain is not None and guarded is not None
    rank = {"meets": 2, "cannot_tell": 1, "does_not_meet": 0}
    assert rank[guarded.outcome] <= rank[plain.outcome]
    assert (guarded.outcome == "does_not_meet") == (v * 1e3 < 940e3)
    if guarded.outcome == "meets":
        assert guarded.consumer_risk is not None and guarded.consumer_risk <= risk * (1.0 + 1e-9)


@given(values, uncertainties, st.floats(800.0, 1100.0), st.floats(1.0, 100.0))
def test_a_prior_never_changes_whether_a_reading_meets(v: float, u: float, mean: float, sd: float) -> None:
    prior = Prior("normal", mean * 1e3, sd * 1e3, "invented")
    with_prior = judge(power_limit(), reading(v, u), around(priors={"least_power": prior}))
    without = judge(power_limit(), reading(v, u), around())
    assert with_prior is not None and without is not None
    assert with_prior.outcome == without.outcome
    assert "invented" in with_prior.prior and without.prior == "none"


@given(values, values, uncertainties)
def test_a_higher_reading_conforms_no_less_probably(a: float, b: float, u: float) -> None:
    low, high = (judge(power_limit(), reading(v, u), around()) for v in sorted((a, b)))
    assert low is not None and high is not None
    assert (low.probability_conforming or 0.0) <= (high.probability_conforming or 0.0) + 1e-12


@given(values, uncertainties)
def test_risks_are_the_two_sides_of_one_probability(v: float, u: float) -> None:
    found = judge(power_limit(), reading(v, u), around())
    assert found is not None and found.probability_conforming is not None
    accepted = found.outcome == "meets"
    risk = found.consumer_risk if accepted else found.producer_risk
    assert risk is not None
    assert math.isclose(
        risk + found.probability_conforming * (1 if accepted else -1), float(accepted), abs_tol=1e-9
    )


@lru_cache(maxsize=1)
def recorded() -> tuple[list[PointData], RunSheet, ReductionBasis]:
    loaded = load_type(shipped_type())
    run = next(iter(quick_runs(loaded.type_file, loaded.engine, 1, 77)))
    contents = read_run(run.recording, run.sheet, loaded.type_file)
    return list(contents.points), run.sheet, reduction_basis(loaded.type_file, loaded.engine)


@settings(max_examples=20)
@given(st.data())
def test_whatever_the_channels_read_a_result_is_returned(data: st.DataObject) -> None:
    points, sheet, basis = recorded()
    names = data.draw(st.lists(st.sampled_from(sorted(basis.roles.values())), min_size=1, max_size=3))
    factor = data.draw(st.sampled_from([-1.0, 0.0, 0.01, 0.5, 0.9, 1.1, 2.0, 100.0, 1e9]))
    some = data.draw(st.sets(st.integers(0, len(points) - 1), min_size=1))
    bent = list(points)
    for i in some:
        changed = {
            c: replace(points[i].channels[c], mean=factor * points[i].channels[c].mean)
            for c in names
            if c in points[i].channels
        }
        bent[i] = replace(points[i], channels={**points[i].channels, **changed})
    limits = tuple(x for x in basis.type_file.limit if sheet.limit_set in x.sets)
    found = visit_performance(bent, {sheet.run: sheet}, [Pool(0, sheet.run, limits)], basis, Ledger())
    assert len(found.points) == len(points) and found.readings
    assert all(math.isfinite(r.value) or r.why_not for r in found.readings)


def channel(name: str, mean: float, random: float, *parts: Systematic) -> ChannelMean:
    return ChannelMean(name, mean, random, 30.0, systematic=parts)


@given(
    st.floats(1.0, 1e3),
    st.floats(1.0, 1e3),
    st.floats(1e-4, 0.05),
    st.floats(0.0, 0.05),
    st.floats(0.0, 0.05),
)
def test_an_error_that_two_channels_share_cancels_in_their_ratio(
    a: float, b: float, gain: float, ua: float, ub: float
) -> None:
    point = PointData(
        "1.1", "1", 0.0, 60.0, 0,
        {
            "a": channel("a", a, ua * a, Systematic("standard", gain * a)),
            "b": channel("b", b, ub * b, Systematic("standard", gain * b)),
        },
    )  # fmt: skip
    inputs = point_inputs([point])
    ratio = estimate(inputs["a"] / inputs["b"], inputs.basis, 0)
    product = estimate(inputs["a"] * inputs["b"], inputs.basis, 0)
    assert math.isclose(ratio.standard_uncertainty, a / b * math.hypot(ua, ub), rel_tol=1e-9, abs_tol=1e-12)
    expected = a * b * math.sqrt(ua**2 + ub**2 + (2.0 * gain) ** 2)
    assert math.isclose(product.standard_uncertainty, expected, rel_tol=1e-9)


@given(st.integers(2, 7), st.floats(0.3, 6.0), st.floats(1.0, 1e6), st.integers(0, 10**6))
def test_a_power_law_is_met_exactly_and_common_error_passes_through(
    n: int, exponent: float, level: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(800.0, 1200.0, n))
    assume(np.diff(x).min() > 10.0)
    y = level * (x / 1000.0) ** exponent
    common, own = 0.003, 1e-5
    basis = ErrorBasis(
        (ErrorSource("common"), *(ErrorSource(f"own {i}") for i in range(n))), ("gain", *[SCATTER] * n)
    )
    d = np.vstack([common * y, own * np.diag(y)])
    curve = performance_curve(Dual(x, np.zeros_like(d)), Dual(y, d), basis)
    middle = float(0.5 * (x[0] + x[-1]))
    found = curve.at(middle)
    assert math.isclose(found.value, level * (middle / 1000.0) ** exponent, rel_tol=1e-6)
    assert math.isclose(abs(found.contributions[0]), common * found.value, rel_tol=1e-3)
