"""What holds for any input: scaling, monotonicity, sums of probabilities, guard bands that only tighten."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spoolwright.core.measurement.averaging import hold_mean
from spoolwright.core.measurement.decision import (
    Conformity,
    GuardBand,
    ToleranceInterval,
    acceptance_interval,
    conformance_probability,
)
from spoolwright.core.measurement.montecarlo import coverage_interval, numerical_tolerance
from spoolwright.core.measurement.prior import Prior
from spoolwright.core.measurement.propagation import propagation
from spoolwright.core.measurement.quantities import correlated_quantities
from spoolwright.core.measurement.risk import (
    conformance_probability_with_prior,
    global_risks,
    guard_for_global_risk,
    guard_for_specific_risk,
)
from spoolwright.errors import RangeError

readings = st.floats(-50.0, 50.0)
uncertainties = st.floats(0.01, 20.0)
freedoms = st.one_of(st.just(math.inf), st.floats(1.0, 200.0))
risks = st.floats(1e-4, 0.49)


@st.composite
def tolerances(draw):
    low = draw(st.floats(-20.0, 20.0))
    kind = draw(st.sampled_from(["lower", "upper", "both"]))
    if kind == "lower":
        return ToleranceInterval(lower=low)
    if kind == "upper":
        return ToleranceInterval(upper=low)
    return ToleranceInterval(low, low + draw(st.floats(0.1, 40.0)))


priors = st.one_of(
    st.builds(Prior, st.just("normal"), st.floats(-20.0, 20.0), st.floats(0.1, 20.0), st.just("any")),
    st.builds(Prior, st.just("gamma"), st.floats(0.5, 20.0), st.floats(0.1, 5.0), st.just("any")),
    st.builds(Prior, st.just("lognormal"), st.floats(-1.0, 2.0), st.floats(0.05, 1.0), st.just("any")),
    st.builds(
        lambda low, width: Prior("rectangular", low, low + width, "any"),
        st.floats(-20.0, 20.0),
        st.floats(0.1, 20.0),
    ),
)


@given(tolerances(), readings, uncertainties, freedoms)
def test_probabilities_sum_to_one(tolerance, reading, u, freedom):
    p = conformance_probability(tolerance, reading, u, freedom)
    assert p.conforming + p.nonconforming == pytest.approx(1.0, abs=1e-12)
    assert 0.0 <= p.conforming <= 1.0 and 0.0 <= p.nonconforming <= 1.0


@given(st.floats(-20.0, 20.0), readings, st.floats(0.0, 20.0), uncertainties, freedoms)
def test_probability_rises_away_from_a_single_limit(limit, reading, step, u, freedom):
    at = conformance_probability(ToleranceInterval(lower=limit), reading, u, freedom)
    further = conformance_probability(ToleranceInterval(lower=limit), reading + step, u, freedom)
    assert further.conforming >= at.conforming - 1e-15


@given(tolerances(), readings, uncertainties, st.floats(1e-3, 1e3), st.floats(-100.0, 100.0))
def test_probability_does_not_depend_on_the_unit(tolerance, reading, u, factor, offset):
    scaled = ToleranceInterval(tolerance.lower * factor + offset, tolerance.upper * factor + offset)
    one = conformance_probability(tolerance, reading, u)
    other = conformance_probability(scaled, reading * factor + offset, u * factor)
    # Rounding of the offset readings, in units of u, bounds the difference.
    slack = 1e-12 + 1e-15 * (abs(offset) + 100 * factor) / (u * factor)
    assert other.conforming == pytest.approx(one.conforming, abs=slack)


@given(tolerances(), readings, uncertainties, st.floats(0.0, 30.0), priors)
def test_accepted_means_met_whatever_the_prior(tolerance, reading, u, width, prior):
    plain = conformance_probability(tolerance, reading, u)
    guard = GuardBand(width, "any", prior)
    verdicts = [Conformity(tolerance, reading, plain, guard)]
    try:
        with_prior = conformance_probability_with_prior(tolerance, reading, u, prior)
        verdicts.append(Conformity(tolerance, reading, with_prior, guard))
        assert prior in verdicts[1].priors
    except RangeError:
        pass  # a reading and a prior that exclude each other are refused, not decided upon
    for verdict in verdicts:
        assert verdict.reading_meets == (tolerance.lower <= reading <= tolerance.upper)
        assert verdict.reading_meets or not verdict.accepted
        assert (verdict.consumer_risk is None) != (verdict.producer_risk is None)


@given(tolerances(), st.floats(0.0, 30.0), st.floats(0.0, 30.0), readings)
def test_a_wider_guard_band_accepts_less(tolerance, width, more, reading):
    p = conformance_probability(tolerance, reading, 1.0)
    narrow = Conformity(tolerance, reading, p, GuardBand(width, "any"))
    wide = Conformity(tolerance, reading, p, GuardBand(width + more, "any"))
    assert narrow.accepted or not wide.accepted
    low, high = acceptance_interval(tolerance, narrow.guard)
    assert low >= tolerance.lower and high <= tolerance.upper


@given(st.floats(max_value=-1e-300, allow_nan=False))
def test_no_guard_band_widens(width):
    with pytest.raises(RangeError):
        GuardBand(width, "any")


@given(tolerances(), uncertainties, risks, freedoms)
def test_specific_guard_holds_its_risk(tolerance, u, risk, freedom):
    guard = guard_for_specific_risk(tolerance, u, risk, freedom)
    assert guard.width >= 0
    low, high = acceptance_interval(tolerance, guard)
    for reading in (x for x in (low, high) if math.isfinite(x) and low <= high):
        held = conformance_probability(tolerance, reading, u, freedom)
        # Rounding of the acceptance limit, in units of u, bounds the excess.
        assert held.nonconforming <= risk + 1e-9
        assert Conformity(tolerance, reading, held, guard).accepted


@given(tolerances(), uncertainties, risks, st.floats(1.05, 3.0))
def test_a_smaller_risk_needs_a_wider_guard_band(tolerance, u, risk, factor):
    wide = guard_for_specific_risk(tolerance, u, risk / factor)
    assert wide.width >= guard_for_specific_risk(tolerance, u, risk).width


@settings(deadline=None)
@given(tolerances(), uncertainties, priors, st.floats(0.0, 5.0))
def test_global_risks_sum_to_one(tolerance, u, prior, width):
    r = global_risks(tolerance, u, prior, GuardBand(width, "any"))
    total = r.consumer + r.producer + r.rightly_accepted + r.rightly_rejected
    assert total == pytest.approx(1.0, abs=1e-9)
    inside = prior.probability_below(np.array([tolerance.lower, tolerance.upper]))
    assert r.nonconforming == pytest.approx(1.0 - (inside[1] - inside[0]), abs=1e-9)
    assert min(r.consumer, r.producer, r.rightly_accepted, r.rightly_rejected) >= -1e-15


@settings(deadline=None)
@given(tolerances(), uncertainties, priors, st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_guard_trades_consumer_for_producer(tolerance, u, prior, width, more):
    narrow = global_risks(tolerance, u, prior, GuardBand(width, "any"))
    wide = global_risks(tolerance, u, prior, GuardBand(width + more, "any"))
    assert wide.consumer <= narrow.consumer + 1e-10
    assert wide.producer >= narrow.producer - 1e-10


@settings(deadline=None, max_examples=40)
@given(tolerances(), uncertainties, priors, st.floats(1e-4, 0.3))
def test_global_guard_holds_its_risk(tolerance, u, prior, risk):
    guard = guard_for_global_risk(tolerance, u, risk, prior)
    assert guard.width >= 0 and guard.prior is prior
    assert global_risks(tolerance, u, prior, guard).consumer <= risk + 1e-10


@given(
    st.integers(0, 2**31), st.floats(1e-6, 1e6), st.sampled_from([-1.0, 1.0]), st.floats(-1e3, 1e3),
    st.floats(0.01, 10.0),
)  # fmt: skip
def test_hold_mean_follows_scale_offset_and_time(seed, size, sign, offset, step):
    generator = np.random.default_rng(seed)
    samples = np.cumsum(generator.standard_normal((200, 2)), axis=0) * 0.1 + generator.standard_normal(
        (200, 2)
    )
    one = hold_mean(samples, 1.0)
    other = hold_mean(sign * size * (samples + offset), step)
    assert np.allclose(other.mean, sign * size * (one.mean + offset), rtol=1e-9, atol=1e-9 * size)
    assert np.allclose(other.standard_uncertainty, size * one.standard_uncertainty, rtol=1e-6)
    assert np.allclose(other.drift * step, sign * size * one.drift, rtol=1e-5, atol=1e-9 * size)
    assert np.allclose(other.drift_share, one.drift_share, atol=1e-6)
    assert np.allclose(other.window, one.window)


@given(st.integers(0, 2**31), st.floats(1e-3, 1e3))
def test_propagation_follows_the_scale_of_its_inputs(seed, factor):
    generator = np.random.default_rng(seed)
    root = generator.standard_normal((3, 3))
    at = generator.uniform(1.0, 2.0, 3)

    def model(x):
        return [x[0] * x[1] / x[2], x[0] + x[2]]

    one = propagation(model, correlated_quantities(at, root @ root.T))
    scaled = propagation(
        lambda x: model([y / factor for y in x]),
        correlated_quantities(factor * at, factor**2 * root @ root.T),
    )
    assert np.allclose(scaled.covariance, one.covariance, rtol=1e-9, atol=1e-9)
    assert np.allclose(one.covariance, one.covariance.T)
    assert np.linalg.eigvalsh(one.covariance).min() > -1e-9


@given(st.integers(0, 2**31), st.floats(0.5, 0.99))
def test_shortest_interval_is_no_longer_than_the_symmetric(seed, probability):
    sample = np.random.default_rng(seed).gamma(1.5, size=2000)
    low, high = coverage_interval(sample, probability, "shortest")
    left, right = coverage_interval(sample, probability, "symmetric")
    assert high - low <= right - left
    inside = np.count_nonzero((sample >= low) & (sample <= high))
    assert inside == math.floor(probability * 2000 + 0.5) + 1  # both ends are values of the sample


@given(st.floats(1e-12, 1e12), st.integers(1, 4))
def test_numerical_tolerance_is_half_the_last_digit(u, digits):
    delta = numerical_tolerance(u, digits)
    units = u / (2 * delta)  # u in units of its last digit: an integer of that many digits after rounding
    assert 10 ** (digits - 1) * (1 - 1e-9) <= round(units, 6) or round(units) == 10 ** (digits - 1)
    assert units < 10**digits
