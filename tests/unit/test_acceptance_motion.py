"""Slams, load steps and coast-down against what was planted."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from planted_corrie import (
    corrie,
    of,
    recorded,
    sheet,
    usual,
    usual_contents,
    within,
)

from spoolwright.crafts.testcell.acceptance.contents import read_run


def test_slam_times_are_dead_time_and_lag() -> None:
    script, _ = usual()
    for quantity, planted in (
        ("acceleration_time", script.truth.accelerations),
        ("deceleration_time", script.truth.decelerations),
    ):
        readings = of(usual_contents(), quantity)
        assert len(readings) == len(planted) == 2
        for r, (begin, true) in zip(readings, planted, strict=True):
            assert within(r, true)
            assert r.at_s == pytest.approx(begin, abs=0.06)
            assert r.uncertainty < 0.1


def test_a_slow_change_of_the_lever_is_no_slam() -> None:
    # The run comes down from its last point to idle in 12 s, and goes up to its first in 12 s.
    assert all(r.from_s > 3000.0 for r in of(usual_contents(), "deceleration_time"))
    assert len([s for s in usual_contents().shown if s.item == "acceleration"]) == 2


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
    found = usual_contents()
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
        of(usual_contents(), "governing_hunting"),
        strict=True,
    ):
        # A quarter-second mean leaves sinc(0.1) = 98 % of the swing; noise adds what it shows alone at most.
        assert 0.98 * 12.0 - 0.5 <= r.value <= 12.0 + plain.value
        assert r.point == plain.point


def test_coast_down_time_is_that_of_the_exponential() -> None:
    (coast,) = of(usual_contents(), "coast_down_time")
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
