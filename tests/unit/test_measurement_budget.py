"""Systematic budgets by hand calculation and by simulating the errors one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spoolwright.core.measurement.budget import systematic_budget
from spoolwright.core.measurement.channel import (
    ErrorSource,
    SystematicPart,
    standard_uncertainty_from_half_width,
)
from spoolwright.core.measurement.montecarlo import monte_carlo
from spoolwright.core.measurement.propagation import propagation
from spoolwright.core.numerics import sqrt
from spoolwright.errors import InputError

PARTS = [
    SystematicPart("p2", "pressure standard", absolute=20.0, relative=4e-4),
    SystematicPart("p3", "pressure standard", absolute=20.0, relative=4e-4),
    SystematicPart("p2", "display", kind="independent", absolute=5.0, distribution="rectangular"),
    SystematicPart("p3", "display", kind="independent", absolute=50.0, distribution="rectangular"),
    SystematicPart("t45", "reference junction", absolute=0.4, degrees_of_freedom=12.0),
    SystematicPart("t2", "reference junction", absolute=0.4, degrees_of_freedom=12.0),
    SystematicPart("t45", "profile", kind="independent", absolute=2.0, distribution="triangular"),
]
CHANNELS = ["p2", "p3", "t2", "t45"]
READINGS = np.array([98_500.0, 880_000.0, 303.15, 1050.0])


def test_covariance_by_hand():
    covariance = systematic_budget(PARTS, CHANNELS).covariance(READINGS)
    gain = 4e-4
    assert covariance[0, 0] == pytest.approx(20**2 + (gain * 98_500) ** 2 + 5**2, rel=1e-12)
    assert covariance[1, 1] == pytest.approx(20**2 + (gain * 880_000) ** 2 + 50**2, rel=1e-12)
    assert covariance[0, 1] == pytest.approx(20**2 + gain**2 * 98_500 * 880_000, rel=1e-12)
    assert covariance[3, 3] == pytest.approx(0.4**2 + 2.0**2, rel=1e-12)
    assert covariance[2, 3] == pytest.approx(0.4**2, rel=1e-12)
    assert not covariance[:2, 2:].any()


def test_covariance_by_simulation():
    # Each cause drawn by itself, with nothing of the library in it.
    generator = np.random.default_rng(11)
    n = 400_000
    zero, gain, junction = generator.standard_normal((3, n))
    p2 = 20 * zero + 4e-4 * gain * READINGS[0] + 5 * math.sqrt(3) * generator.uniform(-1, 1, n)
    p3 = 20 * zero + 4e-4 * gain * READINGS[1] + 50 * math.sqrt(3) * generator.uniform(-1, 1, n)
    t45 = 0.4 * junction + 2 * math.sqrt(6) * (generator.random(n) - generator.random(n))
    seen = np.cov([p2, p3, 0.4 * junction, t45])
    exact = systematic_budget(PARTS, CHANNELS).covariance(READINGS)
    error = np.sqrt((np.outer(exact.diagonal(), exact.diagonal()) + exact**2) / n)
    assert np.all(np.abs(seen - exact) < 5 * error)


def test_points_of_one_run_share_their_systematic_error():
    budget = systematic_budget(PARTS, ["p3", "t45"])
    points = np.array([[700_000.0, 950.0], [880_000.0, 1050.0]])
    covariance = budget.covariance(points)
    assert covariance.shape == (4, 4)
    # Channel by channel between the points: everything but the random part is common.
    assert covariance[0, 2] == pytest.approx(20**2 + 4e-4**2 * 700_000 * 880_000 + 50**2, rel=1e-12)
    assert covariance[1, 3] == pytest.approx(covariance[1, 1], rel=1e-12)
    difference = propagation(lambda x: x[3] - x[1], budget.quantities(points, np.zeros((2, 2))))
    assert difference.standard_uncertainties[0] == pytest.approx(0.0, abs=1e-12)


def test_gain_of_one_standard_drops_out_of_a_ratio():
    parts = [SystematicPart(c, "pressure standard", relative=1e-3) for c in ("p2", "p3")]
    quantities = systematic_budget(parts, ["p2", "p3"]).quantities(READINGS[:2], np.zeros(2))
    ratio = propagation(lambda x: x[1] / x[0], quantities)
    assert ratio.standard_uncertainties[0] == pytest.approx(0.0, abs=1e-14)
    own = [SystematicPart(c, "own standard", kind="independent", relative=1e-3) for c in ("p2", "p3")]
    quantities = systematic_budget(own, ["p2", "p3"]).quantities(READINGS[:2], np.zeros(2))
    ratio = propagation(lambda x: x[1] / x[0], quantities)
    relative = ratio.standard_uncertainties[0] / ratio.estimates[0]
    assert relative == pytest.approx(1e-3 * math.sqrt(2), rel=1e-12)


def test_gain_error_keeps_its_sign():
    parts = [SystematicPart(c, "transducer standard", relative=0.01) for c in ("gauge a", "gauge b")]
    covariance = systematic_budget(parts, ["gauge a", "gauge b"]).covariance(np.array([100.0, -50.0]))
    assert covariance[0, 1] == pytest.approx(-0.5, rel=1e-12)


def test_corrected_power_by_hand():
    # P = 2 pi N T / 60 corrected by delta sqrt(theta): relative variances add, that of T2 with weight 1/4.
    parts = [
        SystematicPart("torque", "torque calibration", relative=0.0025),
        SystematicPart("speed", "counter", relative=0.0005),
        SystematicPart("p2", "barometer", relative=0.0005),
        SystematicPart("t2", "probe", absolute=0.3),
    ]
    readings = np.array([1500.0, 6000.0, 98_500.0, 303.15])
    quantities = systematic_budget(parts, ["torque", "speed", "p2", "t2"]).quantities(readings, np.zeros(4))

    def power(x):
        return 2 * math.pi / 60 * x[0] * x[1] / (x[2] / 101_325.0 * sqrt(x[3] / 288.15))

    result = propagation(power, quantities)
    by_hand = math.sqrt(0.0025**2 + 2 * 0.0005**2 + (0.5 * 0.3 / 303.15) ** 2)
    assert result.standard_uncertainties[0] / result.estimates[0] == pytest.approx(by_hand, rel=1e-12)
    assert result.shares.sum() == pytest.approx(1.0, rel=1e-12)
    drawn = monte_carlo(power, quantities.sample, seed=4, trials=200_000)
    # Standard error of a standard deviation: 1 / sqrt(2 n) of it.
    assert drawn.standard_uncertainties[0] == pytest.approx(
        result.standard_uncertainties[0], rel=4 / math.sqrt(400_000)
    )


def test_random_parts_stand_beside_the_systematic_ones():
    budget = systematic_budget(PARTS, CHANNELS)
    quantities = budget.quantities(READINGS, np.array([3.0, 40.0, 0.05, 0.6]), np.array([20.0, 30, 40, 50]))
    extra = quantities.covariance - budget.covariance(READINGS)
    assert np.allclose(extra, np.diag([9.0, 1600.0, 0.0025, 0.36]), atol=1e-9)
    freedom = {s.name: s.degrees_of_freedom for s in quantities.sources}
    assert freedom["scatter of t45"] == 50.0
    assert freedom["reference junction, offset"] == 12.0
    # Welch-Satterthwaite over independent sources, by hand, for MGT alone.
    result = propagation(lambda x: x[3], quantities)
    u2 = 0.4**2 + 2.0**2 + 0.36
    assert result.degrees_of_freedom[0] == pytest.approx(u2**2 / (0.4**4 / 12 + 0.6**4 / 50), rel=1e-12)


def test_shared_source_counts_once_in_the_degrees_of_freedom():
    # A sum of two readings with one common error: the error is one contribution of twice the size.
    parts = [SystematicPart(c, "junction", absolute=1.0, degrees_of_freedom=5.0) for c in ("a", "b")]
    quantities = systematic_budget(parts, ["a", "b"]).quantities(np.array([1.0, 2.0]), np.zeros(2))
    total = propagation(lambda x: x[0] + x[1], quantities)
    assert total.standard_uncertainties[0] == pytest.approx(2.0)
    assert total.degrees_of_freedom[0] == pytest.approx(5.0)


def test_channel_without_parts_has_no_systematic_uncertainty():
    budget = systematic_budget(PARTS, ["speed"])
    assert budget.sources == ()
    assert budget.covariance(np.array([6000.0])).tolist() == [[0.0]]


def test_half_widths():
    # JCGM 100:2008, 4.3.4 (10 ohm with U = 129 micro-ohm at 99 % is by 2.58; here 95 % by 1.96), 4.3.7,
    # 4.3.9.
    assert standard_uncertainty_from_half_width(1.96, "normal") == pytest.approx(1.0)
    assert standard_uncertainty_from_half_width(0.40, "rectangular") == pytest.approx(0.23, abs=0.005)
    assert standard_uncertainty_from_half_width(1.0, "triangular") == pytest.approx(6**-0.5)


def test_mistakes_are_named():
    with pytest.raises(InputError, match="neither an absolute nor a relative"):
        SystematicPart("p2", "standard")
    with pytest.raises(InputError, match="not negative"):
        SystematicPart("p2", "standard", absolute=-1.0)
    with pytest.raises(InputError, match="not negative"):
        SystematicPart("p2", "standard", relative=math.nan)
    with pytest.raises(InputError, match="kind"):
        SystematicPart("p2", "standard", kind="common", absolute=1.0)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="distribution"):
        ErrorSource("standard", "cosine")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="degrees of freedom"):
        ErrorSource("standard", "normal", 0.0)
    with pytest.raises(InputError, match="rectangular"):
        systematic_budget(
            [
                SystematicPart("p2", "standard", absolute=1.0),
                SystematicPart("p3", "standard", absolute=1.0, distribution="rectangular"),
            ],
            ["p2", "p3"],
        )
    with pytest.raises(InputError, match="twice"):
        systematic_budget([SystematicPart("p2", "standard", absolute=1.0)] * 2, ["p2"])
    with pytest.raises(InputError, match="twice"):
        systematic_budget([], ["p2", "p2"])
