"""Readings of a whole run against what was planted in it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from planted_corrie import IDLE, Script, Truth, corrie, recorded, sheet, usual_script

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.acceptance import read_run
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading
from spoolwright.crafts.testcell.run_sheet import Adjustment, Engine, OilAccount
from spoolwright.crafts.typefile.definition import Definitions
from spoolwright.crafts.typefile.limit import Limit, LimitCurve, LimitException, TimeAt
from spoolwright.crafts.typefile.model import Amount, Condition, Source, TypeFile
from spoolwright.units import INNER_UNIT


@cache
def usual() -> tuple[Script, Recording]:
    script = usual_script()
    return script, recorded(script)


@cache
def contents() -> RunContents:
    return read_run(usual()[1], sheet(), corrie())


def of(found: RunContents, quantity: str, regime: str = "", limit: str | None = None) -> list[ScalarReading]:
    return [
        r
        for r in found.readings
        if r.quantity == quantity and regime in ("", r.regime) and limit in (None, r.limit)
    ]


def within(reading: ScalarReading, true: float, times: float = 3.0) -> bool:
    return abs(reading.value - true) <= times * reading.uncertainty


# --- starts


@pytest.mark.parametrize("rate", [5.0, 20.0, 50.0])
def test_start_times_are_the_planted_ones(rate: float) -> None:
    script, _ = usual()
    truth = script.truth
    found = read_run(recorded(script, rate), sheet(), corrie())
    (lit,) = of(found, "time_to_light_off")
    (idle,) = of(found, "time_to_idle")
    assert within(lit, truth.lit - truth.starter_on)
    assert within(idle, truth.idle_reached - truth.starter_on)
    # Two moments, each rectangular over one sampling interval, are the least that is stated.
    assert lit.uncertainty >= math.sqrt(2.0 / 12.0) / rate
    assert lit.uncertainty < 2.0 / rate
    assert idle.unit == "s"
    assert lit.reference == "ATS-940 revision 5, paragraph 8.8" or "8.8" in lit.reference


def test_peak_mgt_is_the_highest_row_as_indicated_and_time_above_is_that_of_the_triangle() -> None:
    script, _ = usual()
    found = read_run(recorded(script, noise=False), sheet(), corrie())
    (peak,) = of(found, "start_peak_mgt")
    assert peak.value == pytest.approx(1110.0)
    assert peak.at_s == pytest.approx(42.0)
    (timed,) = of(found, "mgt", "start")
    levels = [t.value + 273.15 for x in corrie().limit if x.id == timed.limit for t in x.time_at]
    assert sorted(e.above for e in timed.excursions) == pytest.approx(sorted(levels))
    for e in timed.excursions:
        # Up from 900 K at 38.5 s to 1110 K at 42 s, down to 760 K at 50 s.
        true = max(0.0, (1110.0 - e.above) * (3.5 / 210.0 + 8.0 / 350.0))
        assert e.total_s == pytest.approx(true, abs=0.02)


def test_a_missing_starter_channel_says_so_and_another_clock_serves() -> None:
    script, _ = usual()
    bare = recorded(script, without=("starter",))
    (lit,) = of(read_run(bare, sheet(), corrie()), "time_to_light_off")
    assert math.isnan(lit.value)
    assert "starter" in lit.why_not
    start = corrie().definitions.start
    assert start is not None
    by_fuel = start.model_copy(update={"clock_from": "fuel_on"})
    known = corrie().model_copy(
        update={"definitions": corrie().definitions.model_copy(update={"start": by_fuel})}
    )
    (lit,) = of(read_run(bare, sheet(), known), "time_to_light_off")
    assert within(lit, script.truth.lit - script.truth.fuel_on)


def test_without_a_definition_no_time_is_read() -> None:
    known = corrie().model_copy(update={"definitions": Definitions()})
    found = read_run(usual()[1], sheet(), known)
    for quantity in ("time_to_light_off", "time_to_idle", "acceleration_time", "deceleration_time"):
        readings = of(found, quantity)
        assert readings
        assert all(math.isnan(r.value) and "does not define" in r.why_not for r in readings)
    (coast,) = of(found, "coast_down_time")
    assert "does not define" in coast.why_not


def failed_start(lit: bool, wait: float) -> Recording:
    """Cranked from 30.37 s; lit or not; given up after `wait` seconds at 50 % of idle speed."""
    s = Script()
    t: Truth = s.truth
    end = t.starter_on + wait
    for time, ng in ((t.starter_on, 0.0), (40.0, 0.5 * IDLE), (end, 0.5 * IDLE), (end + 30.0, 0.0)):
        s.ng.to(time, ng)
    s.wf.to(t.fuel_on, 0.0)
    s.wf.to(t.fuel_on + 0.001, 0.01)
    s.wf.to(end, 0.01)
    s.wf.to(end + 0.001, 0.0)
    s.mgt.to(34.5, 300.0)
    for time, mgt in ((38.5, 900.0), (end, 950.0), (end + 30.0, 400.0)) if lit else ():
        s.mgt.to(time, mgt)
    s.truth.end = end + 60.0
    for line in (s.ng, s.torque, s.np, s.lever, s.mgt, s.wf):
        line.hold(s.truth.end)
    return recorded(s)


def test_a_hung_start_fails_on_the_time_it_went_on_and_passes_nothing() -> None:
    found = read_run(failed_start(lit=True, wait=60.0), sheet(), corrie())
    (lit,) = of(found, "time_to_light_off")
    assert within(lit, 34.5 + 40.0 / 150.0 - 30.37)
    (idle,) = of(found, "time_to_idle")
    assert idle.value == pytest.approx(60.0, abs=3.0)  # beyond the limit of 34 s: enough to fail it
    assert "hung" in idle.title
    assert [e.text for e in found.events if "hung" in e.text]
    assert "start" not in [s.item for s in found.shown]
    (idle,) = of(read_run(failed_start(lit=True, wait=25.0), sheet(), corrie()), "time_to_idle")
    assert math.isnan(idle.value)  # given up before the limit: neither met nor failed
    assert "no ground idle within" in idle.why_not


def test_a_false_start_has_no_light_off() -> None:
    found = read_run(failed_start(lit=False, wait=30.0), sheet(), corrie())
    (lit,) = of(found, "time_to_light_off")
    assert lit.value == pytest.approx(30.0, abs=3.0)
    assert "no light-off" in lit.title
    assert any("false start" in e.text for e in found.events)


def test_motoring_is_no_start() -> None:
    recording = failed_start(lit=False, wait=30.0)
    series = dict(recording.series)
    for name in ("wf", "qf", "ignition"):
        series[name] = replace(series[name], values=np.zeros(recording.rows))
    found = read_run(replace(recording, series=series), sheet(), corrie())
    assert of(found, "time_to_light_off") == []
    assert any("motoring" in e.text for e in found.events)


def test_a_second_start_is_read_on_its_own() -> None:
    first = failed_start(lit=True, wait=60.0)
    second = usual()[1]
    gap = first.time[-1] + 0.05
    time = np.concatenate([first.time, second.time + gap])
    series = {
        k: replace(s, values=np.concatenate([first.series[k].values, s.values]))
        for k, s in second.series.items()
    }
    found = read_run(replace(second, time=time, series=series), sheet(), corrie())
    assert len(of(found, "time_to_idle")) == 2
    truth = usual()[0].truth
    assert within(of(found, "time_to_idle")[1], truth.idle_reached - truth.starter_on)


# --- slams, governing, coast-down


def test_slam_times_are_dead_time_and_lag() -> None:
    script, _ = usual()
    for quantity, planted in (
        ("acceleration_time", script.truth.accelerations),
        ("deceleration_time", script.truth.decelerations),
    ):
        readings = of(contents(), quantity)
        assert len(readings) == len(planted) == 2
        for r, (begin, true) in zip(readings, planted, strict=True):
            assert within(r, true)
            assert r.at_s == pytest.approx(begin, abs=0.06)
            assert r.uncertainty < 0.1


def test_a_slow_change_of_the_lever_is_no_slam() -> None:
    # The run comes down from its last point to idle in 12 s, and goes up to its first in 12 s.
    assert all(r.from_s > 3000.0 for r in of(contents(), "deceleration_time"))
    assert len([s for s in contents().shown if s.item == "acceleration"]) == 2


def test_without_the_lever_the_document_that_times_from_it_cannot_be_followed() -> None:
    script, _ = usual()
    bare = recorded(script, without=("power_lever",))
    readings = of(read_run(bare, sheet(), corrie()), "acceleration_time")
    assert readings
    assert all("lever" in r.why_not for r in readings)
    given_slam = corrie().definitions.acceleration
    assert given_slam is not None
    by_reading = given_slam.model_copy(update={"clock_from": "reading_left"})
    definitions = corrie().definitions.model_copy(update={"acceleration": by_reading})
    known = corrie().model_copy(update={"definitions": definitions})
    readings = of(read_run(bare, sheet(), known), "acceleration_time")
    for r, (_, true) in zip(readings, script.truth.accelerations, strict=True):
        assert within(r, true - 0.2)  # the dead time lies before the reading leaves its level


def test_governing_droop_undershoot_and_overshoot() -> None:
    found = contents()
    for droop in of(found, "governing_droop"):
        assert within(droop, 40.0)
    (under,) = of(found, "speed_undershoot")
    (over,) = of(found, "speed_overshoot")
    # Highest and lowest rows of noise (1.5 rpm) add two to three deviations at most.
    assert under.value == pytest.approx(180.0, abs=6.0)
    assert over.value == pytest.approx(150.0, abs=6.0)
    assert under.at_s == pytest.approx(usual()[0].truth.load_on + 0.7, abs=0.15)
    assert [s.item for s in found.shown].count("governing") == 1


def test_hunting_is_half_the_swing() -> None:
    _script, recording = usual()
    np_series = recording.series["np"]
    swing = 12.0 * np.sin(2.0 * math.pi * 0.4 * recording.time)
    hunting = replace(
        recording, series={**recording.series, "np": replace(np_series, values=np_series.values + swing)}
    )
    for r, plain in zip(
        of(read_run(hunting, sheet(), corrie()), "governing_hunting"),
        of(contents(), "governing_hunting"),
        strict=True,
    ):
        # A quarter-second mean leaves sinc(0.1) = 98 % of the swing; noise adds what it shows alone at most.
        assert 0.98 * 12.0 - 0.5 <= r.value <= 12.0 + plain.value
        assert r.point == plain.point


def test_coast_down_time_is_that_of_the_exponential() -> None:
    (coast,) = of(contents(), "coast_down_time")
    definition = corrie().definitions.coast_down
    assert definition is not None
    assert within(coast, 14.0 * math.log(definition.from_speed.value / definition.to_speed.value))
    assert coast.uncertainty < 0.3


def test_speed_that_falls_with_fuel_on_is_no_coast_down() -> None:
    _, recording = usual()
    fuel = recording.series["wf"]
    burning = np.where(recording.time > 3500.0, 0.018, fuel.values)
    found = read_run(
        replace(recording, series={**recording.series, "wf": replace(fuel, values=burning)}),
        sheet(),
        corrie(),
    )
    assert all("fuel still flowed" in r.why_not for r in of(found, "coast_down_time"))


# --- extremes, oil, torquemeter


def test_transient_and_run_extremes_are_the_planted_levels() -> None:
    found = read_run(recorded(usual()[0], noise=False), sheet(), corrie())
    assert of(found, "np", "run")[0].value == pytest.approx(5840.0 + 150.0, abs=3.0)
    top = 38420.0 * math.sqrt(298.15 / 288.15)
    (vib,) = of(found, "vib_turbine", "transient")
    assert vib.value == pytest.approx(4e-3 * (top / 38420.0) ** 2, rel=1e-3)
    assert "45-1000 Hz" in vib.title
    assert {r.quantity for r in found.readings if r.regime == "transient"} >= {
        f"vib_{n}" for n in ("compressor", "turbine", "gearbox", "exhaust")
    }


SOURCE = Source(document="ATS-940", paragraph="1")


def with_limit(**fields: Any) -> TypeFile:
    limit = Limit(id="planted", name="planted", sets=("repaired",), action="none", source=SOURCE, **fields)
    return corrie().model_copy(update={"limit": (limit,)})


def test_the_worst_oil_pressure_is_the_one_with_least_margin_not_the_lowest() -> None:
    known = with_limit(
        quantity="p_oil", bound="min", regime="run", unit="kPag",
        curve=LimitCurve(of="ng", x_unit="rpm", points=((20000, 200), (40000, 400))),
        valid_when=(Condition(channel="t_oil", min=70, max=102, unit="degC"),),
    )  # fmt: skip
    recording = recorded(usual()[0], noise=False)
    pressure = recording.series["p_oil"]
    # 55 kPa down for 8 s at 1700 s, at high speed, where 420 kPa stand against a limit of about 389.
    dip = np.where(np.abs(recording.time - 1704.0) <= 4.0, -55e3, 0.0)
    cold = np.where(recording.time < 100.0, -300e3, 0.0)  # oil still cold: does not count
    series = {**recording.series, "p_oil": replace(pressure, values=pressure.values + dip + cold)}
    (worst,) = of(read_run(replace(recording, series=series), sheet(), known), "p_oil", "run")
    assert worst.limit == "planted"
    assert abs((worst.at_s or 0.0) - 1704.0) <= 4.5
    assert worst.conditions["ng"] == pytest.approx(38200.0 * math.sqrt(298.15 / 288.15), rel=1e-3)
    assert 343.0 < worst.conditions["t_oil"] < 376.0
    limit_there = 1e3 * (200.0 + (worst.conditions["ng"] - 20000.0) / 100.0)
    assert worst.value == pytest.approx(420e3 - 55e3, rel=1e-6)
    assert worst.value < limit_there
    (beyond,) = worst.excursions
    # The one-second mean crosses at 24/55 of the way down: within a second of the dip's own 8 s.
    assert beyond.total_s == pytest.approx(8.0, abs=1.0)


def test_what_stands_before_an_adjustment_and_after_it_is_read_apart() -> None:
    script, recording = usual()
    at = script.truth.holds[4][1] + 100.0
    before, after = at - 300.0, at + 500.0
    series = recording.series["vib_turbine"]
    bumps = 6e-3 * (np.abs(recording.time - before) < 1.0) + 3e-3 * (np.abs(recording.time - after) < 1.0)
    bumped = replace(
        recording, series={**recording.series, "vib_turbine": replace(series, values=series.values + bumps)}
    )
    adjusted = sheet(adjustment=(Adjustment(at_s=at, kind="vane_rigging", text="reset", by="A. Person"),))
    known = with_limit(quantity="vib_turbine", bound="max", regime="run", unit="mm/s", value=20)
    first, second = of(read_run(bumped, adjusted, known, first_block=2), "vib_turbine")
    assert (first.block, second.block) == (2, 3)
    assert first.at_s == pytest.approx(before, abs=1.0)
    assert second.at_s == pytest.approx(after, abs=1.0)
    assert first.value > second.value


def test_a_limit_that_never_counts_says_so() -> None:
    known = with_limit(
        quantity="p_oil", bound="min", regime="run", unit="kPag", value=100,
        valid_when=(Condition(channel="t_oil", min=120, max=130, unit="degC"),),
    )  # fmt: skip
    (reading,) = of(read_run(usual()[1], sheet(), known), "p_oil")
    assert math.isnan(reading.value)
    assert "'t_oil' at least 120 and at most 130 degC" in reading.why_not


def test_an_exception_is_read_apart_and_its_time_counts_from_the_engine_turning() -> None:
    exception = LimitException(
        note="cold", when=(Condition(channel="t_oil", max=45, unit="degC"),), value=860, for_seconds=240
    )
    known = with_limit(
        quantity="p_oil", bound="max", regime="run", unit="kPag", value=520, exceptions=(exception,)
    )
    recording = recorded(usual()[0], noise=False)
    pressure = recording.series["p_oil"]
    cold = np.where((recording.time > 60.0) & (recording.time < 90.0), 400e3, 0.0)
    series = {**recording.series, "p_oil": replace(pressure, values=pressure.values + cold)}
    warm, excused = of(read_run(replace(recording, series=series), sheet(), known), "p_oil")
    assert warm.value == pytest.approx(420e3, rel=1e-3)
    assert excused.value == pytest.approx(400e3 + 420e3 * (IDLE / 38420.0) ** 0.6, rel=1e-3)
    assert excused.excused_s == pytest.approx((excused.at_s or 0.0) - 31.0, abs=1.0)  # turning since 31 s


def test_time_below_counts_for_least_values_and_only_under_power() -> None:
    known = with_limit(
        quantity="np",
        bound="min",
        regime="run",
        unit="rpm",
        value=5000,
        time_at=(TimeAt(value=5700, seconds=3),),
    )
    (low,) = of(read_run(recorded(usual()[0], noise=False), sheet(), known), "np")
    # Output speed runs up from 36 s to 60 s; the engine is at idle, and least values count, from 55.58 s on.
    assert low.value == pytest.approx(5840.0 * (usual()[0].truth.idle_reached - 36.0) / 24.0, rel=0.01)
    (at,) = [e for e in low.excursions if e.above == pytest.approx(5700.0)]
    # 5700 rpm are passed at 59.42 s. The dip goes from 5840 to 5620 rpm in 0.7 s, and back to 5800 in 1.8 s.
    dip = 0.7 * 80.0 / 220.0 + 1.8 * 80.0 / 180.0
    assert at.total_s == pytest.approx(59.42 - 55.58 + dip, abs=0.2)


def test_a_peak_within_a_doubted_time_carries_the_doubt() -> None:
    finding = Finding(
        id="f9", run="1", kind="spikes", channels=("mgt",), from_s=41.0, to_s=43.0, text="", mend="",
        bars_use=True,
    )  # fmt: skip
    found = read_run(usual()[1], sheet(), corrie(), findings=[finding])
    assert of(found, "start_peak_mgt")[0].findings == ("f9",)
    assert of(found, "ng", "run")[0].findings == ()


def test_oil_consumption_from_the_sheet_and_from_the_tank() -> None:
    def litre(value: float) -> Amount:
        return Amount(value=value, unit="L")

    account = OilAccount(
        consumed=litre(0.12), standard_uncertainty=litre(0.01), over=Amount(value=80, unit="min")
    )
    (counted,) = of(read_run(usual()[1], sheet(oil=account), corrie()), "oil_consumption")
    assert counted.value == pytest.approx(0.12e-3 / 4800.0)
    assert counted.uncertainty == pytest.approx(0.01e-3 / 4800.0)
    (level,) = of(contents(), "oil_consumption")
    assert within(level, 0.05e-3 / 3600.0)


def test_torquemeter_and_trim_differ_by_what_was_planted() -> None:
    for r in of(contents(), "torque_conformation_difference"):
        assert within(r, 1.006 / 1.002 - 1.0)
        assert r.point in {p.id for p in contents().points}
    plain = sheet(engine=Engine(serial="P-1"))
    assert all(
        "conformation" in r.why_not
        for r in of(read_run(usual()[1], plain, corrie()), "torque_conformation_difference")
    )
    trimmed = sheet(engine=Engine(serial="P-1", torque_conformation=1.0, mgt_trim_class="T2"))
    for r in of(read_run(usual()[1], trimmed, corrie()), "mgt_trim_difference"):
        assert within(r, 12.0)  # class T2 trims by 12 K; planted indicated and probes agree


def test_idle_readings_are_means_with_their_conditions() -> None:
    readings = of(contents(), "p_oil", "idle")
    assert readings
    for r in readings:
        assert within(r, 420e3 * (IDLE / 38420.0) ** 0.6)
    warm = of(contents(), "p_oil", "steady")
    assert all({"ng", "t_oil"} <= r.conditions.keys() for r in warm)


# --- whole runs


def test_the_run_shows_every_item_that_was_run_and_tells_it_in_order() -> None:
    found = contents()
    owed = {i.id for i in corrie().schedule if "repaired" in i.sets and i.kind != "check"}
    assert {s.item for s in found.shown} == owed
    assert [e.at_s for e in found.events] == sorted(e.at_s for e in found.events)
    kinds = [e.kind for e in found.events]
    assert kinds.count("light_off") == kinds.count("standstill") == kinds.count("fuel_off") == 1
    off = next(e.at_s for e in found.events if e.kind == "fuel_off")
    assert off == pytest.approx(usual()[0].truth.fuel_off, abs=0.2)


def test_every_limit_of_a_channel_or_quantity_that_was_run_gets_a_reading() -> None:
    quantities = {r.quantity for r in contents().readings}
    at_points = {c for p in contents().points for c in p.channels}
    for limit in corrie().limit:
        if "repaired" in limit.sets and limit.regime != "rating":
            assert limit.quantity in quantities | at_points, limit.id


def test_every_reading_is_in_inner_units_and_says_how_it_came_to_be() -> None:
    for r in contents().readings:
        assert r.unit in INNER_UNIT.values()
        assert r.title
        assert r.calculation.startswith("testcell.")
        assert r.reference
        if math.isfinite(r.value):
            assert r.formula
            assert r.uncertainty >= 0.0
        else:
            assert r.why_not


@pytest.mark.parametrize(
    "missing", ["ng", "torque", "mgt", "wf", "np", "t_oil", "p_oil", "vib_turbine", "power_lever"]
)
def test_any_channel_may_be_missing(missing: str) -> None:
    found = read_run(recorded(usual()[0], 5.0, without=(missing,)), sheet(), corrie())
    assert all(r.why_not for r in found.readings if not math.isfinite(r.value))
    if missing == "ng":
        assert found.segments == ()
        assert any("cannot be found" in e.text for e in found.events)


@pytest.mark.parametrize(("factor", "words"), [(100.0 / 38650.0, "per cent"), (1.0 / 60.0, "Hz")])
def test_speed_in_another_unit_still_tells_the_holds_and_is_told(factor: float, words: str) -> None:
    script, recording = usual()
    speed = recording.series["ng"]
    wrong = replace(speed, values=factor * speed.values)
    found = read_run(replace(recording, series={**recording.series, "ng": wrong}), sheet(), corrie())
    assert len(found.points) == len(script.truth.holds)
    assert any(f"taken as {words}" in e.text for e in found.events)
    assert of(found, "ng", "run")[0].value < 700.0  # the reading stays as recorded


def test_a_rotor_only_cranked_is_not_taken_for_a_running_engine() -> None:
    recording = failed_start(lit=False, wait=30.0)
    slow = replace(recording.series["ng"], values=recording["ng"] * 640.0 / (0.5 * IDLE))
    found = read_run(replace(recording, series={**recording.series, "ng": slow}), sheet(), corrie())
    assert not any("taken as" in e.text for e in found.events)


def test_a_recording_that_begins_and_ends_while_running() -> None:
    _, recording = usual()
    part = (recording.time > 700.0) & (recording.time < 2000.0)
    series = {k: replace(s, values=s.values[part]) for k, s in recording.series.items()}
    found = read_run(replace(recording, time=recording.time[part], series=series), sheet(), corrie())
    assert of(found, "time_to_idle") == []
    assert of(found, "coast_down_time") == []
    assert [p.schedule_item for p in found.points][1:4] == ["max_continuous", "intermediate", "p100"]


def test_an_empty_recording_holds_nothing() -> None:
    empty = Recording(np.zeros(0), {}, datetime(2026, 9, 1, tzinfo=UTC), "e", "0" * 64)
    found = read_run(empty, sheet(), corrie())
    assert found.points == ()
    assert found.segments == ()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.integers(0, 400), st.booleans())
def test_no_recording_whatever_raises(seed: int, rows: int, tidy: bool) -> None:
    rng = np.random.default_rng(seed)
    channels = rng.permutation([c.id for c in corrie().channel])[: rng.integers(0, 40)]
    time = np.arange(rows) * rng.choice([0.05, 1.0, 10.0])
    if not tidy and rows:
        time = time + rng.choice(
            [0.0, 1e3, -5.0, np.nan, np.inf, 1e12], rows, p=[0.9, 0.02, 0.02, 0.02, 0.02, 0.02]
        )
    series = {}
    for name in channels:
        channel = next(c for c in corrie().channel if c.id == name)
        levels = rng.choice([0.0, 1.0, 300.0, 1e3, 2e4, IDLE, 3.8e4, 4e5, -1e9, 1e308, np.nan, np.inf], 4)
        values = np.repeat(levels, -(-max(rows, 4) // 4))[:rows] + rng.standard_normal(rows)
        series[name] = Series(name, values, name, channel.unit, INNER_UNIT[channel.dimension])
    recording = Recording(time, series, None, "r", "0" * 64)
    with np.errstate(all="ignore"):
        found = read_run(recording, sheet(), corrie())
    for a, b in zip(found.segments, found.segments[1:], strict=False):
        assert a.to_s <= b.from_s + 1e-9
