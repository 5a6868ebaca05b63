"""A reading against its limit, in exact arithmetic; the outside source stands beside each check."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.crafts.cards.calc import (
    converted,
    counterpart,
    judge_entered,
    read_value,
    recompute_reading,
)
from spoolwright.errors import InputError


def test_both_ends_of_a_limit_belong_to_it() -> None:
    for entered, wanted in (
        ("0.28", "meets"),
        ("0.52", "meets"),
        ("0.2799", "does not meet"),
        ("0.5201", "does not meet"),
    ):
        assert judge_entered(entered, "mm", 0.28, 0.52, "mm")["verdict"] == wanted


def test_a_value_in_another_unit_is_compared_exactly() -> None:
    # 1 in = 25.4 mm exactly (NIST SP 811 B.8): 0.5 in is 12.7 mm, neither above nor below a limit of 12.7 mm.
    assert judge_entered("0.5", "in", 12.7, 12.7, "mm")["verdict"] == "meets"
    assert judge_entered("300", "um", 0.3, None, "mm")["verdict"] == "meets"
    assert judge_entered("299.999", "um", 0.3, None, "mm")["verdict"] == "does not meet"
    # 32 degF is 0 degC, 212 degF is 100 degC, by definition.
    assert judge_entered("32", "degF", 0.0, 0.0, "degC")["verdict"] == "meets"
    assert judge_entered("212", "degF", None, 100.0, "degC")["verdict"] == "meets"
    assert judge_entered("212.001", "degF", None, 100.0, "degC")["verdict"] == "does not meet"


def test_without_a_limit_there_is_no_verdict() -> None:
    assert judge_entered("12", "um", None, None, "um") == {"verdict": "no limit", "value": 12.0}


@pytest.mark.parametrize("entered", ["0,35", "1e3", "", "nan", "12 mm", "1.2.3", "--1", "٣"])
def test_what_is_not_a_plain_number_is_refused(entered: str) -> None:
    with pytest.raises(InputError):
        judge_entered(entered, "mm", 0.0, 1.0, "mm")


def test_a_unit_of_another_quantity_is_refused() -> None:
    with pytest.raises(InputError, match="unit of torque"):
        judge_entered("22", "N m", 0.0, 1.0, "mm")


@pytest.mark.parametrize("unit", ["mm", "um", "N m", "mm2", "kPag", "degC", "kg", "L"])
def test_the_other_unit_shows_the_same_value(unit: str) -> None:
    spelled = {"N m": "N*m", "lbf in": "lbf*inch", "mm2": "mm**2", "in2": "inch**2", "in": "inch",
               "mil": "thou", "kPag": "kPa", "psig": "psi", "US qt": "quart", "L": "liter"}  # fmt: skip
    other = counterpart(unit)
    ureg = pint.UnitRegistry()
    ours = converted("21.5", unit, other)
    theirs = ureg.Quantity(21.5, spelled.get(unit, unit)).to(spelled.get(other, other)).magnitude
    assert ours == pytest.approx(theirs, rel=1e-9)


@given(st.decimals(min_value=-1000, max_value=1000, places=4, allow_nan=False))
def test_what_is_written_is_read_as_written_and_recomputes(value: object) -> None:
    text = f"{value:f}"
    assert read_value(text) == Fraction(text)
    inputs = {"entered": text, "unit": "mm", "least": -1.5, "most": 20.25, "limit_unit": "mm"}
    first = judge_entered(**inputs)  # type: ignore[arg-type]
    assert recompute_reading(inputs, lambda _: b"") == first
    inside = Fraction("-1.5") <= Fraction(text) <= Fraction("20.25")
    assert (first["verdict"] == "meets") == inside
