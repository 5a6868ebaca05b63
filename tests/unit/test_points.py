"""Holds as points against planted levels, drifts, adjustments and targets."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from planted_corrie import FULL_TORQUE, LIMIT_SET, Script, corrie, recorded, sheet, usual, usual_contents
from planted_run import coloured
from scipy.stats import t as student

from spoolwright.core.reduction.point import PointData
from spoolwright.core.reduction.scatter import scatter_correlation
from spoolwright.core.reduction.segments import Stretch
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.reading import RunContents
from spoolwright.crafts.testcell.run.points import Piece, point_of
from spoolwright.crafts.testcell.run.run_data import run_data
from spoolwright.crafts.testcell.run_sheet import Adjustment, SignedCorrection
from spoolwright.crafts.typefile.channel import UncertaintyPart

ROOT = math.sqrt(298.15 / 288.15)


def item(name: str) -> Any:
    return next(i for i in corrie().schedule if i.id == name)


def holds_run(targets: list[tuple[float, float]], noise: bool = False, **kept: Any) -> RunContents:
    """A run with nothing but holds at given speeds and lengths."""
    s = Script()
    s.start()
    s.wait(60.0)
    for ng, seconds in targets:
        s.move(ng, FULL_TORQUE * (ng / 38420.0) ** 5, 6.0)
        s.wait(seconds)
    s.truth.end = s.now
    return read_run(recorded(s, noise=noise), sheet(**kept), corrie())


def test_every_planted_hold_is_a_point_of_its_item_in_order() -> None:
    script, _ = usual()
    planted = script.truth.holds
    points = usual_contents().points
    assert [p.schedule_item for p in points] == [name for name, _, _ in planted]
    assert [p.rating for p in points] == [item(name).rating for name, _, _ in planted]
    assert [p.id for p in points] == [f"1.{n}" for n in range(1, 11)]
    for p, (_, begin, end) in zip(points, planted, strict=True):
        # The last window of 60 s, ending three seconds before the hold does, whose end is known to 1.5 s.
        assert p.to_s - p.from_s == pytest.approx(60.0)
        assert p.to_s == pytest.approx(end - 3.0, abs=1.5)
        assert p.to_s < end
        assert p.from_s > begin + 70.0
        assert p.steady


def test_means_lie_within_their_uncertainty_of_the_planted_levels() -> None:
    script, _ = usual()
    off = []
    for p, (name, _, _) in zip(usual_contents().points, script.truth.holds, strict=True):
        for channel, true in (("ng", item(name).target * ROOT), ("t2", 298.15), ("np", 5840.0)):
            mean = p.channels[channel]
            off.append((mean.mean - true) / mean.random)
    assert np.sqrt(np.mean(np.square(off))) < 1.5  # of 30 errors; 1.26 once in a hundred were they normal


def test_relative_parts_follow_the_reading_and_shared_sources_keep_their_name() -> None:
    mean = usual_contents().points[0].channels
    torque = {s.source: s.uncertainty for s in mean["torque"].systematic}
    assert torque["torquemeter_calibration"] == pytest.approx(0.0035 * mean["torque"].mean)
    assert torque["torquemeter_zero"] == pytest.approx(1.5)
    barometer = [
        s.uncertainty for c in ("p_amb", "p2") for s in mean[c].systematic if s.source == "barometer"
    ]
    assert barometer == pytest.approx([12.0, 12.0])  # 0.12 hPa and 0.012 kPa
    vib = {s.source: s.uncertainty for s in mean["vib_turbine"].systematic}
    assert vib["vibration_calibrator"] == pytest.approx(0.02 * mean["vib_turbine"].mean)


def test_offset_and_gain_of_one_source_are_two_errors() -> None:
    part = UncertaintyPart(source="standard", absolute=2.0, relative=0.01)
    channels = tuple(
        c.model_copy(update={"uncertainty": (part,)}) if c.id == "torque" else c for c in corrie().channel
    )
    script, _ = usual()
    data = run_data(corrie().model_copy(update={"channel": channels}), sheet(), recorded(script))
    parts = {s.source: s.uncertainty for s in data.systematic("torque", 1000.0)}
    assert parts == pytest.approx({"standard": 2.0, "standard, gain": 10.0})
    # JCGM 100:2008, 5.1.2: independent errors add as squares
    assert data.systematic_uncertainty("torque", 1000.0) == pytest.approx(math.hypot(2.0, 10.0))


@pytest.mark.parametrize("correlation_time", [0.05, 1.0, 3.0])
def test_intervals_of_means_cover_under_autocorrelated_noise(correlation_time: float) -> None:
    known = corrie()
    covered, trials = 0, 600
    keep = math.exp(-0.05 / correlation_time)
    base = recorded(_short(), noise=False, without=tuple(c.id for c in known.channel if c.id != "ng"))
    piece = Piece(Stretch("hold", 0.0, 150.0), 0.0, 150.0)
    series = base.series["ng"]
    for seed in range(trials):
        noisy = 37000.0 + coloured(base.rows, 6.0, keep, seed)
        run = replace(base, series={"ng": replace(series, values=noisy)})
        mean = point_of(run_data(known, sheet(), run), piece, "p").channels["ng"]
        factor = student.ppf(0.975, mean.random_degrees_of_freedom)
        covered += abs(mean.mean - 37000.0) <= factor * mean.random
    # 95 %: three binomial standard deviations of 600 are 2.7 %. A window of 60 s holds 20 correlation times
    # of 3 s, where the windowed sum comes out low (Sokal 1997): two points less are allowed there.
    least = 0.923 if correlation_time < 2.0 else 0.903
    assert least <= covered / trials <= 0.985


def _short() -> Script:
    s = Script()
    s.truth.end = 150.0
    for line in (s.ng, s.torque, s.np, s.lever, s.mgt, s.wf):
        line.hold(150.0)
    return s


@pytest.mark.parametrize(("change", "met"), [(44.0, True), (46.0, False), (-44.0, True), (-46.0, False)])
def test_drift_over_the_window_decides_steadiness(change: float, met: bool) -> None:
    s = Script()
    s.start()
    s.wait(60.0)
    s.move(36000.0, 900.0, 6.0)
    begin = s.now
    s.wait(200.0)
    s.ng.points[-1] = (s.now, 36000.0 + change / 60.0 * (s.now - begin))
    s.truth.end = s.now
    point = read_run(recorded(s, noise=False), sheet(), corrie()).points[0]
    criterion = next(c for c in point.criteria if c.channel == "ng")
    assert criterion.drift == pytest.approx(change, rel=1e-6)
    assert criterion.allowed == 45.0  # the type file: 45 rpm over 60 s
    assert criterion.met is met
    assert point.steady is met


def test_a_short_hold_says_what_is_missing() -> None:
    contents = holds_run([(item("p60").target * ROOT, 100.0)])
    assert contents.points[0].schedule_item == "p60"
    assert not contents.points[0].steady
    assert "70 s to settle and 60 s to average" in contents.points[0].why_not[0]
    assert "p60" not in [s.item for s in contents.shown]


def test_a_hold_off_its_target_shows_no_item() -> None:
    off = [item(n).target + share * item(n).tolerance for n, share in (("p60", 1.1), ("p75", -0.9))]
    contents = holds_run([(ng * ROOT, 300.0) for ng in off])
    assert [p.schedule_item for p in contents.points] == [None, "p75"]


def test_a_target_at_the_reference_condition_is_not_taken_as_it_stands() -> None:
    contents = holds_run([(item("p75").target, 300.0)])  # would be 1.7 % low on this warm day
    assert "p75" not in [p.schedule_item for p in contents.points]


def test_a_skipped_item_and_an_extra_hold_do_not_shift_the_others() -> None:
    between = 0.5 * (item("p60").target + item("p75").target)
    speeds = [(item("p60").target, 300.0), (between, 300.0), (item("intermediate").target, 300.0)]
    speeds += [(item("take_off").target, 300.0), (item("p75_down").target, 300.0)]
    contents = holds_run([(ng * ROOT, t) for ng, t in speeds])
    assert [p.schedule_item for p in contents.points] == ["p60", None, "intermediate", "take_off", "p75_down"]


def test_a_repeat_out_of_order_goes_to_the_closest_item() -> None:
    names = ["p60", "p75", "p60", "max_continuous"]
    contents = holds_run([(item(n).target * ROOT, 300.0) for n in names])
    assert [p.schedule_item for p in contents.points] == names


def test_an_adjustment_cuts_a_hold_and_raises_the_block() -> None:
    script, recording = usual()
    name, begin, _ = script.truth.holds[2]
    at = begin + 150.0
    adjusted = sheet(adjustment=(Adjustment(at_s=at, kind="topping", text="turned in", by="A. Person"),))
    contents = read_run(recording, adjusted, corrie(), first_block=4)
    before, after = contents.points[2], contents.points[3]
    assert before.schedule_item == after.schedule_item == name
    assert before.to_s < at < after.from_s
    assert [p.block for p in contents.points] == [4] * 3 + [5] * 8
    assert contents.last_block == 5
    assert after.from_s > at + 70.0


def test_findings_that_bar_use_go_with_the_means_they_touch() -> None:
    _, recording = usual()
    finding = Finding(
        id="f1",
        run="1",
        kind="stuck",
        channels=("torque",),
        from_s=600.0,
        to_s=700.0,
        text="stuck",
        mend="",
        bars_use=True,
    )
    contents = read_run(recording, sheet(), corrie(), findings=[finding])
    assert contents.points[0].channels["torque"].findings == ("f1",)
    assert contents.points[1].channels["torque"].findings == ()
    assert contents.points[0].channels["ng"].findings == ()
    signed = finding.model_copy(update={"corrected_by": "A. Person"})
    assert (
        read_run(recording, sheet(), corrie(), findings=[signed]).points[0].channels["torque"].findings == ()
    )


def test_a_signed_correction_changes_the_mean_and_keeps_the_recorded_one() -> None:
    _, recording = usual()
    correction = SignedCorrection(
        channel="mgt", kind="add", amount=-8.0, reason="bias found", signed_by="A. Person",
        signed_at=datetime(2026, 9, 2, tzinfo=UTC),
    )  # fmt: skip
    corrected = read_run(recording, sheet(correction=(correction,)), corrie()).points[0].channels
    plain = usual_contents().points[0].channels
    assert corrected["mgt"].mean == pytest.approx(plain["mgt"].mean - 8.0)
    assert corrected["mgt"].as_recorded == pytest.approx(plain["mgt"].mean)
    assert corrected["ng"].as_recorded is None


def test_missing_rows_and_rows_out_of_order_leave_the_means_where_they_are() -> None:
    script, recording = usual()
    rng = np.random.default_rng(5)
    keep = np.sort(rng.permutation(recording.rows)[: int(0.8 * recording.rows)])
    time = recording.time[keep].copy()
    time[[3000, 9000]] = [-5.0, 1e7]
    series = {k: replace(s, values=s.values[keep]) for k, s in recording.series.items()}
    contents = read_run(replace(recording, time=time, series=series), sheet(), corrie())
    assert [p.schedule_item for p in contents.points] == [name for name, _, _ in script.truth.holds]
    for p, q in zip(contents.points, usual_contents().points, strict=True):
        assert p.channels["ng"].mean == pytest.approx(
            q.channels["ng"].mean, abs=4.0 * q.channels["ng"].random
        )


def test_without_a_steady_rule_no_hold_is_a_steady_point() -> None:
    _, recording = usual()
    known = corrie().model_copy(update={"steady": None})
    points = read_run(recording, sheet(), known).points
    assert points
    assert not any(p.steady for p in points)


def test_a_channel_that_must_be_steady_but_is_missing_is_named() -> None:
    script, _ = usual()
    point: PointData = read_run(recorded(script, without=("t2",)), sheet(), corrie()).points[0]
    assert point.why_not == ("'t2', which must be steady, was not recorded",)
    assert point.schedule_item == "p60"  # ambient temperature serves to find the target


def test_correlation_of_means_finds_a_shared_wander_and_invents_none() -> None:
    rng = np.random.default_rng(0)
    shared = coloured(1200, 1.0, math.exp(-0.05 / 3.0), 7)
    alone = [coloured(1200, 1.0, math.exp(-0.05 / 3.0), 20 + n) for n in range(6)]
    values = np.stack([5.0 * shared + 0.3 * rng.standard_normal(1200), -2.0 * shared, *alone], axis=1)
    found = scatter_correlation(values)
    assert found is not None
    assert found[0, 1] < -0.9
    assert np.abs(found[2:, :2]).max() == 0.0
    assert np.linalg.eigvalsh(found)[0] > -1e-9
    assert scatter_correlation(rng.standard_normal((1200, 8))) is None


def test_a_limit_set_picks_its_own_schedule() -> None:
    _, recording = usual()
    assert LIMIT_SET == "repaired"
    contents = read_run(recording, sheet(limit_set="new"), corrie())
    assert "oei" not in [p.schedule_item for p in contents.points]  # not run; asked for in the set 'new'
    assert [p.schedule_item for p in contents.points] == [p.schedule_item for p in usual_contents().points]
