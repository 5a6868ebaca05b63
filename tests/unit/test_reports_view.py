"""Order, grouping and drawn margins: worked by hand from small made-up verdicts."""

from __future__ import annotations

import pytest
from sample_assessment import MGT, POWER, assessment, figure, point, verdict

from spoolwright.crafts.testcell.model import Assessment, Figure, ScheduleState, Verdict
from spoolwright.reports import view
from spoolwright.reports.cards import cards
from spoolwright.reports.derived import families
from spoolwright.reports.labels import block_names, cell_name, short_names, sources_text
from spoolwright.reports.proposal import asks, proposal, still_open, unsettled


def speed(value: float, u: float = 10.0) -> Figure:
    return figure(value, "rpm", "rpm", "", "speed", u)


def meets(name: str, margin: float, u: float = 10.0) -> Verdict:
    return verdict(name, "meets", speed(1000.0, u), speed(2000.0), "max", margin)


def told(*verdicts: Verdict, **more: object) -> Assessment:
    return assessment().model_copy(update={"verdicts": verdicts, **more})


def test_thinnest_is_the_margin_of_fewest_half_widths() -> None:
    wide, narrow = meets("wide", 100.0, 25.0), meets("narrow", 60.0, 10.0)  # 2 and 3 half-widths
    assert [r.verdict.name for r in view.thinnest(told(narrow, wide))] == ["wide", "narrow"]


def test_thinnest_are_drawn_on_one_scale() -> None:
    rows = view.thinnest(told(meets("a", 20.0), meets("b", 40.0)))  # 1 and 2 half-widths
    a, b = (r.drawn for r in rows)
    assert a is not None and b is not None
    assert a.zero == b.zero
    unit = b.middle - a.middle
    assert a.middle - a.zero == pytest.approx(unit, abs=0.02)
    assert a.high - a.low == pytest.approx(2 * unit, abs=0.03)


def test_a_margin_off_the_drawing_is_an_arrow() -> None:
    rows = view.thinnest(told(meets("near", 20.0), meets("far", 9000.0)))
    assert [r.drawn.beyond for r in rows if r.drawn] == ["", "›"]


def test_groups_stand_in_one_order_and_failures_first_within() -> None:
    fails = verdict("fails", "does_not_meet", speed(3000.0), speed(2000.0), "max", -1000.0)
    power = verdict("power", "meets", POWER, POWER, "min", 5.0)
    found = view.groups(told(meets("a", 10.0), fails, meets("b", 5.0), power))
    assert [g.title for g in found] == ["Power", "Speeds"]
    assert [r.verdict.name for r in found[1].rows] == ["fails", "a", "b"]


def test_a_verdict_without_reading_has_a_group() -> None:
    bare = meets("x", 1.0).model_copy(update={"reading": None, "limit_value": None, "margin": None})
    assert view.groups(told(bare))[0].title == view.UNREAD


def test_a_small_risk_is_not_told() -> None:
    thin, safe = (meets("x", 1.0).model_copy(update={"consumer_risk": r}) for r in (0.03, 0.0009))
    assert view.row(assessment(), thin).risk == "3.0 %"
    assert view.row(assessment(), safe).risk == ""


def test_a_state_is_told_in_words_and_has_no_margin() -> None:
    off, limit = (figure(v, "1", "state", "", "state", 0.0) for v in (0.0, 0.5))
    chip = verdict("Chip detectors", "meets", off, limit, "max", 0.5)
    row = view.row(assessment(), chip)
    assert row.reading is not None and row.limit is not None
    assert (row.reading.text, row.limit.text, row.margin, row.probability) == (
        "no chip",
        "no chip",
        None,
        "–",
    )


def test_what_waits_for_the_same_is_asked_once() -> None:
    why = {"why": ("the wind was not recorded",), "next_step": "Record it."}
    untold = [verdict(n, "cannot_tell", MGT, MGT, "max", 1.0).model_copy(update=why) for n in "abc"]
    fails = verdict("d", "does_not_meet", MGT, MGT, "max", -1.0)
    found = asks(told(*untold, fails))
    assert [len(k.rows) for k in found] == [1, 3]
    assert found[0].action == "Reject the engine."
    assert found[1].why == "The wind was not recorded."
    assert found[1].title == "3 readings cannot be told yet"


def test_a_verdict_shown_anew_is_neither_counted_nor_asked_for() -> None:
    a = told(verdict("x", "does_not_meet", MGT, MGT, "max", -1.0), meets("y", 10.0))
    gone = a.disposition.model_copy(
        update={"superseded": ("x",), "sentence": "All readings meet their limits."}
    )
    a = a.model_copy(update={"disposition": gone})
    p = proposal(a)
    assert p.tally == (("meets", "1 meets its limit"),)
    assert p.earlier == ("x",)
    assert asks(a) == []


@pytest.mark.parametrize(
    ("outcome", "sentence", "headline"),
    [
        ("all_meet", "All readings meet their limits. Thinnest: x, 1 K.", "All readings meet their limits."),
        ("some_do_not_meet", "6 readings do not meet: a, by 1 K; b.", "6 readings do not meet their limits."),
        ("some_do_not_meet", "One reading does not meet: a, by 1 K.", "One reading does not meet its limit."),
        ("cannot_tell", "Cannot tell yet: a (no wind). Open: b.", "Cannot tell yet: 1 of 2 readings."),
    ],
)  # fmt: skip
def test_headline_is_the_opening_of_the_sentence(outcome: str, sentence: str, headline: str) -> None:
    a = told(verdict("u", "cannot_tell", MGT, MGT, "max", 1.0), meets("m", 1.0))
    d = a.disposition.model_copy(update={"outcome": outcome, "sentence": f"{sentence} Accepted by: ____"})
    assert proposal(a.model_copy(update={"disposition": d})).text == headline


def test_open_items_are_gathered() -> None:
    items = tuple(
        ScheduleState(item=n, name=n, state="not_shown", text="no run shows it", source=f"D, paragraph {n}")
        for n in ("5.1", "5.2")
    )
    (found,) = still_open(told(schedule=items))
    assert (found.title, found.text) == ("2 items of the test schedule", "No run shows it.")
    assert found.source == "D, paragraph 5.1, 5.2"


def test_names_are_cut_as_far_as_they_stay_apart() -> None:
    names = [
        "Oil pressure",
        "Vibration, case, radial",
        "Vibration, frame, radial",
        "Ng (mean of 6)",
        "P (a, b), c",
    ]
    assert short_names(names) == ["Oil pressure", "Vibration, case", "Vibration, frame", "Ng", "P (a, b)"]
    assert short_names(["Same, x", "Same, x"]) == ["Same, x", "Same, x"]


def test_sources_share_their_stem() -> None:
    assert (
        sources_text(["D, paragraph 1", "D, paragraph 2", "E 3", "D, paragraph 1"])
        == "D, paragraph 1, 2; E 3"
    )
    assert cell_name("cell_1") == "cell 1" and cell_name("north") == "cell north"


def test_blocks_are_named_only_where_something_was_adjusted() -> None:
    one = told(meets("x", 1.0).model_copy(update={"block": 0}), points=(point(),))
    assert block_names(one) == {}
    two = one.model_copy(update={"points": (point(), point().model_copy(update={"block": 1}))})
    assert block_names(two) == {0: "before the adjustment", 1: "after the adjustment"}


def test_runs_of_other_work_are_named_by_their_limit_sets_not_by_an_adjustment_that_never_was() -> None:
    (first,) = [
        r.model_copy(update={"adjustments": (), "limit_set": "as_received"}) for r in assessment().runs[:1]
    ]
    second = first.model_copy(update={"run": "9", "limit_set": "repaired"})
    later = point().model_copy(update={"block": 1, "run": "9"})
    visit = told(runs=(first, second), points=(point().model_copy(update={"run": first.run}), later))
    assert block_names(visit) == {0: "limits “as_received”", 1: "limits “repaired”"}


def test_probes_are_channels_numbered_alike() -> None:
    (r,) = point().readings
    names = ["mgt_1", "mgt_2", "mgt_3", "t2", "t3", "t5", "vib_1"]
    readings = tuple(r.model_copy(update={"channel": n, "name": n}) for n in names)
    (card,) = cards(told(points=(point().model_copy(update={"readings": readings}),)))
    assert [line.name for line in card.probes] == ["mgt_1", "mgt_2", "mgt_3"]
    assert [line.name for line in card.lines] == ["t2", "t3", "t5", "vib_1"]


def test_only_derivations_that_a_figure_leads_to_are_told() -> None:
    a = assessment()
    stray = a.derivations["d1"].model_copy(update={"id": "d2"})
    more = a.model_copy(update={"derivations": {**a.derivations, "d2": stray}})
    assert [m.id for f in families(more) for m in f.members] == ["d1"]


def test_a_doubt_is_asked_for_until_somebody_signs() -> None:
    (doubt,) = assessment().findings
    note = doubt.model_copy(update={"bars_use": False})
    signed = doubt.model_copy(update={"corrected_by": "M. Oakden (invented)"})
    assert unsettled(told(findings=(note, doubt, signed))) == [doubt]


def test_a_verdict_names_its_run_where_there_are_several() -> None:
    (one,) = assessment().runs
    v = meets("x", 1.0)
    assert view.row(told(v), v).name == "x"
    both = told(v, runs=(one, one.model_copy(update={"run": "2"})))
    assert view.row(both, v).name == "x (run 1)"
