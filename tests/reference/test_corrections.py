"""Approved correction against figures worked out with independent code.

Sources: the worked example and the table of theta exponents were computed with Cantera's NASA
nine-coefficient gas data for a generic turboshaft (10.0 kg/s class cycle, choked turbines); 1 hp = 550 ft
lbf/s is exact.
"""

from __future__ import annotations

import math

import pytest

from spoolwright.core.reduction.approved import (
    Law,
    Surroundings,
    correction_ladder,
    correction_shares,
    shaft_power,
    specific_fuel_consumption_shares,
)

REFERENCE = Surroundings(288.15, 101325.0, 0.0, 43.124e6)
DAY = Surroundings(303.15, 98500.0, 0.0, 43.124e6)


def corrected(observed: float, law: Law, at: Surroundings = DAY) -> float:
    return float(correction_ladder(observed, correction_shares(law, at, REFERENCE))[-1].value)


def test_power_from_torque_and_speed() -> None:
    assert shaft_power(1500.0, 6000.0) == pytest.approx(942478.0, abs=1.0)


def test_power_from_torque_in_pound_feet_and_speed_is_torque_times_speed_over_5252() -> None:
    # 1 hp = 550 ft lbf/s, hence hp = lbf ft * rpm * 2 pi / 33000.
    hp = shaft_power(1.3558179483314004 * 1000.0, 5000.0) / 745.6998715822702
    assert hp == pytest.approx(1000.0 * 5000.0 / (33000.0 / (2.0 * math.pi)), rel=1e-12)


@pytest.mark.parametrize(
    ("observed", "law", "expected", "within"),
    [
        (942478.0, Law(0.5, 1.0), 945218.0, 1.0),
        (20000.0, Law(0.5, 0.0), 19498.92, 0.01),
        (0.080, Law(0.5, 1.0), 0.0802326, 5e-8),
        (1050.0, Law(1.0, 0.0), 998.05, 0.005),
        (942478.0, Law(0.62, 1.0), 939480.0, 1.0),
        (0.080, Law(0.747, 1.0), 0.0792332, 5e-8),
        (1050.0, Law(1.026, 0.0), 996.730, 0.0006),
    ],
)
def test_worked_example(observed: float, law: Law, expected: float, within: float) -> None:
    assert corrected(observed, law) == pytest.approx(expected, abs=within)


@pytest.mark.parametrize(
    ("power", "fuel", "expected"),
    [(Law(0.5, 1.0), Law(0.5, 1.0), 0.305578), (Law(0.62, 1.0), Law(0.747, 1.0), 0.303614)],
)
def test_worked_example_fuel_consumption(power: Law, fuel: Law, expected: float) -> None:
    shares = specific_fuel_consumption_shares(
        correction_shares(fuel, DAY, REFERENCE), correction_shares(power, DAY, REFERENCE)
    )
    observed = 0.080 / shaft_power(1500.0, 6000.0)
    assert correction_ladder(observed, shares)[-1].value * 3.6e9 == pytest.approx(
        expected * 1000.0, abs=0.001
    )


@pytest.mark.parametrize(("right", "over_reads"), [(0.620, 0.81e-2), (0.749, 1.68e-2)])
def test_half_as_exponent_over_reads_on_a_hot_day(right: float, over_reads: float) -> None:
    hot = Surroundings(308.15, 101325.0)
    ratio = corrected(1.0, Law(0.5, 1.0), hot) / corrected(1.0, Law(right, 1.0), hot)
    assert ratio - 1.0 == pytest.approx(over_reads, abs=0.005e-2)


def test_fuel_flow_at_the_reference_heating_value() -> None:
    at = Surroundings(288.15, 101325.0, 0.0, 42.9e6)
    assert corrected(0.080, Law(heating_value_exponent=1.0), at) == pytest.approx(0.079584, abs=5e-7)


@pytest.mark.parametrize(("water", "change"), [(0.005, 0.126e-2), (0.010, 0.250e-2), (0.020, 0.495e-2)])
def test_linear_humidity_slope_takes_the_effect_off(water: float, change: float) -> None:
    # Power at constant aerodynamic speed; the law is linear to about 2 % of the effect.
    at = Surroundings(288.15, 101325.0, water)
    assert corrected(1.0 + change, Law(humidity_slope=-0.250), at) == pytest.approx(
        1.0, abs=0.02 * change + 3e-5
    )
