"""Whole runs: what they show, and what they do when something is missing or makes no sense."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from planted_corrie import (
    IDLE,
    corrie,
    failed_start,
    of,
    recorded,
    sheet,
    usual,
    usual_contents,
)

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.units import INNER_UNIT


def test_the_run_shows_every_item_that_was_run_and_tells_it_in_order() -> None:
    found = usual_contents()
    owed = {i.id for i in corrie().schedule if "repaired" in i.sets and i.kind != "check"}
    assert {s.item for s in found.shown} == owed
    assert [e.at_s for e in found.events] == sorted(e.at_s for e in found.events)
    kinds = [e.kind for e in found.events]
    assert kinds.count("light_off") == kinds.count("standstill") == kinds.count("fuel_off") == 1
    off = next(e.at_s for e in found.events if e.kind == "fuel_off")
    assert off == pytest.approx(usual()[0].truth.fuel_off, abs=0.2)


def test_every_limit_of_a_channel_or_quantity_that_was_run_gets_a_reading() -> None:
    quantities = {r.quantity for r in usual_contents().readings}
    at_points = {c for p in usual_contents().points for c in p.channels}
    for limit in corrie().limit:
        if "repaired" in limit.sets and limit.regime != "rating":
            assert limit.quantity in quantities | at_points, limit.id


def test_every_reading_is_in_inner_units_and_says_how_it_came_to_be() -> None:
    for r in usual_contents().readings:
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
