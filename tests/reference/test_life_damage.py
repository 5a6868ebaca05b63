"""Exchange rates and damage sums against closed forms.

k = (1 - r^2)^m for stress with the square of speed: table for m = 4 and 6, worked out by hand from the closed
form, as are the overspeed factors 1.02^(2m); the mission mix and the linear sum are arithmetic on paper.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.core.life.damage import damage_sum, equivalent_cycles, exchange_rate, full_cycles
from spoolwright.core.life.rainflow import rainflow
from spoolwright.errors import RangeError

TABLE = {
    4.0: {0.6: 0.16777, 0.7: 0.06765, 0.8: 0.01680, 0.9: 0.00130},
    6.0: {0.6: 0.06872, 0.7: 0.01760, 0.8: 0.00218, 0.9: 0.000047},
}


@pytest.mark.parametrize("slope", TABLE)
def test_exchange_rates_to_the_printed_digits(slope: float) -> None:
    ratios = np.array(list(TABLE[slope]))
    rates = exchange_rate(ratios, np.ones(4), slope)
    for got, printed in zip(rates, TABLE[slope].values(), strict=True):
        assert got == pytest.approx(printed, abs=0.6e-6 if printed < 1e-3 else 0.6e-5)


@pytest.mark.parametrize(("slope", "factor"), [(4.0, 1.1717), (6.0, 1.2682)])
def test_a_cycle_to_102_percent(slope: float, factor: float) -> None:
    assert exchange_rate(np.zeros(1), np.array([1.02]), slope)[0] == pytest.approx(factor, abs=5e-5)


def test_mission_mix_of_two_cycles_a_sortie() -> None:
    """Shares 0.6, 0.3, 0.1 of sorties with one start and 2, 6, 20 minor cycles at 0.2 make 2.0 cycles."""
    sorties = [equivalent_cycles([1, minor], [1.0, 0.2]) for minor in (2, 6, 20)]
    assert equivalent_cycles([0.6, 0.3, 0.1], sorties) == pytest.approx(2.0, rel=1e-14)


def test_linear_sum() -> None:
    """10/1e4 + 100/5e4 + 1000/5e5 = 0.005: 200 blocks."""
    assert damage_sum([10, 100, 1000], [1e4, 5e4, 5e5]) == pytest.approx(0.005, rel=1e-14)


def test_what_cannot_be_a_cycle_is_refused() -> None:
    with pytest.raises(RangeError, match="lower end first"):
        exchange_rate(np.array([0.9]), np.array([0.8]), 4.0)
    with pytest.raises(RangeError, match="positive"):
        damage_sum([1.0], [0.0])


speeds = st.lists(st.floats(0, 40000, allow_subnormal=False), min_size=1, max_size=60)


@given(speeds)
def test_turning_a_history_round_in_time_changes_no_damage_of_a_closed_history(values: list[float]) -> None:
    """A history that begins and ends at rest holds the same cycles read backwards."""
    history = np.array([0.0, *values, 0.0])
    forward, back = (full_cycles(rainflow(h), 38000.0, 4.0) for h in (history, history[::-1]))
    assert forward == pytest.approx(back, rel=1e-9, abs=1e-12)


@given(speeds, st.floats(0, 5000))
def test_passing_over_small_swings_never_adds_damage(values: list[float], least: float) -> None:
    history = np.array([0.0, *values, 0.0])
    whole, gated = (
        full_cycles(rainflow(history), 38000.0, 4.0),
        full_cycles(rainflow(history, least), 38000.0, 4.0),
    )
    assert gated <= whole * (1 + 1e-9)
    highest = exchange_rate(np.zeros(1), np.array([max(values) / 38000.0]), 4.0)[0]
    if max(values) >= least:
        assert gated >= 0.999 * highest
