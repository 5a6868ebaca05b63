"""What the rows alone tell: signs planted at known rows in noise of known size (closed form throughout)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spoolwright.core.reduction.doubt.clock import clock_signs
from spoolwright.core.reduction.doubt.scan import scan_channel, seen_noise
from spoolwright.core.reduction.doubt.signs import ChannelRules
from spoolwright.core.reduction.trace import forward_rows

ROWS = 4000
RULES = ChannelRules(range=(0.0, 1000.0), plausible=(10.0, 800.0), noise=1.0)
STATE = ChannelRules(range=(-0.5, 1.5), plausible=(-0.1, 1.1), noise=0.0, digital=True)


def healthy(seed: int = 1, rows: int = ROWS) -> np.ndarray:
    """A ramp, a hold and a step under white noise of standard deviation 1."""
    level = np.interp(np.arange(rows), [0, 800, 2000, 2010, rows], [100, 300, 300, 500, 500])
    return level + np.random.default_rng(seed).standard_normal(rows)


def seen(x: np.ndarray, rules: ChannelRules = RULES, step: float = 0.1, **more) -> dict[str, tuple]:
    """Kind to (first, last, rows, value)."""
    signs = scan_channel("x", x, rules, step, **more)
    assert len({s.kind for s in signs}) == len(signs)
    return {s.kind: (s.first, s.last, s.rows, s.value) for s in signs}


def test_a_living_channel_shows_no_sign() -> None:
    for seed in range(60):
        assert seen(healthy(seed)) == {}


def test_a_ramp_faster_than_any_noise_is_no_spike() -> None:
    x = healthy()
    x[1500:1600] += np.linspace(0.0, 200.0, 100)
    x[1600:] += 200.0
    assert "spikes" not in seen(x)


@pytest.mark.parametrize("width", [1, 2])
def test_spikes_are_found_at_their_rows(width: int) -> None:
    x = healthy()
    for row in (900, 1300, 2600):
        x[row : row + width] += 40.0
    first, last, rows, value = seen(x)["spikes"]
    assert (first, last, rows) == (900, 2600 + width - 1, 3 * width)
    assert value == pytest.approx(540.0, abs=6.0)  # 500 + 40, noise within six standard deviations


def test_a_swing_is_no_spike() -> None:
    x = healthy()
    x[1000:1400] += 30.0 * np.sin(np.arange(400) * 2.0)
    assert "spikes" not in seen(x)


def test_a_stuck_stretch_is_found_row_by_row() -> None:
    x = healthy()
    x[1200:1700] = x[1200]
    assert seen(x) == {"stuck": (1200, 1699, 500, x[1200])}


@pytest.mark.parametrize("noise", [0.02, 0.2, 0.5])
def test_a_coarse_reading_is_not_stuck(noise: float) -> None:
    """Resolution far above the noise: it rests between two digits here and flickers there."""
    slow = 300.0 + 3.0 * np.sin(np.arange(ROWS) / 150.0)
    x = np.round((slow + noise * np.random.default_rng(2).standard_normal(ROWS)) / 2.0) * 2.0
    assert np.mean(np.diff(x) == 0.0) > 0.6
    assert seen(x) == {}


def test_a_state_never_sticks_spikes_or_saturates() -> None:
    x = np.zeros(ROWS)
    x[500:501] = 1.0
    x[1000:] = 1.0
    assert seen(x, STATE) == {}


def test_a_channel_that_never_moves_is_told_as_constant() -> None:
    assert seen(np.full(ROWS, 300.0)) == {"constant": (0, ROWS - 1, ROWS, 300.0)}


def test_zero_of_an_engine_at_rest_is_no_standstill() -> None:
    x = healthy() + 100.0
    x[:600] = 0.0
    resting = np.arange(ROWS) < 600
    rules = ChannelRules(range=(-10.0, 1000.0), plausible=(-5.0, 800.0), noise=1.0)
    assert seen(x, rules, resting=resting) == {}
    assert seen(x, rules)["stuck"] == (0, 599, 600, 0.0)


def test_a_dead_pickup_at_zero_while_the_engine_runs_is_told() -> None:
    x = healthy() + 100.0
    x[:600] = 0.0
    x[3000:] = 0.0
    rules = ChannelRules(range=(-10.0, 1000.0), plausible=(-5.0, 800.0), noise=1.0)
    found = seen(x, rules, resting=np.arange(ROWS) < 600)
    assert found["stuck"][:3] == (3000, ROWS - 1, 1000)


def test_the_end_of_the_range_is_saturation() -> None:
    rules = ChannelRules(range=(0.0, 450.0), plausible=(0.0, 900.0), noise=1.0)
    x = np.minimum(healthy(), 450.0)
    first, last, rows, value = seen(x, rules)["saturated"]
    assert value == 450.0 and last == ROWS - 1
    assert first == int(np.argmax(x == 450.0)) and rows == np.count_nonzero(x == 450.0)


def test_an_extreme_that_repeats_is_cut_off() -> None:
    x = healthy()
    x[3000:3300] -= 150.0  # comes back below the cut
    x = np.minimum(x, 420.0)
    first, _, rows, value = seen(x)["clipped"]
    assert value == 420.0 and first > 2000 and rows == np.count_nonzero(x == 420.0)


def test_noise_that_touches_an_end_now_and_then_is_not_saturated() -> None:
    rules = ChannelRules(range=(298.0, 1000.0), plausible=(0.0, 800.0), noise=1.0)
    x = np.maximum(300.0 + np.random.default_rng(3).standard_normal(ROWS), 298.0)
    assert np.count_nonzero(x == 298.0) > 40
    assert "saturated" not in seen(x, rules)


def test_a_gap_and_lost_cells_are_told_apart() -> None:
    x = healthy()
    x[1000:1100] = np.nan
    x[[200, 2500, 2501]] = np.nan
    found = seen(x)
    assert found["gap"][:3] == (1000, 1099, 100)
    assert found["unread"][:3] == (200, 2501, 3)


def test_a_sign_after_a_gap_keeps_its_rows() -> None:
    x = healthy()
    x[100:400] = np.nan
    x[3100:3500] = x[3100]
    assert seen(x)["stuck"][:2] == (3100, 3499)


def test_an_empty_column_is_empty() -> None:
    assert list(seen(np.full(50, np.nan))) == ["empty"]


def test_implausible_values_reach_beyond_the_noise() -> None:
    x = healthy()
    x[1500] = 804.0  # within five standard deviations of the window's end
    assert "implausible" not in seen(x)
    x[1500:1700] = 900.0 + np.random.default_rng(4).standard_normal(200)
    assert seen(x)["implausible"][:3] == (1500, 1699, 200)


def test_noise_is_seen_whatever_the_reading_does_besides() -> None:
    """Second differences of white noise have variance 6 sigma^2; a straight ramp has none."""
    x = 2.5 * np.random.default_rng(5).standard_normal(20_000) + 40.0 * np.arange(20_000)
    assert seen_noise(x) == pytest.approx(2.5, rel=0.08)  # 2000 rows: 2.4 % standard error of the median


def clock(time: np.ndarray) -> list[tuple]:
    """(kind, first, last, rows) of the signs in a clock."""
    return [(s.kind, s.first, s.last, s.rows) for s in clock_signs(time, forward_rows(time))]


def test_an_even_clock_shows_no_sign() -> None:
    assert clock(np.arange(500) / 20.0) == []
    assert clock(np.zeros(0)) == [] and clock(np.zeros(1)) == []


def test_a_clock_that_stands_still_is_told_once() -> None:
    time = np.arange(500.0)
    time[200:230] = 200.0
    (sign,) = clock(time)
    assert sign[0] == "repeated_time" and sign[3] == 29
    assert 200 <= sign[1] < sign[2] <= 229


def test_a_clock_set_back_is_told_with_the_time_lost() -> None:
    time = np.arange(500.0)
    time[300:] -= 7.5
    (sign,) = clock_signs(time, forward_rows(time))
    assert sign.kind == "backward_time" and sign.value == pytest.approx(6.5)  # one row had gone on by 1 s
    assert sign.rows in (7, 8) and 290 <= sign.first <= 300


def test_a_silence_is_told_with_its_length() -> None:
    time = np.concatenate([np.arange(100.0), 140.0 + np.arange(100.0)]) / 2.0
    (sign,) = clock_signs(time, forward_rows(time))
    assert (sign.kind, sign.first, sign.last) == ("silence", 99, 100)
    assert sign.value == pytest.approx(20.5)


def test_a_slow_recording_is_not_all_silence() -> None:
    assert clock(10.0 * np.arange(60)) == []


def test_stamps_that_cannot_be_read_are_told() -> None:
    time = np.arange(100.0)
    time[40:44] = np.nan
    assert ("unreadable_time", 40, 43, 4) in clock(time)


def test_one_stamp_far_off_costs_one_row() -> None:
    time = np.arange(100.0)
    time[50] = 1e9
    (sign,) = clock(time)
    assert sign[0] == "backward_time" and sign[1] == 50 and sign[3] == 1


VANE = ChannelRules(range=(-180.0, 180.0), plausible=(-180.0, 180.0), noise=4.0, turn=360.0)


def direction(mean: float, seed: int = 6) -> np.ndarray:
    """A direction with noise of 4 deg, written between -180 and 180 deg with a resolution of 360 / 65536."""
    x = mean + 4.0 * np.random.default_rng(seed).standard_normal(ROWS)
    step = 360.0 / 65536.0
    return np.round((np.mod(x + 180.0, 360.0) - 180.0) / step) * step


@pytest.mark.parametrize("mean", [180.0, -180.0, 176.0, -171.0, 0.0])
def test_a_direction_that_goes_round_is_not_accused(mean: float) -> None:
    assert seen(direction(mean), VANE) == {}


@pytest.mark.parametrize("end", [-180.0, 180.0])
def test_a_direction_that_rests_on_the_seam_for_some_rows_is_not_saturated(end: float) -> None:
    x = direction(180.0)
    x[2000:2090] = end  # 9 s: shorter than any standstill told, longer than saturation asks for
    assert seen(x, VANE) == {}
    assert "saturated" in seen(np.abs(x) if end > 0 else -np.abs(x), replace(VANE, turn=0.0))


def test_a_direction_that_sticks_or_spikes_is_still_told() -> None:
    x = direction(180.0)
    x[1000:1600] = x[1000]
    x[[2500, 3000]] = [90.0, -80.0]
    found = seen(x, VANE)
    assert found["stuck"] == (1000, 1599, 600, x[1000])
    assert found["spikes"][:3] == (2500, 3000, 2)
