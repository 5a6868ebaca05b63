"""Recordings of the simulated bench, whose truth the reading of a run does not see."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.record import RecordOptions, record_run
from spoolwright.rig.result import RigRun
from spoolwright.rig.script import PlannedAdjustment
from spoolwright.rig.sensor_faults import planted, sensor_fault
from spoolwright.rig.sheet import SheetOptions
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type

KEPT = (
    "start", "idle_warm_up", "p60", "p100", "take_off", "p75_down", "acceleration", "deceleration",
    "governing", "cool_down", "shut_down", "coast_down",
)  # fmt: skip


@pytest.fixture(scope="module")
def loaded() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def known(loaded: LoadedType) -> TypeFile:
    """The type with a short schedule."""
    items = [s for s in loaded.type_file.schedule if s.id in KEPT or s.kind == "check"]
    brief = tuple(s.model_copy(update={"at_least_s": min(s.at_least_s, 160.0)}) for s in items)
    return loaded.type_file.model_copy(update={"schedule": brief})


@pytest.fixture(scope="module")
def run(known: TypeFile, loaded: LoadedType) -> RigRun:
    adjustment = PlannedAdjustment(
        after="p60", kind="vane_rigging", text="reset", changes={"vane_offset": 0.1}
    )
    options = RecordOptions(
        seed=77, rate=20.0, adjustments=[adjustment], sheet=SheetOptions(limit_set="overhauled")
    )
    return record_run(known, loaded.engine, options)


@pytest.fixture(scope="module")
def contents(run: RigRun, known: TypeFile) -> RunContents:
    return read_run(run.recording, run.sheet, known)


def of(found: RunContents, quantity: str) -> list[ScalarReading]:
    return [r for r in found.readings if r.quantity == quantity]


def items(found: RunContents) -> list[str | None]:
    return [p.schedule_item for p in found.points]


def test_every_hold_of_the_bench_is_found_and_assigned(run: RigRun, contents: RunContents) -> None:
    holds = run.truth.holds
    assert items(contents) == [h.item for h in holds]
    for hold, point in zip(holds, contents.points, strict=True):
        assert hold.from_s + 70.0 <= point.from_s
        assert point.to_s <= hold.to_s
        assert point.to_s >= hold.to_s - 6.0
        assert point.steady


def test_means_stand_within_their_stated_uncertainty_of_what_the_bench_was(
    run: RigRun, contents: RunContents
) -> None:
    day = run.truth.day
    for hold, point in zip(run.truth.holds, contents.points, strict=True):
        mean = point.channels["ng"]
        true = hold.settled["ng"] / day.cell_factor("gas_generator_speed")
        # The settled truth leaves out what of the heat soak is left in the window: the allowed drift.
        assert abs(mean.mean - true) < 3.0 * mean.uncertainty + 45.0


def test_points_on_either_side_of_the_adjustment_are_in_different_blocks(
    run: RigRun, contents: RunContents
) -> None:
    (at,) = [a.at_s for a in run.sheet.adjustment]
    assert {p.block for p in contents.points if p.to_s < at} == {0}
    assert {p.block for p in contents.points if p.from_s > at} == {1}
    assert contents.last_block == 1
    assert [e.at_s for e in contents.events if e.kind == "adjustment"] == [at]


def test_the_start_is_timed_from_the_starter_to_the_crossing_of_the_idle_band(
    run: RigRun, contents: RunContents, known: TypeFile
) -> None:
    r, start = run.recording, known.definitions.start
    assert start is not None
    on = int(np.argmax(r["starter"] > 0.5))
    level = start.idle_speed.value - start.idle_within.value
    reached = int(np.argmax(r["ng"] >= level))
    (idle,) = of(contents, "time_to_idle")
    assert idle.value == pytest.approx(r.time[reached] - r.time[on], abs=3.0 * idle.uncertainty + 1.0 / 20.0)
    (peak,) = of(contents, "start_peak_mgt")
    assert peak.value == r["mgt"][on : reached + 40].max()
    assert len([e for e in contents.events if e.kind == "light_off"]) == 1


def test_slams_load_steps_and_coast_down_are_all_there(contents: RunContents, known: TypeFile) -> None:
    assert len(of(contents, "acceleration_time")) == len(of(contents, "deceleration_time")) == 2
    for r in (*of(contents, "acceleration_time"), *of(contents, "deceleration_time")):
        assert 0.5 < r.value < 10.0
        assert r.uncertainty < 0.15
    assert len(of(contents, "speed_undershoot")) == len(of(contents, "speed_overshoot")) == 1
    (coast,) = of(contents, "coast_down_time")
    assert coast.value > 20.0
    owed = {i.id for i in known.schedule if "overhauled" in i.sets and i.kind != "check"}
    assert {s.item for s in contents.shown} == owed


def test_coast_down_time_is_that_between_the_rows_at_the_two_speeds(
    run: RigRun, contents: RunContents, known: TypeFile
) -> None:
    definition = known.definitions.coast_down
    assert definition is not None
    r = run.recording
    last = np.flatnonzero(r["ng"] > definition.from_speed.value)[-1]
    low = np.flatnonzero(r["ng"] > definition.to_speed.value)[-1]
    (coast,) = of(contents, "coast_down_time")
    assert coast.value == pytest.approx(r.time[low] - r.time[last], abs=3.0 * coast.uncertainty + 0.1)


def test_torquemeter_check_implies_the_conformation_of_the_bench(run: RigRun, contents: RunContents) -> None:
    readings = of(contents, "torque_conformation_difference")
    assert len(readings) == len(contents.points)
    for r in readings:
        implied = next(i.value for i in r.inputs if i.name == "conformation implied")
        assert isinstance(implied, float)
        assert abs(implied / run.truth.day.conformation - 1.0) < 3.0 * r.uncertainty


def faulty(run: RigRun, known: TypeFile, *lines: str) -> Recording:
    faults = [sensor_fault(line, known) for line in lines]
    return planted(run.recording, faults, known, np.random.default_rng(1))


@pytest.mark.parametrize(
    "line",
    ["spikes:ng=9000", "spikes:torque=900", "backward_time=5@700", "repeated_time@300-304", "missing:torque",
     "missing:wf", "missing:power_lever", "missing:starter", "bias:mgt=15", "drift:torque=20"],
)  # fmt: skip
def test_faults_of_the_data_do_not_hide_what_was_held(
    run: RigRun, contents: RunContents, known: TypeFile, line: str
) -> None:
    found = read_run(faulty(run, known, line), run.sheet, known)
    assert items(found) == items(contents)
    for p, q in zip(found.points, contents.points, strict=True):
        assert p.from_s == pytest.approx(q.from_s, abs=6.5)


def test_swapped_speeds_do_not_hide_the_holds_but_give_no_reading(run: RigRun, known: TypeFile) -> None:
    found = read_run(faulty(run, known, "swapped:ng=np"), run.sheet, known)
    assert len(found.points) == len(run.truth.holds)
    assert any("cannot be gas generator speed" in e.text for e in found.events)
    assert all(math.isnan(r.value) for r in of(found, "time_to_idle"))


def test_a_gap_in_a_hold_is_told_apart_from_a_stop(run: RigRun, known: TypeFile) -> None:
    hold = run.truth.holds[-1]
    middle = 0.5 * (hold.from_s + hold.to_s)
    found = read_run(faulty(run, known, f"gap@{middle:.0f}-{middle + 8:.0f}"), run.sheet, known)
    assert len([s for s in found.segments if s.kind == "start"]) == 1
    assert all(not p.from_s < middle < p.to_s for p in found.points)
