"""What happened in a run, found in recordings whose corner times are planted."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from planted_run import FULL, FULL_TORQUE, IDLE, Planted, coast, coloured, usual_run

from spoolwright.core.reduction.segments import SegmentRules, Stretch, find_stretches
from spoolwright.core.reduction.trace import even_trace, forward_rows, running_mean, runs_of, without_spikes
from spoolwright.core.reduction.turning_points import legs_of

RULES = SegmentRules(FULL, IDLE, 400.0, FULL_TORQUE)
ORDER = [
    "off", "start", "transient", "idle", "acceleration", "hold", "transient", "hold", "transient", "hold",
    "deceleration", "idle", "acceleration", "hold", "deceleration", "idle", "shut_down", "coast_down", "off",
]  # fmt: skip


def stretches(run: dict[str, np.ndarray], *only: str) -> list[Stretch]:
    values = {k: v for k, v in run.items() if k != "time" and (not only or k in only)}
    return find_stretches(even_trace(run["time"], values), RULES)


def of_kind(found: list[Stretch], *kinds: str) -> list[tuple[float, float]]:
    return [(s.from_s, s.to_s) for s in found if s.kind in kinds]


def cover(found: list[Stretch]) -> None:
    for s, following in itertools.pairwise(found):
        assert s.to_s == following.from_s
    assert all(s.to_s >= s.from_s for s in found)


@pytest.mark.parametrize("rate", [5.0, 20.0, 100.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_usual_run_is_cut_at_its_planted_corners(rate: float, seed: int) -> None:
    found = stretches(usual_run(rate, seed=seed))
    assert [s.kind for s in found] == ORDER
    cover(found)
    # A rest goes on while a one-second mean keeps its level; ramp and noise move that by up to 1 s.
    planted = [(315, 560), (565, 800), (803, 1000), (1063, 1090)]
    for (a, b), (begin, end) in zip(of_kind(found, "hold"), planted, strict=True):
        assert a == pytest.approx(begin, abs=3.0)
        assert b == pytest.approx(end, abs=1.0)
    assert of_kind(found, "shut_down")[0][0] == pytest.approx(1200.0, abs=0.11)
    # exp(-t/10) falls from idle to 2 % of full speed in 10 ln(26300/768.4) s.
    assert of_kind(found, "coast_down")[0][1] == pytest.approx(1200.0 + 10.0 * np.log(26300 / 768.4), abs=0.2)


def test_a_slow_recording_tells_the_same_holds() -> None:
    found = stretches(usual_run(1.0))
    assert [s.kind for s in found if s.kind in ("idle", "hold", "coast_down")].count("hold") == 4


@pytest.mark.parametrize("missing", ["torque", "fuel_flow"])
def test_a_channel_less_still_tells_the_holds(missing: str) -> None:
    run = usual_run()
    del run[missing]
    found = stretches(run)
    assert len(of_kind(found, "hold")) == 4
    assert len(of_kind(found, "idle")) == 3
    assert len(of_kind(found, "coast_down")) == 1


def test_without_speed_nothing_is_claimed() -> None:
    run = usual_run()
    del run["gas_generator_speed"]
    assert stretches(run) == []
    run["gas_generator_speed"] = np.full(run["time"].size, np.nan)
    assert stretches(run) == []


def test_steps_of_less_than_half_a_percent_part_two_holds() -> None:
    found = of_kind(stretches(usual_run()), "hold")
    assert found[1][1] < 801.0 < found[2][0]  # 170 rpm (0.44 %) within 3 s, as planted


def test_a_slow_sweep_is_no_hold() -> None:
    p = Planted(900.0)
    p.add("gas_generator_speed", (0, IDLE), (60, IDLE), (660, FULL), (900, FULL))
    p.add("torque", (0, 60), (60, 60), (660, FULL_TORQUE), (900, FULL_TORQUE))
    t = p.time(20.0)
    found = stretches({"time": t, **{k: p.values(k, t) for k in p.corners}})
    assert [s.kind for s in found] == ["idle", "transient", "hold"]
    assert found[1].from_s == pytest.approx(60.0, abs=20.0)
    assert found[1].to_s == pytest.approx(660.0, abs=20.0)


def test_hunting_about_a_level_that_is_kept_is_one_hold() -> None:
    t = np.arange(0.0, 300.0, 0.05)
    speed = 37000.0 + 100.0 * np.sin(2 * np.pi * 0.15 * t)
    torque = 1200.0 + 20.0 * np.sin(2 * np.pi * 0.15 * t + 1.0)
    found = stretches({"time": t, "gas_generator_speed": speed, "torque": torque})
    assert [s.kind for s in found] == ["hold"]


def test_drift_after_setting_does_not_shorten_the_hold() -> None:
    t = np.arange(0.0, 400.0, 0.05)
    settle = np.exp(-np.maximum(t - 100.0, 0.0) / 60.0)
    speed = np.where(t < 100.0, 36000.0, 37500.0 + 60.0 * (1.0 - settle))
    torque = np.where(t < 100.0, 900.0, 1200.0 + 15.0 * settle)
    found = stretches({"time": t, "gas_generator_speed": speed, "torque": torque})
    # The one-second mean and the clock's step blur the moment by 0.6 s.
    assert of_kind(found, "hold")[1][0] == pytest.approx(100.0, abs=0.61)


def false_start_run() -> dict[str, np.ndarray]:
    """Cranked and given up at 20 %, hung at 55 % and cut, then a good start while the rotor still turns."""
    p = Planted(400.0)
    speed = [(0, 0), (10, 0), (16, 7700), (25, 7700), (45, 0), (100, 0), (110, 8000), (130, 21000)]
    speed += [(150, 21200), (165, 6000), (190, IDLE), (400, IDLE)]
    p.add("gas_generator_speed", *speed)
    t = p.time(20.0)
    return {
        "time": t,
        "gas_generator_speed": p.values("gas_generator_speed", t) + coloured(t.size, 6, 0.9, 1),
    }


def test_every_attempt_to_start_is_found() -> None:
    found = stretches(false_start_run())
    cover(found)
    starts = [s for s in found if s.kind == "start"]
    assert [s.complete for s in starts] == [False, False, True]
    assert starts[0].from_s == pytest.approx(10.6, abs=0.3)
    assert starts[2].from_s == pytest.approx(165.0, abs=0.5)
    assert starts[2].to_s == pytest.approx(165.0 + 25.0 * (IDLE - 400 - 6000) / (IDLE - 6000), abs=0.3)
    assert len(of_kind(found, "coast_down")) == 2


def test_a_recording_that_begins_and_ends_while_running() -> None:
    run = usual_run()
    part = (run["time"] > 400.0) & (run["time"] < 950.0)
    found = stretches({k: v[part] for k, v in run.items()})
    assert [s.kind for s in found] == ["hold", "transient", "hold", "transient", "hold"]
    assert not found[0].begun


def test_a_recording_that_begins_amid_a_start_and_one_amid_a_coast_down() -> None:
    run = usual_run()
    for begin, kind in ((33.0, "start"), (1215.0, "coast_down")):
        part = run["time"] > begin
        found = stretches({k: v[part] for k, v in run.items()})
        assert found[0].kind == kind
        assert not found[0].begun


def test_a_gap_parts_a_hold_and_does_not_stop_the_engine() -> None:
    run = usual_run()
    keep = (run["time"] < 650.0) | (run["time"] > 700.0)
    found = stretches({k: v[keep] for k, v in run.items()})
    holds = of_kind(found, "hold")
    assert len(holds) == 5
    assert holds[1][1] <= 650.1
    assert holds[2][0] >= 699.9
    assert "off" not in [s.kind for s in found[2:-1]]


def test_spikes_and_a_dead_pickup_for_a_second_change_nothing() -> None:
    run = usual_run()
    rng = np.random.default_rng(3)
    for name in ("gas_generator_speed", "torque"):
        run[name][rng.integers(0, run["time"].size, 60)] = 1e6
    run["gas_generator_speed"][9000:9020] = 0.0
    found = stretches(run)
    assert len(of_kind(found, "hold")) in (4, 5)
    assert len(of_kind(found, "start")) == 1
    assert len(of_kind(found, "off")) == 2


def test_a_flame_out_and_a_relight_are_not_one_run() -> None:
    t = np.arange(0.0, 300.0, 0.05)
    speed = np.interp(t, [0, 100, 112, 130, 300], [37000, 37000, 12000, IDLE, IDLE])
    found = stretches({"time": t, "gas_generator_speed": speed, "fuel_flow": np.full(t.size, 0.05)})
    kinds = [s.kind for s in found]
    assert kinds[0] == "hold"
    assert "coast_down" in kinds
    assert "start" in kinds
    assert kinds[-1] == "idle"


def test_a_slam_up_and_down_again_is_two_stretches() -> None:
    t = np.arange(0.0, 200.0, 0.05)
    torque = np.interp(t, [0, 100, 103, 108, 111, 200], [60, 60, 1500, 1500, 60, 60])
    speed = np.interp(t, [0, 100, 103, 108, 111, 200], [IDLE, IDLE, FULL, FULL, IDLE, IDLE])
    found = stretches({"time": t, "gas_generator_speed": speed, "torque": torque})
    assert [s.kind for s in found] == ["idle", "acceleration", "deceleration", "idle"]
    assert 103.0 <= found[1].to_s <= 108.1


def test_a_low_idle_is_an_idle_and_not_a_hung_start() -> None:
    p = Planted(300.0)
    low = IDLE - 1200.0
    p.add("gas_generator_speed", (0, 0), (20, 0), (50, low), (200, low), (210, 37000), (300, 37000))
    t = p.time(20.0)
    found = stretches({"time": t, "gas_generator_speed": p.values("gas_generator_speed", t)})
    assert [s.kind for s in found if s.kind in ("start", "idle", "hold")] == ["start", "idle", "hold"]


def test_one_stamp_far_in_the_future_costs_one_row() -> None:
    t = np.arange(1000.0) / 20.0
    t[300] = 1e9
    assert forward_rows(t).sum() == 999
    assert not forward_rows(t)[300]


def test_a_clock_set_back_loses_only_the_overlap() -> None:
    t = np.arange(2000.0) / 20.0
    t[1000:] -= 5.0
    assert forward_rows(t).sum() == 2000 - 100
    assert np.all(np.diff(t[forward_rows(t)]) > 0.0)


def test_running_mean_and_median_are_what_numpy_says() -> None:
    rng = np.random.default_rng(0)
    x = rng.standard_normal(200) + 1e6
    for i in range(10, 190):
        assert running_mean(x, 7)[i] == pytest.approx(np.mean(x[i - 3 : i + 4]), abs=1e-8)
        assert without_spikes(x)[i] == np.median(x[i - 2 : i + 3])


def test_legs_cover_the_series_and_alternate() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        x = np.cumsum(rng.standard_normal(300))
        legs = legs_of(x, 4.0)
        assert legs[0][0] == 0
        assert legs[-1][1] == 300
        assert all(p[1] == q[0] and p[2] != q[2] for p, q in itertools.pairwise(legs))
        for i, j, _ in legs[1:-1]:
            assert abs(x[j] - x[i]) > 4.0 * (1.0 - 2.0 * 0.1)  # each end within a tenth of its extreme


def test_a_plateau_belongs_to_the_leg_that_led_to_it() -> None:
    x = np.interp(np.arange(100.0), [0, 10, 60, 70, 99], [0, 10, 10, 0, 0])
    assert legs_of(x, 3.0) == [(0, 60, True), (60, 100, False)]


numbers = st.floats(allow_nan=True, allow_infinity=True, width=64)
speeds = st.one_of(numbers, st.sampled_from([0.0, 500.0, 8000.0, IDLE, FULL, 37000.0]))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_any_recording_is_cut_without_overlap_or_error(data: st.DataObject) -> None:
    rows = data.draw(st.integers(0, 60))
    time = data.draw(
        st.one_of(
            arrays(np.float64, rows, elements=numbers),
            st.just(np.arange(float(rows))),
            st.just(np.arange(float(rows)) * 7.0),
        )
    )
    run = {"time": time, "gas_generator_speed": data.draw(arrays(np.float64, rows, elements=speeds))}
    if data.draw(st.booleans()):
        run["torque"] = data.draw(arrays(np.float64, rows, elements=numbers))
    if data.draw(st.booleans()):
        run["fuel_flow"] = data.draw(arrays(np.float64, rows, elements=numbers))
    with np.errstate(all="ignore"):
        found = stretches(run)
    cover(found)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(2, 12))
def test_any_random_course_is_covered_from_its_first_to_its_last_row(seed: int, corners: int) -> None:
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 400.0, 0.2)
    at = np.sort(rng.uniform(0.0, 400.0, corners))
    speed = np.interp(t, at, rng.choice([0.0, 9000.0, 20000.0, IDLE, 37000.0, FULL], corners))
    torque = np.interp(t, at, rng.uniform(0.0, FULL_TORQUE, corners))
    found = stretches({"time": t, "gas_generator_speed": speed, "torque": torque})
    cover(found)
    assert found[0].from_s == 0.0
    assert found[-1].to_s == pytest.approx(t[-1])


def test_runs_of_marks() -> None:
    assert runs_of(np.array([True, True, False, True])) == [(0, 2), (3, 4)]


def test_coasting_speed_is_exponential() -> None:
    assert coast(np.array([10.0]), 0.0, 100.0, 10.0)[0] == pytest.approx(100.0 / np.e)
