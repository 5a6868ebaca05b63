"""Quick runs: recorded holds against the truth they come from, with the type file's uncertainty."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import DEMONSTRATION, RigRun
from spoolwright.rig.sensor_faults import sensor_fault
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import unit_of

RUNS = 96


@pytest.fixture(scope="module")
def loaded() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def runs(loaded: LoadedType) -> list[RigRun]:
    return list(quick_runs(loaded.type_file, loaded.engine, RUNS, seed=500))


def settled_mean(run: RigRun, channel: str, item: str) -> tuple[float, float]:
    """Mean of a channel over the last minute of a hold, and the hold's true settled values by name."""
    hold = next(h for h in run.truth.holds if h.item == item)
    rows = (run.recording.time >= hold.to_s - 60) & (run.recording.time <= hold.to_s)
    return float(run.recording[channel][rows].mean()), hold


def test_the_same_seed_gives_the_same_files(loaded: LoadedType, runs: list[RigRun]) -> None:
    again = list(quick_runs(loaded.type_file, loaded.engine, 3, seed=500))
    same = list(quick_runs(loaded.type_file, loaded.engine, 3, seed=500))
    assert [r.recording.source_sha256 for r in again] == [r.recording.source_sha256 for r in same]
    for one, other in zip(again, runs, strict=False):
        for channel in one.recording.series:
            np.testing.assert_allclose(one.recording[channel], other.recording[channel], rtol=1e-9)
        assert one.sheet == other.sheet


@pytest.mark.parametrize(
    ("channel", "quantity", "factor"),
    [
        ("mgt", "mgt", "measured_gas_temperature"),
        ("ng", "ng", "gas_generator_speed"),
        ("wf", "fuel_flow", "fuel_flow"),
        ("t2", "t2", ""),
        ("p2", "p2", ""),
        ("t3", "t3", ""),
        ("p3", "p3", ""),
    ],
)
def test_readings_err_as_the_type_file_states(
    loaded: LoadedType, runs: list[RigRun], channel: str, quantity: str, factor: str
) -> None:
    """(reading - truth) / stated uncertainty has mean 0 and deviation 1 over runs (four sigma)."""
    spec = next(c for c in loaded.type_file.channel if c.id == channel)
    unit = unit_of(spec.unit, spec.dimension)
    scores = []
    for run in runs:
        mean, hold = settled_mean(run, channel, "take_off")
        true = hold.settled[quantity] / (run.truth.day.cell_factor(factor) if factor else 1.0)
        shown = (true - unit.offset) / unit.factor
        squares = sum(p.absolute**2 + (p.relative * shown) ** 2 for p in spec.uncertainty)
        # what is left of settling, weather within the hold and scatter of the mean adds a little
        scores.append(
            (mean - true) / math.sqrt((math.sqrt(squares) * unit.factor) ** 2 + _rest(channel) ** 2)
        )
    assert abs(np.mean(scores)) < 4 / math.sqrt(RUNS)
    assert np.std(scores) == pytest.approx(1.0, abs=4 / math.sqrt(2 * RUNS))


def _rest(channel: str) -> float:
    """Scatter of a minute's mean about the settled middle of the hold: drifting weather at held power."""
    return {"mgt": 0.25, "ng": 4.0, "wf": 3e-5, "t2": 0.05, "p2": 6.0, "t3": 0.15, "p3": 250.0}[channel]


def test_power_is_torque_times_speed(runs: list[RigRun]) -> None:
    for run in runs[:10]:
        torque, hold = settled_mean(run, "dyno_torque", "take_off")
        speed, _ = settled_mean(run, "np", "take_off")
        true = hold.settled["power"] / run.truth.day.cell_factor("power")
        assert torque * speed * math.pi / 30.0 == pytest.approx(true, rel=0.006)


def test_torquemeter_and_dynamometer_differ_by_the_conformation(runs: list[RigRun]) -> None:
    ratios = [
        settled_mean(r, "dyno_torque", "take_off")[0] / settled_mean(r, "torque", "take_off")[0] for r in runs
    ]
    plates = [r.sheet.engine.torque_conformation for r in runs]
    assert np.corrcoef(ratios, plates)[0, 1] > 0.8


def test_more_power_needs_more_of_everything(runs: list[RigRun]) -> None:
    order = ("p60", "p75", "max_continuous", "take_off", "oei")
    for run in runs[:12]:
        for channel in ("ng", "mgt", "wf", "p3", "t3", "torque", "p45"):
            levels = [settled_mean(run, channel, item)[0] for item in order]
            assert all(a < b for a, b in itertools.pairwise(levels)), channel


def test_heat_released_covers_the_power(runs: list[RigRun]) -> None:
    """First law: shaft power is a plausible share of the fuel's heating value for this class (18 to 32 %)."""
    for run in runs[:12]:
        hold = next(h for h in run.truth.holds if h.item == "take_off")
        heat = hold.settled["fuel_flow"] * run.truth.day.fuel.lower_heating_value
        assert 0.18 < hold.settled["power"] / heat < 0.32


def test_temperature_settles_towards_the_end_of_a_hold(runs: list[RigRun]) -> None:
    """Climbing, cold metal costs temperature at first: fuel flow falls while it warms at the same power."""
    fall = []
    for run in runs:
        hold = next(h for h in run.truth.holds if h.item == "p75")
        since = run.recording.time - hold.from_s
        early = run.recording["wf"][(since > 4) & (since < 14)].mean()
        late = run.recording["wf"][(since > 100) & (since < 140)].mean()
        fall.append(early / late - 1.0)
    assert 0.001 < np.mean(fall) < 0.05


def test_operator_sets_the_corrected_speed_within_tolerance(loaded: LoadedType, runs: list[RigRun]) -> None:
    item = next(s for s in loaded.type_file.schedule if s.id == "take_off")
    law = next(x for x in loaded.type_file.correction.laws if x.quantity == "gas_generator_speed")
    off = []
    for run in runs:
        ng, hold = settled_mean(run, "ng", "take_off")
        theta = hold.settled["t2"] / 288.15
        off.append(ng / theta**law.theta_exponent - item.target)
    assert np.mean(np.abs(np.array(off)) < item.tolerance) > 0.97
    assert np.std(off) > 5.0


def test_sheet_and_recording_are_marked_and_whole(loaded: LoadedType, runs: list[RigRun]) -> None:
    run = runs[0]
    assert run.recording.attributes["note"] == DEMONSTRATION
    assert run.sheet.engine.serial == run.truth.day.engine.serial
    assert {c.item for c in run.sheet.check} == {
        s.id for s in loaded.type_file.schedule if s.kind == "check" and run.sheet.limit_set in s.sets
    }
    assert run.recording.rows == run.recording.time.size
    assert {c.id for c in loaded.type_file.channel if c.required} <= set(run.recording.series)


def test_faults_are_planted_run_by_run(loaded: LoadedType) -> None:
    swapped = sensor_fault("swapped:ng=np", loaded.type_file)
    options = QuickOptions(
        faults=lambda i: {"turbine_tip_clearance": 3.0} if i == 1 else {},
        sensor_faults=lambda i: [swapped] if i == 2 else [],
    )
    runs = list(quick_runs(loaded.type_file, loaded.engine, 3, seed=40, options=options))
    healthy = list(quick_runs(loaded.type_file, loaded.engine, 3, seed=40))
    assert runs[1].truth.to_json()["module_faults"] == {"turbine_tip_clearance": 3.0}
    power = [r[1].truth.standard_day["take_off"]["power_at_rated_mgt"] for r in (runs, healthy)]
    assert power[0] < 0.95 * power[1]
    assert runs[2].recording["ng"].max() < 7000 < runs[2].recording["np"].max()
    assert runs[2].truth.to_json()["sensor_faults"] == ["swapped:ng=np"]


def test_one_engine_on_many_days(loaded: LoadedType) -> None:
    runs = list(
        quick_runs(loaded.type_file, loaded.engine, 4, seed=9, options=QuickOptions(runs_per_engine=2))
    )
    assert [r.truth.day.engine.serial for r in runs] == ["D00009", "D00009", "D00010", "D00010"]
    for rating, values in runs[0].truth.standard_day.items():
        assert values == pytest.approx(runs[1].truth.standard_day[rating], rel=1e-9)
    assert runs[0].truth.day.weather != runs[1].truth.day.weather
