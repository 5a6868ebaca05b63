"""A recorded run with full dynamics: physics in closed form, faults where they were planted, a sheet that
reads back.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, RangeError
from spoolwright.rig.bench import Ambient
from spoolwright.rig.presets import PRESETS, preset_options
from spoolwright.rig.record import RecordOptions, record_run
from spoolwright.rig.result import RigRun
from spoolwright.rig.schedule import steps, target_today
from spoolwright.rig.script import PlannedAdjustment
from spoolwright.rig.sensor_faults import sensor_fault
from spoolwright.rig.sheet import SheetOptions
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type

KEPT = (
    "start", "idle_warm_up", "p75", "take_off", "acceleration", "deceleration", "governing", "cool_down",
    "shut_down", "coast_down", )  # fmt: skip


@pytest.fixture(scope="module")
def loaded() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def short(loaded: LoadedType) -> TypeFile:
    """The type with a short schedule: one slam each way, two points, idle of a minute."""
    items = [s for s in loaded.type_file.schedule if s.id in KEPT or s.kind == "check"]
    brief = [s.model_copy(update={"repeats": 1, "at_least_s": min(s.at_least_s, 150.0)}) for s in items]
    return loaded.type_file.model_copy(update={"schedule": tuple(brief)})


OPTIONS = RecordOptions(
    seed=11,
    ambient=Ambient(
        temperature=ZERO_CELSIUS + 14.0, pressure=100500.0, relative_humidity=0.55, wind_speed=2.0
    ),
    faults={"chips": 5.0},
)


@pytest.fixture(scope="module")
def run(short: TypeFile, loaded: LoadedType) -> RigRun:
    return record_run(short, loaded.engine, OPTIONS)


def at(run: RigRun, channel: str, since: float, until: float) -> np.ndarray:
    rows = (run.recording.time >= since) & (run.recording.time <= until)
    return run.recording[channel][rows]


def hold_of(run: RigRun, item: str) -> tuple[float, float]:
    hold = next(h for h in run.truth.holds if h.item == item)
    return hold.from_s, hold.to_s


def test_time_runs_evenly_from_rest_to_rest(run: RigRun) -> None:
    time = run.recording.time
    np.testing.assert_allclose(np.diff(time), 0.1, atol=1e-9)
    for channel in ("ng", "np"):
        assert abs(at(run, channel, 0, 15).mean()) < 10.0
    assert abs(at(run, "ng", time[-1] - 8, time[-1]).mean()) < 10.0
    assert at(run, "mgt", 0, 10).mean() == pytest.approx(ZERO_CELSIUS + 14.0, abs=6.0)
    assert abs(at(run, "p3", 0, 10).mean() - at(run, "p_amb", 0, 10).mean()) < 1500.0


def test_start_has_starter_light_off_peak_and_idle(run: RigRun, loaded: LoadedType) -> None:
    time, mgt = run.recording.time, run.recording["mgt"]
    engaged = time[np.argmax(run.recording["starter"] > 0.5)]
    lit = time[np.argmax(mgt > at(run, "mgt", 0, 10).mean() + 40.0)]
    idle = time[np.argmax(run.recording["ng"] > 25860.0)]
    assert engaged < lit < idle < engaged + 34.0
    peak = mgt[(time > lit) & (time < idle + 5)].max()
    assert at(run, "mgt", idle + 60, idle + 80).mean() < peak < ZERO_CELSIUS + 905.0
    assert run.recording["ignition"][np.argmax(time > lit)] == 1.0


def test_settled_points_read_what_the_engine_truly_did(run: RigRun) -> None:
    for item in ("p75", "take_off"):
        since, until = hold_of(run, item)
        settled = next(h for h in run.truth.holds if h.item == item).settled
        day = run.truth.day
        power = at(run, "dyno_torque", until - 60, until).mean() * at(run, "np", until - 60, until).mean()
        assert power * math.pi / 30 == pytest.approx(settled["power"] / day.cell_factor("power"), rel=0.008)
        mgt = settled["mgt"] / day.cell_factor("measured_gas_temperature")
        assert at(run, "mgt", until - 60, until).mean() == pytest.approx(mgt, abs=9.0)
        assert np.ptp(at(run, "ng", since + 30, until)) < 100.0


def test_operator_sets_the_corrected_point(run: RigRun, short: TypeFile) -> None:
    step = next(s for s in steps(short, "new") if s.item == "take_off")
    _, until = hold_of(run, "take_off")
    t2 = at(run, "t2", until - 60, until).mean()
    # the approved law of the type file: speed with theta to its exponent (0.5 or near it)
    law = next(x for x in short.correction.laws if x.quantity == "gas_generator_speed")
    today = step.target * (t2 / 288.15) ** law.theta_exponent
    assert target_today(short, step, t2, 1e5) == pytest.approx(today, rel=2e-3)
    assert at(run, "ng", until - 60, until).mean() == pytest.approx(today, abs=step.tolerance)


def test_a_slam_is_quick_and_the_brake_holds_the_speed(run: RigRun) -> None:
    time, torque = run.recording.time, run.recording["torque"]
    lever = run.recording["power_lever"]
    jump = np.flatnonzero(lever[10:] - lever[:-10] > 30.0)
    begin = time[jump[jump > 0][0]]
    after = (time > begin) & (time < begin + 12.0)
    final = at(run, "torque", begin + 20, begin + 40).mean()
    reached = time[after][np.argmax(torque[after] > 0.95 * final)] - begin
    assert 1.5 < reached < 6.0
    assert np.all(np.abs(at(run, "np", begin - 5, begin + 40) / 5840.0 - 1.0) < 0.06)
    assert at(run, "mgt", begin, begin + 12).max() > at(run, "mgt", begin + 35, begin + 40).mean() + 5.0


def test_governor_holds_the_speed_through_a_load_step(run: RigRun) -> None:
    """Before and after the step the speed is the same; in between it dips as energy is taken from the
    shaft.
    """
    lever, time = run.recording["power_lever"], run.recording.time
    open_ = time[lever > 100.0]
    since, until = open_[0] + 20, open_[-1]
    speed, torque = at(run, "np", since, until), at(run, "torque", since, until)
    assert torque.max() / torque[:50].mean() == pytest.approx(0.9 / 0.4, rel=0.06)
    assert 5840.0 - speed.min() > 25.0 and speed.max() - 5840.0 > 25.0
    assert abs(speed[:50].mean() - speed[-50:].mean()) < 6.0


def test_coast_down_only_slows(run: RigRun) -> None:
    time, ng = run.recording.time, run.recording["ng"]
    cut = time[np.flatnonzero(run.recording["wf"] > 0.005)[-1]]
    after = ng[(time > cut + 0.5) & (time < cut + 30)]
    assert np.all(np.diff(after[::10]) < 5.0)
    assert after[-1] < 0.1 * 26260.0


def test_oil_warms_up_and_pressure_follows(run: RigRun) -> None:
    _, until = hold_of(run, "take_off")
    assert at(run, "t_oil", 0, 10).mean() < ZERO_CELSIUS + 22.0
    assert at(run, "t_oil", until - 30, until).mean() > ZERO_CELSIUS + 60.0
    cold, hot = at(run, "p_oil", 45, 60).mean(), at(run, "p_oil", 200, 215).mean()
    assert cold > 1.15 * hot  # thick oil at idle
    assert at(run, "p_oil", until - 30, until).mean() > hot


def test_chips_show_when_planted(run: RigRun) -> None:
    chips, time = run.recording["chip_detector"], run.recording.time
    assert np.all(chips[time < 299] == 0.0) and np.all(chips[time > 302] == 1.0)


def test_an_adjustment_is_written_down_and_seen(short: TypeFile, loaded: LoadedType) -> None:
    planned = PlannedAdjustment("p75", "vane_rigging", "reset", {"vane_offset": 0.0})
    options = replace(OPTIONS, faults={"vane_rigging": 4.0}, adjustments=[planned])
    brief = short.model_copy(update={"schedule": tuple(s for s in short.schedule if s.id in KEPT[:3])})
    run = record_run(brief, loaded.engine, options)
    (written,) = run.sheet.adjustment
    first, again = [h for h in run.truth.holds if h.item == "p75"]
    assert first.to_s < written.at_s < again.from_s
    angle = [at(run, "vane_angle", h.to_s - 40, h.to_s).mean() for h in (first, again)]
    built = run.truth.day.engine.factors.vane_offset
    assert built == 0.0
    assert angle[0] - angle[1] == pytest.approx(4.0, abs=1.0)  # 4 degrees and the build's own scatter
    assert again.settled["power"] > 1.02 * first.settled["power"]  # more flow at the same speed


def test_the_same_seed_is_the_same_recording(short: TypeFile, loaded: LoadedType) -> None:
    brief = short.model_copy(update={"schedule": tuple(s for s in short.schedule if s.id in KEPT[:3])})
    one, same = (record_run(brief, loaded.engine, OPTIONS) for _ in range(2))
    assert one.recording.source_sha256 == same.recording.source_sha256
    assert one.sheet == same.sheet
    faulty = replace(OPTIONS, sensor_faults=[sensor_fault("bias:mgt=9", brief)])
    other = record_run(brief, loaded.engine, faulty)
    np.testing.assert_allclose(other.recording["mgt"] - one.recording["mgt"], 9.0)
    assert np.array_equal(other.recording["ng"], one.recording["ng"])


def test_what_cannot_be_recorded_is_refused(short: TypeFile, loaded: LoadedType) -> None:
    with pytest.raises(RangeError, match="rate"):
        record_run(short, loaded.engine, replace(OPTIONS, rate=1e4))
    with pytest.raises(InputError, match="gremlins"):
        record_run(short, loaded.engine, replace(OPTIONS, faults={"gremlins": 1.0}))
    with pytest.raises(InputError, match="penalty_run"):
        record_run(short, loaded.engine, replace(OPTIONS, sheet=SheetOptions(limit_set="nothing")))
    with pytest.raises(InputError, match="healthy"):
        preset_options("nothing", short)


@pytest.mark.parametrize("name", PRESETS)
def test_presets_fit_the_shipped_type(loaded: LoadedType, name: str) -> None:
    options = preset_options(name, loaded.type_file, rate=5.0)
    assert options.rate == 5.0
    assert steps(loaded.type_file, options.sheet.limit_set)
    named = {f.channel for f in options.sensor_faults}
    assert named <= {c.id for c in loaded.type_file.channel}


def test_out_of_date_preset_runs_after_a_due_date(loaded: LoadedType) -> None:
    day = preset_options("out-of-date", loaded.type_file).on
    due = [i.due_on for i in loaded.type_file.cell[0].instruments]
    assert day is not None and min(due) < day
