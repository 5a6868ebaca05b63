"""Verdicts, limits in force, next removal, directives, changed limits: worked by hand from the data given."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from life_cards import DISC, born, used, used_up_to

from shop.memory import demonstration_type
from spoolwright.crafts.life.agreement import disagreements
from spoolwright.crafts.life.directives import Item, State, in_range, tell
from spoolwright.crafts.life.figure import exact, shown, slack
from spoolwright.crafts.life.model import DirectiveDone, PartUsed, RateStated, Reading
from spoolwright.crafts.life.removal import next_forced_removal
from spoolwright.crafts.life.rules import Verdict, exchange_of, judge_life, limits_in_force
from spoolwright.crafts.life.stock import affected_by, count_sentence, limit_changes
from spoolwright.crafts.life.stored import ledger_calculation, recompute_ledger
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.lives import Directive, SerialRange
from spoolwright.errors import InputError

SHOP = demonstration_type().shop
BEFORE, AFTER = date(2026, 2, 15), date(2026, 2, 16)
"""The disc's limit falls from 11,500 to 8,800 cycles on 2026-02-16 (lives.toml)."""


def test_the_limit_in_force_is_that_of_the_day() -> None:
    (old,), (new,) = (limits_in_force(SHOP.life_limit, DISC, d) for d in (BEFORE, AFTER))
    assert (old.limit, new.limit) == ("11500", "8800")
    assert limits_in_force(SHOP.life_limit, DISC, date(2012, 2, 28)) == []


def test_a_proven_part_has_left_what_the_limit_leaves() -> None:
    standing = judge_life(DISC, "D1", born(), [used()], SHOP, AFTER)
    assert standing.verdict is Verdict.WITHIN
    assert standing.limits[0].left == 8800 - 1430
    text = standing.limits[0].text
    assert text.startswith("1,430 of 8,800 cycles: 7,370 left (OM-940 revision 9, 05-10, table 1, line ")


def test_without_proof_a_part_has_none_left_whatever_its_total() -> None:
    for lines, birth in (([used()], None), ([used(document="")], born()), ([used(flown={})], born())):
        standing = judge_life(DISC, "D1", birth, lines, SHOP, AFTER)
        assert (standing.verdict, standing.limits[0].left) == (Verdict.NO_PROOF, None)
        assert not standing.may_be_fitted


def test_a_part_at_its_limit_or_beyond_is_told_and_one_below_is_not() -> None:
    for cycles, verdict in ((8799, Verdict.WITHIN), (8800, Verdict.REACHED), (8801, Verdict.REACHED)):
        standing = judge_life(DISC, "D1", born(), [used_up_to(cycles)], SHOP, AFTER)
        assert (standing.verdict, standing.limits[0].left) == (verdict, 8800 - cycles)


def test_a_part_number_without_limit_goes_to_engineering() -> None:
    line = used("940-999-9", table="H-1")
    assert judge_life("940-999-9", "D1", born("940-999-9"), [line], SHOP, AFTER).verdict is Verdict.NO_PROOF
    assert judge_life("940-999-9", "D1", born("940-999-9"), [], SHOP, AFTER).verdict is Verdict.NO_LIMIT


def test_next_forced_removal_is_the_soonest_of_the_build() -> None:
    """Utility, 40 full, 60 partial and 5 ground cycles a month.

    Disc by table H-2: 40 + 60 x 0.3 + 5 x 0.32 = 59.6 a month, 7,370 left: 123.66 months.
    Impeller 940-212-3 (limit 14,000) by C-2: 40 + 60 x 0.2 + 5 x 0.4 = 54 a month, 13,730 used, 270 left:
    5 months, which is 152 days and some hours; 5 x 30 h = 150 h.
    """
    impeller = used_up_to(13730, "940-212-3", "I1", table="C-1")
    parts = [
        judge_life(DISC, "D1", born(), [used()], SHOP, AFTER),
        judge_life("940-212-3", "I1", born("940-212-3", "I1"), [impeller], SHOP, AFTER),
        judge_life("940-216-2", "R1", None, [], SHOP, AFTER),
    ]
    rate = RateStated(
        hours_per_month="30",
        flown_per_month={"full": "40", "partial": "60", "ground": "5"},
        operating_class="utility",
        stated_by="operator's planning office",
    )
    removal = next_forced_removal(parts, rate, exchange_of(SHOP), AFTER)
    first, second = removal.due
    assert [s.serial for s in removal.unproven] == ["R1"]
    assert (first.standing.serial, first.per_month, first.months, first.hours) == ("I1", 54, 5, 150)
    assert first.on == date(2026, 7, 18)
    assert (second.per_month, second.months) == (Fraction("59.6"), Fraction(7370) / Fraction("59.6"))
    unrated = next_forced_removal(parts, None, exchange_of(SHOP), AFTER)
    assert unrated.first is not None and unrated.first.standing.serial == "I1" and unrated.first.on is None


def test_stored_calculation_gives_the_same_again_and_other_inputs_something_else() -> None:
    standing = judge_life(DISC, "D1", born(), [used()], SHOP, AFTER)
    stored = ledger_calculation(standing, SHOP, AFTER)
    assert recompute_ledger(stored.inputs, lambda _: b"") == stored.result
    assert stored.result["totals"]["cycles"] == "1,430" and stored.result["verdict"] == "within its limits"
    stored.inputs["lines"][0]["part_off"]["cycles"] = "1340"
    assert recompute_ledger(stored.inputs, lambda _: b"")["verdict"] == "refer: life not proven"


def test_a_fallen_limit_names_every_serial_of_the_stock() -> None:
    change = next(c for c in limit_changes(SHOP.life_limit, AFTER) if c.now.part_number == DISC)
    assert change.fell and "fell from 11,500 to 8,800 cycles on 2026-02-16" in change.sentence
    assert "OM-940 revision 9" in change.sentence
    standings = [
        judge_life(DISC, f"D{n}", born(serial=f"D{n}"), [used_up_to(n, serial=f"D{n}")], SHOP, AFTER)
        for n in (9000, 100, 8800, 8000)
    ]
    standings.append(judge_life(DISC, "D0", None, [], SHOP, AFTER))
    standings.append(judge_life("940-311-2", "X", born("940-311-2", "X"), [], SHOP, AFTER))
    rows = affected_by(change, standings, lambda number, serial: f"at {serial}")
    assert [(a.serial, a.left_before, a.left_now, a.over) for a in rows] == [
        ("D0", "none proven", "none proven", False),
        ("D9000", "2,500", "−200", True),
        ("D8800", "2,700", "0", True),
        ("D8000", "3,500", "800", False),
        ("D100", "11,400", "8,700", False),
    ]
    assert count_sentence(change, rows).endswith("5 serials affected; 2 at or over the limit.")
    assert all(c.now.part_number != DISC for c in limit_changes(SHOP.life_limit, BEFORE))


SOURCE = Source(document="OM-940", paragraph="05-30")


def directive(**changed: object) -> Directive:
    said: dict[str, object] = {
        "id": "D-1", "title": "t", "revision": "B", "effective": date(2020, 1, 1), "asks": "look",
        "source": SOURCE,
    }  # fmt: skip
    return Directive.model_validate(said | changed)


def done(**changed: object) -> DirectiveDone:
    said: dict[str, object] = {
        "directive": "D-1", "revision": "B", "state": "complied", "how": "looked", "on": date(2025, 6, 1),
        "by": "Fellgate", "document": "W90",
    }  # fmt: skip
    return DirectiveDone.model_validate(said | changed)


@pytest.mark.parametrize(
    ("serial", "inside"),
    [("H4300", True), ("H4459", True), ("H4299", False), ("H4460", False), ("K4400", None), ("PROTO", None)],
)
def test_serials_at_both_ends_of_a_range(serial: str, inside: bool | None) -> None:
    assert in_range(serial, SerialRange(first="H4300", last="H4459")) is inside


def test_a_serial_that_cannot_be_compared_is_taken_as_meant() -> None:
    d = directive(serials=({"first": "H4300", "last": "H4459"},), at_shop_visit=True)
    told = tell(d, Item("PROTO", {}), None, AFTER)
    assert (told.state, told.due) == (State.OPEN, True) and "a person decides" in told.why
    assert tell(d, Item("H4200", {}), None, AFTER).state is State.NOT_APPLICABLE


@pytest.mark.parametrize(
    ("terms", "counts", "due"),
    [
        ({"before_cycles": "6000"}, {"cycles": 5999}, False),
        ({"before_cycles": "6000"}, {"cycles": 6000}, True),
        ({"before_cycles": "6000"}, {}, True),
        ({"due_on": date(2026, 2, 17)}, {}, False),
        ({"due_on": date(2026, 2, 16)}, {}, True),
        ({"at_shop_visit": True}, {}, True),
        ({}, {}, True),
        ({"mandatory": False}, {}, False),
    ],
)
def test_when_an_open_directive_is_due(terms: dict[str, object], counts: dict[str, int], due: bool) -> None:
    known = {m: Fraction(v) for m, v in counts.items()}
    told = tell(directive(**terms), Item("H4400", known), None, AFTER)
    assert (told.state, told.due) == (State.OPEN, due)


@pytest.mark.parametrize(
    ("hours", "day", "state"),
    [
        (1599, date(2027, 5, 31), State.RECURRING),
        (1600, date(2026, 2, 16), State.OPEN),
        (1000, date(2027, 6, 1), State.OPEN),
    ],
)
def test_a_recurring_one_falls_due_by_hours_or_days(hours: int, day: date, state: State) -> None:
    """Done at 1,000 h on 2025-06-01; every 600 h or 730 days: at 1,600 h or on 2027-06-01."""
    d = directive(every_hours="600", every_days=730)
    told = tell(d, Item("H4400", {"hours": Fraction(hours)}), done(at=Reading(hours="1000")), day)
    assert (told.state, told.next_due) == (state, "at 1,600 hours or on 2027-06-01")


def test_compliance_with_an_earlier_revision_holds_only_where_it_is_accepted() -> None:
    old = done(revision="A")
    assert tell(directive(), Item("H4400", {}), old, AFTER).state is State.OPEN
    assert tell(directive(accepts=("A",)), Item("H4400", {}), old, AFTER).state is State.COMPLIED
    reason = done(state="not applicable", how="valve is not fitted")
    told = tell(directive(), Item("H4400", {}), reason, AFTER)
    assert (told.state, told.why) == (State.NOT_APPLICABLE, "valve is not fitted")


def test_figures_stay_exact_and_minutes_meet_decimals_only_as_closely_as_written() -> None:
    assert (exact("1234:20"), exact("0.1"), exact("")) == (Fraction(3703, 3), Fraction(1, 10), None)
    assert slack(["1.5", "2"]) == 0 and slack(["1:30", "2:00"]) == 0
    assert slack(["1:30", "1.5"]) == Fraction(1, 20)
    assert [shown(Fraction(x)) for x in ("1234.50", "-3", "7/3")] == ["1,234.5", "−3", "2:20"]
    with pytest.raises(InputError, match="hours and minutes as 1234:30"):
        exact("12h30")


@given(st.decimals(0, 999999, places=4))
def test_a_shown_figure_reads_back_as_itself(value: object) -> None:
    figure = exact(f"{value:.4f}")
    assert exact(shown(figure).replace(",", "")) == figure


@given(st.integers(0, 999999), st.integers(0, 59))
def test_hours_and_minutes_read_back_as_themselves(hours: int, minutes: int) -> None:
    figure = exact(f"{hours}:{minutes:02d}")
    assert exact(shown(figure).replace(",", "")) == figure


def test_a_reading_left_out_in_the_middle_of_a_stay_is_told_once() -> None:
    """Three lines of one stay; the middle one lacks the engine's hours at its end, and only that is told."""
    lines = [
        used(
            line=n + 1,
            began="continued" if n else "installed",
            ended="continued" if n < 2 else "removed",
            on=date(2012 + n, 1, 1),
            off=date(2013 + n, 1, 1),
            engine_on=Reading(hours=str(100 * n), starts=str(10 * n)),
            engine_off=Reading(hours="" if n == 1 else str(100 * n + 100), starts=str(10 * n + 10)),
            part_on=Reading(hours=str(100 * n), cycles=str(10 * n)),
            part_off=Reading(hours=str(100 * n + 100), cycles=str(10 * n + 10)),
            flown={"full": "10"},
        )
        for n in range(3)
    ]
    standing = judge_life(DISC, "D1", born(), lines, SHOP, AFTER)
    assert [(str(f.fault), f.line) for f in standing.ledger.findings] == [("use not recorded", 2)]
    assert "engine hours at its end" in standing.ledger.findings[0].text
    assert (standing.ledger.totals, standing.ledger.whole) == (
        {"hours": 200, "cycles": 30},
        {"hours": False, "cycles": True},
    )


def on_card(serial: str, on: date, hours: str, starts: str = "") -> PartUsed:
    """A line that ends on a day with these counts of engine H4402."""
    return used(
        serial=serial,
        on=None,
        off=on,
        engine_on=Reading(),
        engine_off=Reading(hours=hours, starts=starts),
    )


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([("A", 1, "100"), ("B", 1, "100.0"), ("C", 2, "150")], []),
        ([("A", 1, "100"), ("B", 1, "101")], [("A", "B")]),
        ([("A", 1, "100"), ("B", 2, "99.9")], [("A", "B")]),
        ([("A", 1, "100"), ("A", 2, "99.9")], []),
        ([("A", 1, "100:30"), ("B", 1, "100.5")], []),
        ([("A", 1, "100:30"), ("B", 1, "100.6")], [("A", "B")]),
        ([("A", 1, "100"), ("B", 3, "300"), ("C", 2, "310")], [("C", "B")]),
    ],
)
def test_cards_of_one_engine_agree_about_its_counts(
    lines: list[tuple[str, int, str]], told: list[tuple[str, str]]
) -> None:
    found = disagreements([on_card(s, date(2020, 1, d), h) for s, d, h in lines])
    assert [(d.earlier.serial, d.later.serial) for d in found] == told
    assert all("cards disagree about the hours of engine H4402" in d.text for d in found)
