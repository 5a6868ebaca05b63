"""Findings on rig runs of fixed seeds: the rig knows what was planted, the doubts see the data only."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from doubtful_runs import RUNS, doubts, known, model, runs, spoilt, with_rest

from spoolwright.core.measurement.recording import SourceNote
from spoolwright.crafts.testcell.doubt.find import find
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.run.run_data import run_data
from spoolwright.crafts.testcell.run_sheet import RunSheet, SignedCorrection

SIGNED_AT = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)


def barring(found: tuple[Finding, ...]) -> list[Finding]:
    """Findings that keep a reading from use."""
    return [f for f in found if f.bars_use and not f.corrected_by]


@pytest.mark.parametrize("k", range(RUNS))
def test_a_sound_recording_raises_no_doubt_worn_engine_or_not(k: int) -> None:
    run = runs()[k]
    assert barring(doubts(run.recording, run.sheet)) == []


PLANTED = [
    ("unit:torque=lbf ft", "wrong_unit", {"torque"}),
    ("unit:mgt=degF", "wrong_unit", {"mgt"}),
    ("unit:mgt=K", "wrong_unit", {"mgt"}),
    ("unit:t2=degF", "wrong_unit", {"t2"}),
    ("unit:t_fuel=degF", "wrong_unit", {"t_fuel"}),
    ("unit:p_amb=altitude_m", "wrong_unit", {"p_amb"}),
    ("unit:p_amb=altitude_ft", "wrong_unit", {"p_amb"}),
    ("unit:p_amb=inHg", "wrong_unit", {"p_amb"}),
    ("unit:p3=psia", "wrong_unit", {"p3"}),
    ("unit:ng=percent", "wrong_unit", {"ng"}),
    ("unit:wf=lb/h", "wrong_unit", {"wf"}),
    ("unit:rh=1", "wrong_unit", {"rh"}),
    ("unit:t_oil=K", "wrong_unit", {"t_oil"}),
    ("unit:p_oil=psig", "wrong_unit", {"p_oil"}),
    ("unit:vib_turbine=in/s", "wrong_unit", {"vib_turbine"}),
    ("swapped:ng=np", "swapped", {"ng", "np"}),
    ("swapped:t2=t3", "swapped", {"t2", "t3"}),
    ("swapped:t3=mgt", "swapped", {"t3", "mgt"}),
    ("swapped:p3=p45", "swapped", {"p3", "p45"}),
    ("bias:mgt=40", "bias", {"mgt"}),
    ("bias:wf=-12", "bias", {"wf"}),
    ("bias:torque=60", "bias", {"torque"}),
    ("bias:p2=2", "bias", {"p2"}),
    ("bias:mgt_3=80", "bias", {"mgt_3"}),
    ("drift:mgt=80", "drift", {"mgt"}),
    ("drift:dyno_torque=-150", "drift", {"dyno_torque"}),
    ("stuck:t3@600-900", "stuck", {"t3"}),
    ("stuck:vib_turbine@800", "stuck", {"vib_turbine"}),
    ("spikes:wf=20", "spikes", {"wf"}),
    ("saturated:torque=1400", "saturated", {"torque"}),
    ("gap:mgt@500-700", "gap", {"mgt"}),
    ("gap@600-640", "gap", set()),
    ("repeated_time@300-330", "time_order", set()),
    ("backward_time=5@900", "time_order", set()),
    ("missing:rh", "missing", {"rh"}),
    ("missing:wf", "missing", {"wf"}),
    ("label:t3=T_3_new", "missing", {"t3"}),
]


@pytest.mark.parametrize(("line", "kind", "channels"), PLANTED, ids=[p[0] for p in PLANTED])
def test_a_planted_fault_is_named_alone(line: str, kind: str, channels: set[str]) -> None:
    run = runs()[PLANTED.index((line, kind, channels)) % RUNS]
    found = barring(doubts(spoilt(run, line), run.sheet))
    assert [(f.kind, set(f.channels)) for f in found] == [(kind, channels)]
    assert found[0].mend and found[0].text
    if kind in ("wrong_unit", "swapped", "bias", "drift"):
        assert found[0].probability is not None and found[0].probability > 0.5


def test_where_a_fault_begins_and_ends_is_told() -> None:
    run = runs()[0]
    (stuck,) = barring(doubts(spoilt(run, "stuck:t3@600-900"), run.sheet))
    assert (stuck.from_s, stuck.to_s) == (600.0, 900.0)
    (gap,) = barring(doubts(spoilt(run, "gap:mgt@500-700"), run.sheet))
    assert (gap.from_s, gap.to_s) == (500.0, 700.0)


def test_a_column_under_an_unknown_name_is_pointed_at() -> None:
    run = runs()[0]
    (missing,) = barring(doubts(spoilt(run, "label:t3=T_3_new"), run.sheet))
    assert "T_3_new" in missing.text


def test_the_size_of_an_offset_is_told() -> None:
    run = runs()[2]
    (bias,) = barring(doubts(spoilt(run, "bias:mgt=40"), run.sheet))
    told = float(bias.text.split("reads ")[1].split(" °C")[0])
    assert told == pytest.approx(40.0, abs=8.0)  # MGT itself is uncertain by some kelvin


def test_two_wrong_channels_are_both_named() -> None:
    run = runs()[4]
    found = barring(doubts(spoilt(run, "unit:torque=lbf ft", "unit:t2=degF"), run.sheet))
    assert {(f.kind, f.channels) for f in found} == {("wrong_unit", ("torque",)), ("wrong_unit", ("t2",))}


@pytest.mark.parametrize("k", range(RUNS))
def test_a_unit_wrong_in_both_torques_accuses_neither_speed_nor_engine(k: int) -> None:
    """They agree with each other, so that another channel would have to be far off to explain both."""
    run = runs()[k]
    found = barring(doubts(spoilt(run, "unit:torque=lbf ft", "unit:dyno_torque=lbf ft"), run.sheet))
    assert [(f.kind, set(f.channels)) for f in found] == [("wrong_unit", {"torque", "dyno_torque"})]
    assert "lbf ft" in found[0].text


def test_torques_that_disagree_by_little_are_not_told_apart() -> None:
    """13 N m at 1450 N m: beyond the instruments, within what the engine's condition leaves open."""
    run = runs()[0]
    found = barring(doubts(spoilt(run, "bias:torque=18"), run.sheet))
    for f in found:
        assert set(f.channels) <= {"torque", "dyno_torque"}
        assert "Cheapest check" in f.mend


# a signed correction


def correction(**given: object) -> SignedCorrection:
    """A correction signed by an invented person."""
    told = {"reason": "checked on the bench", "signed_by": "J. Farrow (invented)", "signed_at": SIGNED_AT}
    return SignedCorrection(**(told | given))


def signed(sheet: RunSheet, **given: object) -> RunSheet:
    """The sheet with one signed correction."""
    return sheet.model_copy(update={"correction": (correction(**given),)})


def test_a_correction_that_removes_the_contradiction_is_named_on_the_finding() -> None:
    run = runs()[0]
    recording = spoilt(run, "unit:torque=lbf ft")
    found = doubts(recording, signed(run.sheet, channel="torque", kind="unit_is", unit="lbf ft"))
    (finding,) = [f for f in found if f.kind == "wrong_unit"]
    assert finding.corrected_by == "J. Farrow (invented)" and finding.bars_use
    assert barring(found) == []


def test_a_swap_signed_away() -> None:
    run = runs()[0]
    found = doubts(
        spoilt(run, "swapped:ng=np"), signed(run.sheet, channel="ng", kind="swap_with", other="np")
    )
    assert [f.corrected_by for f in found if f.kind == "swapped"] == ["J. Farrow (invented)"]
    assert barring(found) == []


def test_a_correction_that_contradicts_physics_is_told_and_bars() -> None:
    run = runs()[0]
    found = doubts(run.recording, signed(run.sheet, channel="torque", kind="multiply", amount=1.2))
    (finding,) = barring(found)
    assert finding.channels == ("torque",)
    assert "J. Farrow (invented)" in finding.text and "correction" in finding.mend


def test_a_wrong_correction_leaves_the_old_doubt_open() -> None:
    run = runs()[0]
    recording = spoilt(run, "unit:torque=lbf ft")
    found = doubts(recording, signed(run.sheet, channel="torque", kind="multiply", amount=1.2))
    assert [f.corrected_by for f in found if f.kind == "wrong_unit"] == [""]
    assert barring(found)


def test_a_stretch_left_out_settles_a_stuck_channel_without_a_new_doubt() -> None:
    run = runs()[0]
    recording = spoilt(run, "stuck:t3@600-900")
    sheet = signed(run.sheet, channel="t3", kind="leave_out", from_s=600.0, to_s=900.0)
    found = doubts(recording, sheet)
    assert [(f.kind, bool(f.corrected_by)) for f in found] == [("stuck", True)]


def test_a_doubt_about_the_clock_bars_every_channel_in_its_time() -> None:
    run = runs()[0]
    recording = spoilt(run, "repeated_time@300-330")
    data = run_data(known(), run.sheet, recording, findings=doubts(recording, run.sheet))
    assert data.doubts(["mgt"], 280.0, 340.0) and data.doubts(["rh"], 310.0, 320.0)
    assert data.doubts(["mgt"], 400.0, 460.0) == ()


# units that the file left open


def unlabelled(channel: str, kind: str = "unit_assumed") -> tuple[Finding, ...]:
    """Findings where the file gave no unit for a channel."""
    run = runs()[0]
    series = dict(run.recording.series)
    series[channel] = replace(series[channel], entered_unit="", unit_source="type file")
    note = SourceNote(kind, channel, None, f"column '{channel}' gives no unit")
    return doubts(replace(run.recording, series=series, notes=(note,)), run.sheet)


def test_an_assumed_unit_that_physics_confirms_is_told_and_bars_nothing() -> None:
    (finding,) = unlabelled("torque")
    assert finding.kind == "unlabelled_unit" and not finding.bars_use and "agree" in finding.text


def test_an_assumed_unit_that_nothing_confirms_bars_a_required_channel() -> None:
    (finding,) = unlabelled("vib_turbine")
    assert finding.kind == "unlabelled_unit" and finding.bars_use


def test_what_the_reader_noticed_is_passed_on() -> None:
    run = runs()[0]
    note = SourceNote("unread_cells", "mgt", (10, 12), "3 cells of 'mgt' hold no number")
    (finding,) = doubts(replace(run.recording, notes=(note,)), run.sheet)
    assert (finding.kind, finding.text, finding.from_s, finding.to_s) == (
        "unread_cells",
        note.text,
        10.0,
        12.0,
    )


# before start: the cheapest truth in the recording


def test_a_sound_engine_at_rest_raises_no_doubt() -> None:
    run = with_rest(runs()[2])
    assert barring(doubts(run.recording, run.sheet)) == []


@pytest.mark.parametrize(
    ("line", "channel"), [("bias:p3=25", "p3"), ("bias:t3=14", "t3"), ("bias:torque=14", "torque"),
                          ("bias:p45=9", "p45"), ("bias:t5=25", "t5")]
)  # fmt: skip
def test_rest_tells_what_running_alone_cannot(line: str, channel: str) -> None:
    run = runs()[2]
    running = [f for f in barring(doubts(spoilt(run, line), run.sheet)) if f.channels == (channel,)]
    rested = with_rest(run)
    found = barring(doubts(spoilt(rested, line), run.sheet))
    assert [f.channels for f in found] == [(channel,)]
    told = found[0].probability or 0.0
    assert told > 0.9 and all(told >= (f.probability or 0.0) - 0.05 for f in running)


def test_a_recording_without_a_running_engine_is_still_looked_at() -> None:
    run = with_rest(runs()[0], seconds=40)
    rest = {k: replace(s, values=s.values[:40]) for k, s in run.recording.series.items()}
    recording = replace(run.recording, time=run.recording.time[:40], series=rest)
    assert barring(doubts(recording, run.sheet)) == []
    wrong = {**rest, "p2": replace(rest["p2"], values=rest["p2"].values + 6e3)}
    found = barring(doubts(replace(recording, series=wrong), run.sheet))
    assert any("p2" in f.channels for f in found)


def test_the_model_is_made_from_the_type_file_when_none_is_given() -> None:
    run = runs()[0]
    assert find(run.recording, run.sheet, known()) == find(run.recording, run.sheet, known(), model())


def test_ids_are_unique_and_carry_the_run() -> None:
    run = runs()[0]
    found = doubts(spoilt(run, "unit:torque=lbf ft", "stuck:t3@600-900", "gap@100-130"), run.sheet)
    ids = [f.id for f in found]
    assert len(set(ids)) == len(ids) >= 3 and all(i.startswith(f"{run.sheet.run}.") for i in ids)
    assert np.all([f.run == run.sheet.run for f in found])
