"""Physical rules of the forecast against published figures and closed forms; the source stands beside each
check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.core.diagnosis.forecast.findings import (
    GRAIN_PER_RA,
    clearance_excess,
    friction_rise,
    orifice_share,
    relative_excess,
)
from spoolwright.core.diagnosis.forecast.published import CAUSES, USUAL_SPREAD, published_rules
from spoolwright.core.diagnosis.forecast.rules import ADDED
from spoolwright.core.reduction.doubt.priors import FACTORS
from spoolwright.errors import RangeError

RULES = published_rules()


def test_turbine_clearance_lies_between_the_two_tips_measured():
    """Haas and Kofskey, NASA TP-1032 (1977), summary: 1.5 % (recessed casing) and 2.0 % (reduced height)
    for 1 %."""
    rule = RULES.named("gas_generator_turbine_clearance_efficiency")
    assert rule.mean == pytest.approx(-(1.5 + 2.0) / 2.0)
    for measured in (-1.5, -2.0):
        assert abs(measured - rule.mean) < 2.0 * rule.standard_deviation
    other = RULES.named("power_turbine_clearance_efficiency")
    assert all(abs(x - other.mean) < 2.0 * other.standard_deviation for x in (-1.5, -2.0))


def test_compressor_clearance_covers_the_centrifugal_stage_measured():
    """Mashimo, Watanabe and Ariga, J. Eng. Power 101 (1979) 337, abstract: 4 % for 1.25 to 12.5 %
    clearance."""
    rule = RULES.named("compressor_clearance_efficiency")
    assert abs(-4.0 / 11.25 - rule.mean) < 2.0 * rule.standard_deviation


def test_choked_capacity_is_in_proportion_to_area():
    """One-dimensional gas dynamics: choked mass flow is the throat area times a function of inlet state
    alone."""
    assert RULES.named("gas_generator_nozzle_area").mean == 1.0
    assert RULES.named("power_turbine_nozzle_area").mean == 1.0


def test_no_rule_lacks_what_a_rule_needs():
    names = [r.name for r in RULES.rules]
    assert len(set(names)) == len(names)
    for r in RULES.rules:
        assert r.source and r.text and r.standard_deviation > 0.0 and r.low < r.high
        assert 0.0 <= r.shared <= 1.0
        if r.cause != "model":
            assert r.factor in FACTORS and r.cause in CAUSES and r.cause in USUAL_SPREAD
    assert set(ADDED) == {"leak", "vane_offset"}


def test_friction_follows_the_rough_plate():
    """Schlichting, Boundary-Layer Theory, ch. XXI: c_f = (1.89 + 1.62 log10(l / k))^-2.5, fully rough."""
    law = lambda k: (1.89 + 1.62 * math.log10(1.0 / k)) ** -2.5  # noqa: E731
    for k in (2e-4, 5e-4):
        ra = [k * 40e-3 / GRAIN_PER_RA, 2.0 * k * 40e-3 / GRAIN_PER_RA]
        rise = [1.0 + friction_rise(r, 40e-3, 3e6)[0] / 100.0 for r in ra]
        assert rise[1] / rise[0] == pytest.approx(law(2.0 * k) / law(k), rel=0.03)


@given(st.floats(0.01, 0.99), st.floats(1e5, 5e6), st.floats(5e-3, 0.1))
def test_a_blade_is_smooth_below_the_admissible_roughness(part, reynolds, chord):
    """Schlichting, equation 21.44: admissible roughness times velocity over viscosity is 100."""
    admissible = 100.0 * chord / reynolds
    assert friction_rise(part * admissible / GRAIN_PER_RA, chord, reynolds)[0] == 0.0


def test_leak_of_a_hole_choked_in_shop_and_engine():
    """Choked flow of air, gamma 1.4: W sqrt(T) / (A p) = sqrt(gamma / R) (2 / (gamma + 1))^3 = 0.0404149."""
    constant = math.sqrt(1.4 / 287.05) * (2.0 / 2.4) ** 3
    assert constant == pytest.approx(0.0404149, rel=1e-5)
    area, inlet = 3e-6, 3.6
    shop = constant * area * 4e5 / math.sqrt(293.15)
    engine = constant * area * 1.18e6 / math.sqrt(640.0)
    share = orifice_share(shop, 4e5, 293.15, inlet, 1.18e6, 640.0)
    assert share == pytest.approx(100.0 * engine / inlet, rel=1e-12)


def test_excesses_are_their_definitions():
    assert clearance_excess(0.42e-3, 24e-3, 0.30e-3, 0.03e-3) == pytest.approx((0.5, 0.125))
    assert relative_excess(118.4, 119.6, 0.3) == pytest.approx((-1.2 / 1.196, 0.3 / 1.196))


@pytest.mark.parametrize("bad", [0.0, -1e-3, float("nan")])
def test_sizes_that_cannot_be_are_refused(bad):
    with pytest.raises(RangeError):
        clearance_excess(1e-4, bad, 1e-4, 1e-5)
    with pytest.raises(RangeError):
        friction_rise(bad, 0.04, 1e6)
    with pytest.raises(RangeError):
        orifice_share(0.01, bad, 300.0, 4.0, 1.2e6, 640.0)
    with pytest.raises(RangeError):
        relative_excess(1.0, bad, 0.1)


def test_coefficients_of_stages_share_what_the_rule_says():
    """cov = sd^2 (shared + (1 - shared) on the diagonal): the definition."""
    rule = RULES.named("compressor_clearance_efficiency")
    c = RULES.prior([(rule.name, s) for s in (1, 2, 3)]).covariance
    expected = rule.standard_deviation**2 * (rule.shared + (1.0 - rule.shared) * np.eye(3))
    np.testing.assert_allclose(c, expected)
