"""Gates, what the schedule still owes, and the proposal's sentence."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from judged_corrie import around, corrie, power_limit, reading, sheet

from spoolwright.core.reduction.point import ChannelMean, PointData
from spoolwright.crafts.testcell.model import GateState, ScheduleState, Verdict
from spoolwright.crafts.testcell.reading import ShownItem
from spoolwright.crafts.testcell.rules.gates import bars, gate_states
from spoolwright.crafts.testcell.rules.owed import schedule_states
from spoolwright.crafts.testcell.rules.proposal import disposition, superseded
from spoolwright.crafts.testcell.rules.verdict import judge


def point(wind: float = 2.0, oil: float = 350.0, **more: float) -> PointData:
    means = {"wind": wind, "t_oil": oil, "torque": 1500.0, **more}
    return PointData("1.1", "1", 0.0, 60.0, 0, {c: ChannelMean(c, x, 0.1, 30.0) for c, x in means.items()})


def states(points: list[PointData] | None = None, **changes: Any) -> dict[str, GateState]:
    return {
        g.gate: g for g in gate_states(corrie(), sheet(**changes), [point()] if points is None else points)
    }


def test_every_gate_holds_on_a_good_day() -> None:
    assert {g: s.state for g, s in states().items()} == {g.id: "holds" for g in corrie().gate}


@pytest.mark.parametrize(
    ("gate", "points", "changes", "state"),
    [
        ("wind", [point(wind=9.0)], {}, "fails"),
        ("wind", [point(), point(wind=9.0)], {}, "fails"),
        ("wind", [], {}, "unknown"),
        ("oil_warm", [point(oil=300.0)], {}, "fails"),
        ("dry", None, {"cell": {"precipitation": "rain"}}, "fails"),
        ("fuel_sample", None, {"fuel": None}, "unknown"),
        ("fuel_sample", None, {"performed_on": date(2026, 12, 1)}, "fails"),
        ("fuel_sample", None, {"performed_on": date(2026, 9, 20)}, "fails"),
        ("calibration", None, {"performed_on": date(2027, 3, 1)}, "fails"),
        ("correlation", None, {"performed_on": date(2028, 6, 1)}, "fails"),
        ("configuration", None, {"cell": {"configuration": "bellmouth B9"}}, "fails"),
        ("calibration", None, {"cell": {"cell": "cell_9"}}, "unknown"),
    ],
)
def test_a_gate_that_does_not_hold(
    gate: str, points: list[PointData] | None, changes: dict[str, Any], state: str
) -> None:
    if "cell" in changes:
        changes = {"cell": {**sheet().cell.model_dump(), **changes["cell"]}}
    found = states(points, **changes)[gate]
    assert found.state == state and bars(found) and found.mend and "revision" in found.source


def test_an_instrument_that_performance_does_not_rest_on_may_be_late() -> None:
    late = {i.channel: i.due_on for i in corrie().cell[0].instruments}
    day = max(late["vib_turbine"], date(2027, 2, 3))
    found = states([point()], performed_on=day)["calibration"]
    # Of this point's channels torque alone is an instrument of performance; it is due later.
    assert late["torque"] > day and found.state == "holds"


def shown(item: str, run: str = "1", to_s: float = 100.0) -> ShownItem:
    return ShownItem(item, run, 0, to_s - 60.0, to_s)


def schedule(sheets: list[Any], items: list[ShownItem]) -> dict[str, ScheduleState]:
    return {s.item: s for s in schedule_states(corrie(), "overhauled", sheets, items)}


def signed(item: str, result: str = "satisfactory") -> dict[str, Any]:
    return {"item": item, "result": result, "by": "M. Oakden", "at": datetime(2026, 10, 1, 12, tzinfo=UTC)}


def test_items_shown_open_and_not_satisfactory() -> None:
    one = sheet(check=[signed("oil_filter"), signed("chip_detectors", "not_satisfactory")])
    found = schedule([one], [shown("start"), shown("acceleration")])
    assert found["start"].state == "shown"
    assert found["take_off"].state == "not_shown"
    assert found["acceleration"].state == "not_shown" and "once of 2" in found["acceleration"].text
    assert found["oil_filter"].state == "shown" and "M. Oakden" in found["oil_filter"].text
    assert found["chip_detectors"].state == "not_satisfactory"
    assert found["borescope"].state == "open"


def test_an_adjustment_makes_what_came_before_owed_again() -> None:
    adjustment = {"at_s": 500.0, "kind": "vane_rigging", "text": "reset", "by": "R. Tallis"}
    one = sheet(adjustment=[adjustment])
    before = schedule([one], [shown("take_off", to_s=400.0), shown("start", to_s=50.0)])
    assert before["take_off"].state == "owed_again" and "vane rigging" in before["take_off"].text
    assert before["start"].state == "shown"
    after = schedule([one], [shown("take_off", to_s=400.0), shown("take_off", to_s=900.0)])
    assert after["take_off"].state == "shown"
    later = schedule([one, sheet("2")], [shown("take_off", to_s=400.0), shown("take_off", "2", 90.0)])
    assert later["take_off"].state == "shown"


def verdict(
    value: float, u: float = 4.0, block: int = 0, limit: str = "power_take_off_overhauled"
) -> Verdict:
    found = judge(power_limit(id=limit), reading(value, u, block=block), around())
    assert found is not None
    return found


def test_the_sentence_names_the_thinnest_and_is_never_signed() -> None:
    d = disposition(corrie(), [verdict(960.0), verdict(948.0, limit="power_oei_overhauled")], [])
    assert d.outcome == "all_meet"
    assert d.sentence == (
        "All readings meet their limits. Thinnest: Power at rated MGT, take-off, 8 kW ± 8 kW, "
        "98 % probability of conforming. Accepted by: ____"
    )
    assert d.accepted_by == "____" and d.thinnest == "power_oei_overhauled.1.0"


def test_what_does_not_meet_stands_first() -> None:
    d = disposition(corrie(), [verdict(930.0), verdict(960.0, limit="power_oei_overhauled")], [])
    assert d.outcome == "some_do_not_meet"
    assert d.sentence.startswith("One reading does not meet: Power at rated MGT, take-off, by 10 kW ± 8 kW.")


def test_open_items_are_named() -> None:
    item = ScheduleState(item="borescope", name="Borescope", state="open", text="not signed", source="-")
    d = disposition(corrie(), [verdict(960.0)], [item])
    assert "Open: Borescope." in d.sentence and d.open == ("Borescope: not signed",)


def test_a_check_signed_not_satisfactory_keeps_the_engine_from_being_proposed() -> None:
    item = ScheduleState(
        item="chips", name="Chip detectors", state="not_satisfactory", text="flakes", source="-"
    )
    d = disposition(corrie(), [verdict(960.0)], [item])
    assert d.outcome == "cannot_tell"
    assert d.sentence.startswith("All readings meet their limits, but one check is signed not satisfactory.")
    assert "Open: Chip detectors" in d.sentence
    worse = disposition(corrie(), [verdict(930.0)], [item])
    assert worse.outcome == "some_do_not_meet"


def test_a_miss_before_an_adjustment_is_told_but_does_not_stand() -> None:
    both = [verdict(930.0, block=0), verdict(960.0, block=1)]
    assert superseded(corrie(), both) == {"power_take_off_overhauled.1.0"}
    d = disposition(corrie(), both, [])
    assert d.outcome == "all_meet" and "Not met before an adjustment, met since" in d.sentence
    assert disposition(corrie(), both[:1], []).outcome == "some_do_not_meet"


def test_an_exceeded_operating_limit_stays_exceeded() -> None:
    early = verdict(930.0, block=0, limit="mgt_red_line")
    late = verdict(960.0, block=1, limit="mgt_red_line")
    assert any(x.id == "mgt_red_line" and x.regime == "run" for x in corrie().limit)
    assert disposition(corrie(), [early, late], []).outcome == "some_do_not_meet"


def test_nothing_judged_is_not_all_met() -> None:
    assert disposition(corrie(), [], []).outcome == "cannot_tell"
