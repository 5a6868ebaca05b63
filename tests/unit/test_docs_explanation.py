"""What the explanation pages, the glossary and the links say agrees with the code and with each other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from documentation import DOCS, page, table

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.cycle.solution import Status
from spoolwright.core.reduction.baseline import FEATURES
from spoolwright.core.reduction.rests import RestRules
from spoolwright.rig.distortion import Distortion


def test_the_statuses_told_are_those_there_are() -> None:
    told = {
        name for row in table(page("explanation/engine-model.md"), "Unknowns") for name in row[0].split(", ")
    }
    assert told == {f"`{s.name}`" for s in Status}


def test_condition_factors_that_are_named_exist() -> None:
    text = page("explanation/engine-model.md")
    named = {n.replace("\\", "") for n in re.findall(r"\\texttt\{([^}]*)\}", text)}
    known = set(ConditionFactors.__dataclass_fields__)
    short = {"area", "efficiency"}  # of either turbine, in formulas that hold for both
    assert named - known - short == set()
    assert all(any(k.endswith(f"_{s}") for k in known) for s in short)


def test_the_terms_of_the_shape_are_all_told() -> None:
    text = page("explanation/reduction.md")
    told = re.search(r"shape of the type: (.*)", text)
    assert told is not None
    assert len(told[1].split(",")) == len(FEATURES)


def test_the_bends_told_are_those_of_the_rig() -> None:
    text, d = page("explanation/rig.md"), Distortion()
    for told in (
        f"$1 + {d.flow_slope:g}(n-1) - {-d.flow_curvature:g}(n-1)^2$",
        f"$1 + {d.rise_slope:g}(n-1) - {-d.rise_curvature:g}(n-1)^2$",
        f"$\\beta + {d.line_curvature:g}\\beta^2$",
        f"moved by −{-d.island_speed:g} in speed and {d.island_loading:g} in loading",
        f"factor $1 - {d.efficiency_curvature:.2f}(n-1)^2$",
        f"capacity $1 - {-d.turbine_capacity_slope:g}(n_t-1)$",
        f"best speed ratio {100 * d.turbine_peak_shift:g} % higher",
        f"efficiency $1 - {d.turbine_efficiency_curvature:g}(y-1)^2$",
        f"{d.vane_deviation:g}° off schedule",
        f"shuts {-d.bleed_speed:g} lower in speed, {100 * d.bleed_fraction:g} % more flow",
        f"| Reynolds exponents | {100 * d.reynolds:g} % larger |",
        f"{100 * d.cooling_split:g} % of the nozzle's",
    ):
        assert told in text


def test_the_rule_for_a_rest_is_the_one_told() -> None:
    text, r = page("explanation/reduction.md"), RestRules()
    assert (
        f"the line over {r.short_window:g} s moves less than {100 * r.speed:g} % of full speed and "
        f"{100 * r.torque:g} % of full torque" in text
    )
    assert (
        f"over {r.long_window:g} s less than {100 * r.slow_speed:g} % and {100 * r.slow_torque:g} %" in text
    )


@pytest.mark.parametrize("section", ["Words coined here", "Terms of the trade"])
def test_the_glossary_is_in_order(section: str) -> None:
    words = [row[0].lower() for row in table(page("glossary.md"), section)]
    assert words == sorted(set(words))


def test_no_word_is_both_ours_and_the_trades() -> None:
    text = page("glossary.md")
    ours, trade = ({row[0] for row in table(text, s)} for s in ("Words coined here", "Terms of the trade"))
    assert ours & trade == set()


def test_every_decision_is_listed() -> None:
    listed = set(re.findall(r"\((\d{4}-[\w-]+\.md)\)", page("adr/index.md")))
    assert listed == {p.name for p in (DOCS / "adr").glob("0*.md")}


def anchors(text: str) -> set[str]:
    """Anchors of a page's headings, as repository hosts make them: lower case, dashes for blanks."""
    headings = re.findall(r"^#+ (.*)$", re.sub(r"```.*?```", "", text, flags=re.S), flags=re.M)
    return {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in headings}


WRITTEN = sorted(p for p in DOCS.rglob("*.md") if p.parent.name != "reference")


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: str(p.relative_to(DOCS)))
def test_links_into_pages_meet_a_heading(path: Path) -> None:
    for target, anchor in re.findall(r"\]\(([^)\s#]*)#([^)\s]+)\)", path.read_text(encoding="utf-8")):
        if "://" not in target:
            there = (path.parent / target) if target else path
            assert anchor in anchors(there.read_text(encoding="utf-8"))
