"""The page of figures keeps what was not measured again (cases written by hand from its promise)."""

from __future__ import annotations

from pathlib import Path

import pytest
from rich.progress import Progress

import prove

RESULT = {"claim": "Halves add up.", "measured": "1.0", "cases": 12345, "holds": True}


def page(**results: str) -> str:
    fresh = {
        name: prove.section(name, name.title(), RESULT | {"measured": text}, 3.2)
        for name, text in results.items()
    }
    return prove.merged("", fresh, set(results))


def test_a_section_tells_claim_figure_cases_and_command() -> None:
    text = prove.section("halves", "Halves", RESULT, 3.2)
    for part in (
        "## Halves",
        "Halves add up.",
        "1.0",
        "12,345 cases",
        "make prove ONLY=halves",
        "**Holds.** yes",
    ):
        assert part in text


def test_a_claim_that_fails_says_so() -> None:
    assert "**Holds.** NO" in prove.section("halves", "Halves", RESULT | {"holds": False}, 3.2)


def test_several_figures_become_a_table() -> None:
    text = prove.section("halves", "Halves", RESULT | {"measured": {"first": "1.0", "second": "2.0"}}, 3.2)
    assert "| second | 2.0 |" in text


def test_sections_not_measured_again_stay() -> None:
    before = page(alpha="one", beta="two", gamma="three")
    fresh = {"beta": prove.section("beta", "Beta", RESULT | {"measured": "new"}, 1.0)}
    after = prove.merged(before, fresh, {"alpha", "beta", "gamma"})
    old, new = prove.sections(before), prove.sections(after)
    assert list(new) == ["alpha", "beta", "gamma"]
    assert (new["alpha"], new["gamma"]) == (old["alpha"], old["gamma"])
    assert "new" in new["beta"] and "two" not in new["beta"]


def test_a_proof_that_is_gone_leaves_the_page() -> None:
    assert list(prove.sections(prove.merged(page(alpha="one", beta="two"), {}, {"beta"}))) == ["beta"]


def test_writing_the_same_page_again_changes_nothing() -> None:
    before = page(alpha="one", beta="two")
    assert prove.merged(before, {}, {"alpha", "beta"}) == before


def test_a_result_without_its_number_of_cases_is_refused() -> None:
    with pytest.raises(KeyError, match="cases"):
        prove.section("halves", "Halves", {k: v for k, v in RESULT.items() if k != "cases"}, 1.0)


def test_a_proof_whose_data_are_absent_is_left_out_with_the_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "nowhere.py"
    path.write_text('def absent():\n    return "the data are not here"\n', encoding="utf-8")
    with Progress() as bars:
        assert prove.run_one(path, bars) is None
    assert "nowhere: left out, the data are not here" in capsys.readouterr().out
