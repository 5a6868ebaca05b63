"""Extremes, oil, torquemeter and trim against what was planted."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from planted_corrie import (
    IDLE,
    corrie,
    of,
    recorded,
    sheet,
    usual,
    usual_contents,
    within,
)

from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.run_sheet import Adjustment, Engine, OilAccount
from spoolwright.crafts.typefile.limit import Limit, LimitCurve, LimitException, TimeAt
from spoolwright.crafts.typefile.model import Amount, Condition, Oil, Source, TypeFile


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
    times = {i.name: i.value for i in worst.inputs if i.unit == "s"}
    # Oil reaches 70 degC where 60 (1 - exp(-t/150)) = 45 K: 150 ln 4 s after 40 s. Under power from 55.6 s.
    assert times["time outside it"] == pytest.approx(40.0 + 150.0 * math.log(4.0) - 55.6, abs=1.0)
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


def test_an_excess_is_an_event_at_its_worst_moment() -> None:
    known = with_limit(quantity="mgt", bound="max", regime="run", unit="degC", value=800)
    found = read_run(recorded(usual()[0], noise=False), sheet(), known)
    (event,) = [e for e in found.events if e.kind == "exceedance"]
    assert event.at_s == pytest.approx(42.0, abs=0.06)  # the planted peak of 1110 K, 836.9 degC
    assert "837 °C" in event.text
    assert "beyond 800 °C" in event.text
    within_limits = with_limit(quantity="mgt", bound="max", regime="run", unit="degC", value=900)
    assert not [
        e for e in read_run(recorded(usual()[0]), sheet(), within_limits).events if e.kind == "exceedance"
    ]


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
    (level,) = of(usual_contents(), "oil_consumption")
    assert within(level, 0.05e-3 / 3600.0)


def weighed(kilograms: float, u: float = 0.01) -> OilAccount:
    def mass(value: float) -> Amount:
        return Amount(value=value, unit="kg")

    return OilAccount(
        consumed=mass(kilograms), standard_uncertainty=mass(u), over=Amount(value=80, unit="min")
    )


def test_oil_that_was_weighed_is_turned_into_volume_by_the_type_files_density() -> None:
    """0.1 kg at 1000 +- 20 kg/m3 is 0.1 L; its parts 0.01 kg and 2 % add in squares."""
    density = Oil(
        density=Amount(value=1.0, unit="kg/L"),
        density_standard_uncertainty=Amount(value=0.02, unit="kg/L"),
        source=SOURCE,
    )
    known = corrie().model_copy(update={"oil": density})
    (counted,) = of(read_run(usual()[1], sheet(oil=weighed(0.1)), known), "oil_consumption")
    assert counted.value == pytest.approx(0.1e-3 / 4800.0)
    assert counted.uncertainty == pytest.approx(math.hypot(0.01e-3, 0.02 * 0.1e-3) / 4800.0)
    unknown = corrie().model_copy(update={"oil": None})
    (left,) = of(read_run(usual()[1], sheet(oil=weighed(0.1)), unknown), "oil_consumption")
    assert math.isnan(left.value)
    assert "no density of oil" in left.why_not and "[oil]" in left.mend


def test_an_engine_that_made_oil_meets_no_limit_on_it() -> None:
    (more,) = of(read_run(usual()[1], sheet(oil=weighed(-0.1)), corrie()), "oil_consumption")
    assert "more oil after than before" in more.thin
    (even,) = of(read_run(usual()[1], sheet(oil=weighed(-0.01)), corrie()), "oil_consumption")
    assert not even.thin  # within what the scale leaves open


def test_torquemeter_and_trim_differ_by_what_was_planted() -> None:
    for r in of(usual_contents(), "torque_conformation_difference"):
        assert within(r, 1.006 / 1.002 - 1.0)
        assert r.point in {p.id for p in usual_contents().points}
    plain = sheet(engine=Engine(serial="P-1"))
    assert all(
        "conformation" in r.why_not
        for r in of(read_run(usual()[1], plain, corrie()), "torque_conformation_difference")
    )
    trimmed = sheet(engine=Engine(serial="P-1", torque_conformation=1.0, mgt_trim_class="T2"))
    for r in of(read_run(usual()[1], trimmed, corrie()), "mgt_trim_difference"):
        assert within(r, 12.0)  # class T2 trims by 12 K; planted indicated and probes agree


def test_idle_readings_are_means_with_their_conditions() -> None:
    readings = of(usual_contents(), "p_oil", "idle")
    assert readings
    for r in readings:
        assert within(r, 420e3 * (IDLE / 38420.0) ** 0.6)
    warm = of(usual_contents(), "p_oil", "steady")
    assert all({"ng", "t_oil"} <= r.conditions.keys() for r in warm)
