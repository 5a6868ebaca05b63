"""Figures as text. Expected: GUM 7.2.6 (two digits of the uncertainty), NIST SP 811 factors by hand."""

from __future__ import annotations

import pytest
from sample_assessment import figure

from spoolwright.crafts.testcell.model import Input
from spoolwright.reports.derived import input_text
from spoolwright.reports.figures import Cell, cell, clock, number, percent, shown


def told(c: Cell | None) -> Cell:
    assert c is not None
    return c


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (998967.96, 9046.6, "999 ± 18 kW"),  # 2u = 18.09 kW: two digits
        (951200.0, 210.0, "951.20 ± 0.42 kW"),
        (951200.0, None, "951.2 kW"),
        (945000.0, None, "945 kW"),  # a limit as written, without zeros nobody wrote
        (945000.0, 0.0, "945 kW"),  # no interval where no uncertainty is stated
    ],
)
def test_digits_follow_the_uncertainty(value: float, u: float | None, expected: str) -> None:
    assert told(cell(figure(value, "W", "kW", "hp", "power", u))).interval == expected


def test_second_unit_stands_beside() -> None:
    c = told(cell(figure(1e6, "W", "kW", "hp", "power", 5e3)))
    # 1 hp = 745.6998715822702 W (SP 811: 550 ft·lbf/s): 1341.02 ± 13.41
    assert c.second_text == "1\u202f341 hp"


def test_a_difference_loses_the_offset_and_has_a_sign() -> None:
    margin = figure(10.0, "K", "degC", "degF", "temperature", 1.0).model_copy(update={"difference": True})
    c = told(cell(margin))
    assert c.interval == "+10.0 ± 2.0 °C"
    assert c.second is not None and c.second.interval == "+18.0 ± 3.6"  # 1 K = 1.8 °F


def test_a_column_of_figures_has_one_number_of_decimals() -> None:
    fine, coarse = (figure(37116.74, "rpm", "rpm", "", "speed", u) for u in (2.6, 17.0))
    values = [told(cell(f, like=[fine, coarse])).main.value for f in (fine, coarse)]
    assert values[0] == values[1] == "37\u202f116.7"


@pytest.mark.parametrize(("value", "text"), [(0.3, "0"), (-0.3, "0"), (2.0, "+2"), (-2.0, "−2")])
def test_what_rounds_to_zero_has_no_sign(value: float, text: str) -> None:
    gap = figure(value, "rpm", "rpm", "", "speed", 46.0).model_copy(update={"difference": True})
    assert told(cell(gap)).main.value == text


def test_a_reading_never_rounds_onto_the_limit_it_misses() -> None:
    miss = figure(944.6e3, "W", "kW", "hp", "power", 8.6e3)
    margin = miss.model_copy(update={"value": -0.4e3, "difference": True})
    assert told(cell(miss)).interval == "945 ± 17 kW"
    assert told(cell(miss, apart=-0.4e3)).interval == "944.6 ± 17 kW"
    assert told(cell(margin, apart=-0.4e3)).interval == "−0.4 ± 17 kW"
    bare = figure(12.004, "s", "s", "", "time")
    assert told(cell(bare, apart=-0.004)).text == "12.004 s"


def test_a_state_is_a_word() -> None:
    off, on = (figure(v, "1", "state", "", "state") for v in (0.0, 1.0))
    assert told(cell(off, ("no chip", "chip"))).text == "no chip"
    assert told(cell(on, ("no chip", "chip"))).text == "chip"


@pytest.mark.parametrize(("p", "text"), [(0.99996, "> 99.9 %"), (0.0, "< 0.1 %"), (0.627, "62.7 %")])
def test_a_probability_never_rounds_to_certainty(p: float, text: str) -> None:
    assert percent(p) == text


def test_numbers_have_a_true_minus_and_no_minus_zero() -> None:
    assert number(-1234.5, 1) == "−1\u202f234.5"
    assert number(-0.04, 1) == "0.0"
    assert number(float("nan"), 1) == "–"
    assert clock(4305.4) == "1:11:45"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(8.3427e-8, "kg/J", "8.3427e−08 kg/J"), (285.738411, "K", "285.7384 K"), (0.9963, "1", "0.9963")],
)
def test_an_input_keeps_seven_digits(value: float, unit: str, text: str) -> None:
    assert input_text(Input(name="x", value=value, unit=unit, origin="sheet")) == text


def test_second_unit_of_a_figure_without_one_is_its_own() -> None:
    assert str(shown(figure(100.0, "rpm", "rpm", "", "speed", 1.0), second=True)) == "100.0 rpm"
