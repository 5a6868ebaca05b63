"""The terminal summary reads well on a narrow and on a wide terminal."""

from __future__ import annotations

import io

import pytest
from rich.console import Console
from sample_assessment import assessment

from spoolwright.reports.terminal import print_summary


def summary(width: int, *, everything: bool = False) -> str:
    console = Console(width=width, file=io.StringIO(), color_system=None)
    print_summary(assessment(), console, all_verdicts=everything)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


@pytest.mark.parametrize("width", [80, 120])
def test_the_proposal_stands_first_and_the_signature_is_open(width: int) -> None:
    text = summary(width)
    order = [
        "Proposed: 1 reading does not meet its limit.",
        "What is asked for next",
        "Doubts about the data",
    ]
    order += ["Conditions that a reading needs", "Thinnest of those that meet", "Accepted by: ____"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "Demonstration data, not approved." in text


@pytest.mark.parametrize("width", [80, 120])
def test_no_name_or_figure_is_broken_over_lines(width: int) -> None:
    lines = summary(width, everything=True).splitlines()
    for v in assessment().verdicts[:2]:
        assert any(v.name in line for line in lines)
    for told in ("951.2 kW", "806.85 °C"):
        assert any(told in line for line in lines)
    assert max(len(line) for line in lines) <= width


def test_the_failure_is_told_with_what_the_document_calls_for() -> None:
    text = summary(80)
    asked = text[text.index("What is asked") : text.index("Doubts")]
    assert "MGT at rated power" in asked and "The document calls for: Reject the engine." in asked
    assert "The wind was not recorded." in asked and "Next: Repeat the point twice." in asked
    assert "Chip detector" in asked


def test_control_characters_do_not_reach_the_terminal() -> None:
    console = Console(width=80, file=io.StringIO(), color_system=None)
    print_summary(assessment().model_copy(update={"engine_serial": "A\x1b[2J\x07B"}), console)
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    assert "A?[2J?B" in text and "\x1b" not in text
