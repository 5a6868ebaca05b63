"""Diagnoses of rig engines whose faults are known, and what is said of runs that carry no diagnosis.

The truth is the rig's own: planted faults, and the performance of its true engine at the ratings on a
standard day, with the fault and without it. The rig's engines differ from the model in the shape of their
maps, in build and day.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from diagnosed_corrie import baseline, changed, corrie, kind, prepared, rig_runs, visit_run, without

from spoolwright.crafts.testcell.diagnosis.baseline import baseline_of, data_sheet_baseline
from spoolwright.crafts.testcell.diagnosis.calibrate import calibrate, lessons_of
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.crafts.testcell.diagnosis.prepared import Prepared, Tables
from spoolwright.crafts.testcell.diagnosis.service import _why_not, diagnose, diagnosed
from spoolwright.crafts.testcell.diagnosis.visit_read import visit_read
from spoolwright.crafts.testcell.doubt.find import find
from spoolwright.crafts.testcell.service import no_doubts
from spoolwright.errors import InputError
from spoolwright.sources.check_table import read_check_table, shipped_check_table
from spoolwright.units import to_inner, unit_of

PLANTED = {
    "bleed_leak": (3.0, {"bleed_leak"}),
    "compressor_fouling": (4.0, {"compressor_fouling", "compressor_erosion"}),
    "power_turbine_efficiency": (3.0, {"power_turbine_efficiency", "exhaust_back_pressure"}),
    "combustor_efficiency": (3.0, {"combustor_efficiency"}),
    "turbine_tip_clearance": (3.0, {"turbine_clearance"}),
}
"""Rig faults with their size, and the causes of the diagnosis that may stand for them: a group where the
gas path shows the same (exhaust pressure and power turbine efficiency are collinear; fouling and erosion
differ in their ratio alone)."""


@pytest.fixture(scope="module")
def found() -> dict[str, Diagnosis]:
    out = {}
    for i, (fault, (size, _)) in enumerate(PLANTED.items()):
        (run,) = rig_runs(1, 71_000 + i, {fault: size})
        out[fault] = diagnosed([visit_run(run)], prepared())
    return out


@pytest.mark.parametrize("fault", PLANTED)
def test_large_planted_faults_are_found(found: dict[str, Diagnosis], fault: str) -> None:
    size, causes = PLANTED[fault]
    d = found[fault]
    assert d.outcome in ("cause_found", "group_found"), d.sentence
    named = {d.suspects[0].id} if d.outcome == "cause_found" else set(d.groups[0].causes)
    assert named & causes, d.sentence
    assert d.healthy < 0.03
    own = next(s for s in d.suspects if s.id in causes)
    if own.id in (fault, "turbine_clearance"):  # a size in the planted fault's own unit
        assert own.magnitude.low - 0.5 * size < size < own.magnitude.high + 0.5 * size


def test_margins_are_those_of_the_true_engine_with_the_fault_and_without() -> None:
    """Against the rig's truth on a standard day, in stated standard uncertainties."""
    limits = {x.id: x for x in corrie().type_file.limit}
    misses = []
    for fault in ("bleed_leak", "power_turbine_efficiency"):
        (run,), (sound,) = rig_runs(1, 72_000, {fault: 3.0}), rig_runs(1, 72_000)
        d = diagnosed([visit_run(run)], prepared())
        assert d.suspects[0].margins
        for m in d.suspects[0].margins:
            x = limits[m.limit]
            assert x.value is not None
            sign = 1.0 if x.bound == "min" else -1.0
            for figure, truth in ((m.now, run.truth), (m.after, sound.truth)):
                true = sign * (truth.standard_day[m.rating][m.quantity] - to_inner(x.value, x.unit))
                assert figure.standard_uncertainty
                misses.append((figure.value - true) / figure.standard_uncertainty)
                assert figure.how in d.derivations
    assert np.max(np.abs(misses)) < 4.0
    assert np.sqrt(np.mean(np.square(misses))) < 2.0


def test_putting_a_loss_right_gains_power(found: dict[str, Diagnosis]) -> None:
    for fault in ("bleed_leak", "compressor_fouling", "power_turbine_efficiency", "turbine_tip_clearance"):
        d = found[fault]
        gains = [
            m.after.value - m.now.value for m in d.suspects[0].margins if m.quantity == "power_at_rated_mgt"
        ]
        assert gains and min(gains) > 0.0


def test_sound_engines_raise_no_alarm() -> None:
    for run in rig_runs(6, 73_000):
        d = diagnosed([visit_run(run)], prepared())
        assert d.outcome in ("nothing_found", "unclear"), d.sentence
        assert d.healthy > 0.03


def test_a_wrong_reading_is_named_and_its_margins_follow() -> None:
    """A gas temperature that reads 25 K too much: nothing is lost in truth."""
    (run,) = rig_runs(1, 74_000)
    d = diagnosed([changed(visit_run(run), "mgt", lambda v: v + 25.0)], prepared())
    top = d.suspects[0]
    assert (d.outcome, top.id) == ("cause_found", "reading:mgt"), d.sentence
    (gain,) = (
        m.after.value - m.now.value
        for m in top.margins
        if (m.rating, m.quantity) == ("take_off", "mgt_at_rated_power")
    )
    assert gain == pytest.approx(25.0, abs=8.0)
    size = top.magnitude
    assert size.step is not None and size.step_unit == "K"
    assert size.low * size.step < 25.0 < size.high * size.step
    assert " K (" in d.sentence and "standard uncertainties" in d.sentence
    step = f"check {top.module_name} against a standard"
    assert d.proposal == f"Proposed: the instrument before anything else; {step}. Accepted by: ____"


@pytest.mark.parametrize(
    ("channel", "off", "unit"),
    [("p3", 25.0, "kPa"), ("torque", -60.0, "N·m"), ("wf", 15.0, "kg/h"), ("t5", 25.0, "K")],
)
def test_a_wrong_reading_is_told_in_the_channels_unit(channel: str, off: float, unit: str) -> None:
    """By how much it is off was planted, in the type file's unit."""
    known = next(c for c in corrie().type_file.channel if c.id == channel)
    inner = off * unit_of(known.unit, known.dimension).factor
    (run,) = rig_runs(1, 74_500)
    d = diagnosed([changed(visit_run(run), channel, lambda v: v + inner)], prepared())
    assert d.suspects[0].id == f"reading:{channel}", d.sentence
    size = d.suspects[0].magnitude
    assert size.step is not None and size.step_unit == unit
    assert abs(size.mean * size.step - off) < 1.5 * (size.high - size.low) * size.step


def test_a_check_of_the_table_is_proposed_for_an_instrument() -> None:
    """Its own row is named, whatever look comes first by information per hour."""
    (run,) = rig_runs(1, 74_000)
    channels = [c.id for c in corrie().type_file.channel]
    causes = [*(c.id for c in prepared().weigher.modules), *(f"reading:{c}" for c in channels)]
    table = read_check_table(shipped_check_table(), causes, channels)
    by = Prepared(kind(), baseline(), Tables(checks=table))
    d = diagnosed([changed(visit_run(run), "mgt", lambda v: v + 25.0)], by)
    own = next(c for c in d.checks if c.id.endswith(":mgt"))
    step = f"{own.text[0].lower()}{own.text[1:]}"
    assert d.proposal == f"Proposed: the instrument before anything else; {step}. Accepted by: ____"


def test_runs_of_a_visit_count_together_and_make_surer() -> None:
    runs = rig_runs(2, 75_000, {"bleed_leak": 1.5}, runs_per_engine=2)
    numbered = [
        replace(visit_run(r), sheet=r.sheet.model_copy(update={"run": str(i + 1)}))
        for i, r in enumerate(runs)
    ]
    both, one = diagnosed(numbered, prepared()), diagnosed(numbered[:1], prepared())
    assert [r.run for r in both.runs] == ["1", "2"]
    size = {
        k: next(s for s in d.suspects if s.id == "bleed_leak").magnitude
        for k, d in (("both", both), ("one", one))
    }
    assert size["both"].high - size["both"].low < size["one"].high - size["one"].low


def test_a_reading_that_one_run_of_a_visit_lacks_still_counts_in_the_other() -> None:
    runs = rig_runs(2, 75_000, {"bleed_leak": 2.5}, runs_per_engine=2)
    first, second = (
        replace(visit_run(r), sheet=r.sheet.model_copy(update={"run": str(i + 1)}))
        for i, r in enumerate(runs)
    )
    d = diagnosed([first, without(second, "p45", "vane_angle")], prepared())
    by_run = {o: {r.point[0] for r in d.residuals if r.output == o} for o in ("p3", "p45", "vane_angle")}
    assert by_run == {"p3": {"1", "2"}, "p45": {"1"}, "vane_angle": {"1"}}
    assert {s.id for s in d.suspects if s.probability > 0.1} & {"bleed_leak"}, d.sentence


def test_an_earlier_visit_is_used_and_told() -> None:
    before, _ = rig_runs(2, 76_000, runs_per_engine=2)
    (faulty,) = (
        r for i, r in enumerate(rig_runs(2, 76_000, {"turbine_tip_clearance": 2.0}, runs_per_engine=2)) if i
    )
    first = replace(visit_run(before), sheet=_visit(before.sheet, "V-1", 0))
    then = replace(visit_run(faulty), sheet=_visit(faulty.sheet, "V-2", 1))
    d = diagnosed([then], prepared(), earlier=[first])
    assert d.earlier == (f"visit V-1, run {before.sheet.run}: {_points(d)} points",)
    alone = diagnosed([then], prepared())
    by_sheet = diagnosed([first, then], prepared())
    assert by_sheet == d
    sizes = [next(s.magnitude for s in x.suspects if s.id == "turbine_clearance") for x in (d, alone)]
    assert sizes[0].high - sizes[0].low < sizes[1].high - sizes[1].low


def _visit(sheet, name: str, days: int):  # type: ignore[no-untyped-def]
    from datetime import timedelta

    engine = sheet.engine.model_copy(update={"visit": name})
    return sheet.model_copy(
        update={"engine": engine, "performed_on": sheet.performed_on + timedelta(days=days)}
    )


def _points(d: Diagnosis) -> int:
    return len({r.point for r in d.residuals})


# nonsense, each in one sentence


def test_runs_of_two_engines_are_refused() -> None:
    one, two = (visit_run(r) for r in rig_runs(2, 77_000))
    with pytest.raises(
        InputError, match=r"the runs are of different engines: .*\. Give the runs of one engine\."
    ):
        diagnosed([one, two], prepared())
    with pytest.raises(InputError, match="different engines"):
        diagnosed([one], prepared(), earlier=[two])


@pytest.mark.parametrize(
    ("key", "said", "sentence"),
    [
        (
            "engine_serial",
            "D99999",
            r"is of engine 'D99999', its run sheet of 'D\d+'\. Give the",
        ),
        ("engine_type", "Other 700", r"engine of type 'Other 700', the type file of 'Corrie 940'\. Give the"),
    ],
)
def test_a_recording_of_another_engine_is_refused(key: str, said: str, sentence: str) -> None:
    (run,) = rig_runs(1, 77_050)
    of = visit_run(run)
    recording = replace(of.recording, attributes={**of.recording.attributes, key: said})
    with pytest.raises(InputError, match=sentence):
        diagnosed([replace(of, recording=recording)], prepared())


def test_a_run_without_a_steady_point_cannot_tell() -> None:
    (run,) = rig_runs(1, 77_100)
    r = run.recording
    short = {k: replace(s, values=s.values[:50]) for k, s in r.series.items()}
    d = diagnosed([replace(visit_run(run), recording=replace(r, time=r.time[:50], series=short))], prepared())
    assert d.outcome == "cannot_tell"
    assert d.sentence == f"Nothing can be told: run {run.sheet.run} holds no steady point."


def test_a_kind_of_sensor_that_is_missing_is_told() -> None:
    (run,) = rig_runs(1, 77_200)
    d = diagnosed([without(visit_run(run), "p3", "p45")], prepared())
    assert "No gas pressure (p3 and p45) can be used, so what shows there alone is not seen." in d.sentence
    assert d.outcome in ("nothing_found", "unclear")


def test_one_kind_of_sensor_alone_carries_no_diagnosis() -> None:
    (run,) = rig_runs(1, 77_250)
    read = visit_read([visit_run(run)], kind().basis, no_doubts)
    (whole,) = read.observations
    hot = {k: v for k, v in whole.observed.items() if k in ("measured_gas_temperature", "T3", "T5")}
    told = _why_not(replace(read, observations=(replace(whole, observed=hot),)), prepared())
    assert told.startswith(
        "Nothing can be told: one kind of reading alone carries no diagnosis. No gas pressure (p3"
    )
    assert _why_not(read, prepared()) == ""


def test_speed_that_was_not_recorded_cannot_tell() -> None:
    (run,) = rig_runs(1, 77_300)
    d = diagnosed([without(visit_run(run), "ng")], prepared())
    assert d.outcome == "cannot_tell" and d.sentence.startswith("Nothing can be told: ")


def test_a_baseline_of_another_type_is_refused() -> None:
    other = replace(baseline(), calibrated=replace(baseline().calibrated, type_id="other_700"))
    (run,) = rig_runs(1, 77_400)
    with pytest.raises(InputError, match="calibrated for type 'other_700', the type file is of 'corrie_940'"):
        diagnose([visit_run(run)], kind(), other)


def test_a_channel_in_a_wrong_unit_is_left_out_and_told() -> None:
    """Pressure that was written in psi under the label of the type file's unit."""
    (run,) = rig_runs(1, 77_500)
    doubts = lambda r, s, t: find(r, s, t, kind().basis.model)  # noqa: E731
    d = diagnosed([changed(visit_run(run), "p3", lambda v: v / 6.894757293168)], prepared(), doubts)
    (told,) = [t for t in d.left_out if "'p3'" in t]
    assert any(f.kind in ("wrong_unit", "unlabelled_unit") and "p3" in f.channels for f in d.findings), told
    assert "p3" not in {r.output for r in d.residuals}
    assert d.outcome in ("nothing_found", "unclear"), d.sentence


# calibration


def test_without_history_the_data_sheet_stands_and_says_so() -> None:
    empty = calibrate([], kind())
    assert (empty.calibrated.runs, empty.calibrated.engines) == (0, 0)
    assert empty.words.startswith("the data sheet alone")
    (run,) = rig_runs(1, 78_000)
    d = diagnose([visit_run(run)], kind(), data_sheet_baseline(kind().type_file))
    assert d.baseline.startswith("the data sheet alone") and d.outcome in ("nothing_found", "unclear")


def test_a_calibration_survives_its_file_and_finds_the_same() -> None:
    import json

    again = baseline_of(json.loads(json.dumps(baseline().to_dict())))
    (run,) = rig_runs(1, 78_100, {"bleed_leak": 3.0})
    first = diagnosed([visit_run(run)], prepared())
    second = diagnosed([visit_run(run)], Prepared(kind(), again))
    assert first.model_dump() == second.model_dump()


def test_few_engines_are_told_and_a_recording_named_twice_counts_once() -> None:
    runs = [visit_run(r) for r in rig_runs(3, 61_000)]
    lessons = lessons_of([*runs, runs[0]], kind())
    assert [x.teaches for x in lessons] == [True, True, True, False]
    assert "the same recording as" in lessons[3].why_not


def test_an_engine_that_missed_its_limits_teaches_nothing() -> None:
    (run,) = rig_runs(1, 78_200, {"power_turbine_efficiency": 8.0})
    (told,) = lessons_of([visit_run(run)], kind())
    assert told.why_not.startswith("the engine was not accepted on it: Power at rated MGT")


def test_build_scatter_and_errors_of_the_model_are_told() -> None:
    """Build scatter against what the rig draws its engines from (rig.module_faults.SCATTER)."""
    from spoolwright.rig.module_faults import SCATTER

    c = baseline().calibrated
    for name in ("compressor_flow", "gas_generator_turbine_efficiency", "power_turbine_efficiency"):
        assert SCATTER[name] / 2.5 < c.build[name] < 2.5 * SCATTER[name]
    assert {e.output for e in c.errors} >= {"power", "measured_gas_temperature", "p3"}
    assert all(0.5 < e.scatter / e.stated < 2.0 for e in c.errors if e.points > 20)


# the shop's prior


def test_a_prior_weighs_causes_that_look_alike(found: dict[str, Diagnosis]) -> None:
    (run,) = rig_runs(1, 71_001, {"compressor_fouling": 4.0})
    fouled = Prepared(
        kind(), baseline(), Tables(weights={"compressor_fouling": 20.0}, priors_file="log.toml")
    )
    d = diagnosed([visit_run(run)], fouled)

    def odds(x: Diagnosis) -> float:
        p = {s.id: s.alone for s in x.suspects}
        return p["compressor_fouling"] / p["compressor_erosion"]

    assert odds(d) == pytest.approx(20.0 * odds(found["compressor_fouling"]), rel=1e-6)
    assert "log.toml" in d.priors and "compressor_fouling ×20" in d.priors
    with pytest.raises(InputError, match="cause 'nonsense' is not known"):
        Prepared(kind(), baseline(), Tables(weights={"nonsense": 2.0}))
