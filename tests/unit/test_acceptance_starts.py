"""Readings of starts against what was planted."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from planted_corrie import (
    corrie,
    failed_start,
    of,
    recorded,
    sheet,
    usual,
    within,
)

from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.typefile.definition import Definitions


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
