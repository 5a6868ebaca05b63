"""Order, words, digits and drawings of a diagnosis: worked by hand from small made-up records."""

from __future__ import annotations

import math
import re

import pytest

from sample_diagnosis import (
    CHECKS,
    ERODED,
    FOULED,
    RUN,
    SENSOR,
    WORN,
    group_found,
    margins,
    nothing_found,
    two_found,
)
from spoolwright.crafts.testcell.diagnosis.model import Evidence, Magnitude, Residual
from spoolwright.reports import diagnosis_view as view
from spoolwright.reports.diagnosis_charts import panel_svg, panels
from spoolwright.reports.diagnosis_how import families
from spoolwright.reports.diagnosis_margins import margin_tables

CIRCLES = r'<circle class="(dot|hollow)" cx="([\d.]+)" cy="([\d.]+)"'


def names(found: list[view.Block]) -> list[list[str]]:
    return [[c.name for c in b.causes] for b in found]


def test_causes_that_cannot_be_told_apart_stand_in_one_block() -> None:
    first, second = view.blocks(group_found())
    assert first.is_group and first.chance == "93 %"
    assert [c.name for c in first.causes] == [FOULED.text, ERODED.text]
    assert not second.is_group and second.causes[0].name == "Nothing wrong"


def test_a_pair_more_probable_than_not_stands_above_its_causes() -> None:
    assert names(view.blocks(two_found()))[:3] == [
        ["Compressor fouled and power turbine worn"],
        ["Compressor fouled"],
        ["Power turbine worn"],
    ]


def test_with_nothing_wrong_the_next_probable_cause_is_still_told() -> None:
    assert names(view.blocks(nothing_found())) == [["Nothing wrong"], ["Compressor fouled"]]


def test_that_a_cause_comes_with_another_is_told_where_it_matters() -> None:
    told = {c.name: c.note for b in view.blocks(two_found()) for c in b.causes}
    assert told["Compressor fouled"] == "alone 12 %, else with another"
    assert all(c.note == "" for b in view.blocks(group_found()) for c in b.causes)


def test_unlikely_causes_wait_in_the_list_of_all() -> None:
    ranked = {c.name for b in view.blocks(group_found()) for c in b.causes}
    assert not ranked & {WORN.text, SENSOR.text}
    assert [c.name for c, _ in view.every(group_found())][:4] == [
        s.text for s in (FOULED, ERODED, WORN, SENSOR)
    ]


@pytest.mark.parametrize(
    ("low", "mean", "high", "told"),
    [
        (1.8, 2.31, 2.9, ("2.3 % of flow", "1.8 to 2.9")),
        (0.71, 0.752, 0.79, ("0.75 % of flow", "0.71 to 0.79")),
        (-38.2, -25.1, -12.0, ("−25 % of flow", "−38 to −12")),
    ],
)
def test_a_size_has_the_digits_that_its_interval_earns(
    low: float, mean: float, high: float, told: tuple[str, str]
) -> None:
    assert view.size(Magnitude(mean=mean, low=low, high=high, unit="% of flow")) == told


@pytest.mark.parametrize(
    ("weight", "words"),
    [
        (math.log(8), "8.0 times more probable"),
        (-math.log(20), "20 times less probable"),
        (math.log(5000), "over 1 000 times more probable"),
        (800.0, "over 1 000 times more probable"),
        (0.01, "says nothing"),
    ],
)
def test_a_weight_is_told_as_a_factor(weight: float, words: str) -> None:
    assert view.factor(weight).replace("\u202f", " ") == words


@pytest.mark.parametrize(
    ("probability", "told"), [(0.934, "93 %"), (0.9951, "99.5 %"), (0.99999, "> 99.9 %"), (0.004, "0.4 %")]
)
def test_a_probability_has_no_digits_that_nobody_knows(probability: float, told: str) -> None:
    assert view.share(probability) == told


def test_checks_are_ranked_by_what_they_tell_for_time_and_money() -> None:
    rows = view.checks(group_found())
    assert [r.text for r in rows] == [CHECKS[1].text, CHECKS[0].text, CHECKS[2].text]
    assert [r.width for r in rows] == [74.0, 81.0, 6.0]  # of one bit, so that what tells little looks it
    assert (rows[0].hours, rows[0].cost, rows[2].cost) == ("1.5 h", "60 EUR", "–")


def test_evidence_is_told_strongest_first_and_drawn_on_one_scale() -> None:
    weak = Evidence(what="a", seen="", expected="", weight=1.0)
    strong = Evidence(what="b", seen="", expected="", weight=4.0)
    other = FOULED.model_copy(update={"evidence_for": (weak, strong), "evidence_against": ()})
    (case,) = view.cases(group_found().model_copy(update={"suspects": (other,), "groups": ()}))
    assert [(e.what, e.width) for e in case.speaks_for] == [("b", 100.0), ("a", 25.0)]


def test_the_place_for_a_signature_is_taken_off_the_sentence() -> None:
    d = group_found().model_copy(update={"proposal": "Proposed: wash it, 3 h. Accepted by: ____"})
    assert view.proposal(d) == "wash it, 3\u00a0h."


def test_margins_are_told_in_both_units_and_marked_where_a_limit_asks() -> None:
    (table, _) = margin_tables(group_found())
    first = table.rows[0]
    # 1 hp is 745.699 872 W (NIST SP 811, B.8): −14.2 kW is −19.04 hp, ± 2 × 5.1 kW is ± 13.7 hp.
    assert first.now.main.interval == "−14 ± 10"
    assert first.now.second is not None and first.now.second.interval == "−19 ± 14"
    assert [r.mark for r in table.rows] == ["meets"] * 4


@pytest.mark.parametrize(
    ("after", "mark"),
    [(10.5e3, "meets"), (9.5e3, "cannot_tell"), (-9.5e3, "cannot_tell"), (-10.5e3, "does_not_meet")],
)
def test_a_margin_clears_its_limit_only_with_its_interval(after: float, mark: str) -> None:
    m = margins()[0]
    m = m.model_copy(
        update={"after": m.after.model_copy(update={"value": after, "standard_uncertainty": 5e3})}
    )
    only = FOULED.model_copy(update={"margins": (m, m.model_copy(update={"limit": ""}))})
    (table,) = margin_tables(group_found().model_copy(update={"suspects": (only,), "groups": ()}))
    assert [r.mark for r in table.rows] == [mark, ""]


def test_drawn_margins_share_one_limit_line_and_one_unit() -> None:
    tables = margin_tables(group_found())
    drawn = [
        (r.drawn, m)
        for t, s in zip(tables, (FOULED, ERODED), strict=True)
        for r, m in zip(t.rows, s.margins, strict=True)
    ]
    per_unit = set()
    for d, m in drawn:
        assert d is not None
        assert d.zero == drawn[0][0].zero  # type: ignore[union-attr]
        half = 2 * max(m.now.standard_uncertainty or 0, m.after.standard_uncertainty or 0)
        per_unit.add(round((d.after[1] - d.now[1]) / ((m.after.value - m.now.value) / half), 1))
        assert all(0.0 <= v <= 100.0 for v in (*d.now, *d.after))
    assert len(per_unit) == 1


def test_a_panel_draws_what_was_seen_and_what_is_explained_at_their_heights() -> None:
    rows = tuple(
        Residual(
            output="power", name="Power", point=f"p{i}", value=v, standard_uncertainty=0.005, explained=e
        )
        for i, (v, e) in enumerate(((-0.02, -0.01), (-0.04, -0.03)))
    )
    (panel,) = panels(group_found().model_copy(update={"residuals": rows}))
    marks = re.findall(CIRCLES, panel_svg(panel))
    heights = {kind: [float(y) for k, _, y in marks if k == kind] for kind in ("dot", "hollow")}
    per_cent = (heights["dot"][1] - heights["dot"][0]) / 2.0
    assert per_cent > 0  # lower is further down
    assert heights["hollow"][0] == pytest.approx(heights["dot"][0] - per_cent, abs=0.15)
    assert heights["hollow"][1] == pytest.approx(heights["dot"][1] - per_cent, abs=0.15)


def test_points_are_named_as_far_as_they_fit() -> None:
    def named(many: int) -> int:
        rows = tuple(
            Residual(
                output="T3",
                name="T3",
                point=f"12.{100 + i}",
                value=0.0,
                standard_uncertainty=0.01,
                explained=0.0,
            )
            for i in range(many)
        )
        (panel,) = panels(group_found().model_copy(update={"residuals": rows}))
        return panel_svg(panel).count(">12.1")

    assert named(4) == 4
    assert 3 <= named(30) <= 7


def test_angles_are_told_in_degrees() -> None:
    row = Residual(
        output="vane_angle",
        name="Vanes",
        point="p",
        value=math.radians(1.0),
        standard_uncertainty=0.001,
        explained=0.0,
    )
    d = group_found().model_copy(update={"residuals": (row,)})
    assert "difference [°]" in panel_svg(panels(d)[0])
    told = [g.value for f in families(d) for m in f.members if m.id == "residual:vane_angle" for g in m.given]
    assert told[0].startswith("1.00 ±")


def test_a_group_leads_to_the_probabilities_of_its_causes() -> None:
    d = group_found().model_copy(update={"runs": (RUN,)})
    (how,) = [m for f in families(d) for m in f.members if m.title == "Probability: one of the group"]
    assert how.told == "93.0 %"
    assert [g.link for g in how.given] == ["probability:compressor_fouling", "probability:compressor_erosion"]


def test_words_are_set_with_true_minus_and_units_that_stay() -> None:
    assert (
        view.set_words("by -3.5 K (-2 %), of 2-3 h, x-5") == "by −3.5\u00a0K (−2\u00a0%), of 2-3\u00a0h, x-5"
    )


def test_nothing_is_drawn_as_explained_where_nothing_wrong_explains_best() -> None:
    d = nothing_found()
    assert view.explains(d) == ""
    assert all("hollow" not in panel_svg(p) for p in panels(d))
    assert view.explains(two_found()) == "Compressor fouled and power turbine worn"


def test_a_rating_has_the_name_that_the_margins_derivation_gives_it() -> None:
    d = group_found()
    named = d.derivations["now-0"].model_copy(
        update={"title": "Power at rated MGT, take-off, 5 minutes: margin as it is"}
    )
    known = d.model_copy(update={"derivations": {**d.derivations, "now-0": named}})
    names_told = [[name for name, _ in margin_tables(x)[0].ratings] for x in (known, d)]
    assert names_told == [
        ["take-off, 5 minutes", "take off", "max continuous"],
        ["take off", "max continuous"],
    ]
