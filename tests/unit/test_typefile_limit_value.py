"""What a limit asks, at the edges of its windows, curves and exceptions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.crafts.typefile.limit_value import limit_at, limit_over
from spoolwright.crafts.typefile.model import Limit

SOURCE = {"document": "D", "paragraph": "1"}
BASE: dict[str, Any] = {
    "id": "x",
    "name": "x",
    "quantity": "p_oil",
    "bound": "max",
    "regime": "steady",
    "unit": "kPag",
    "sets": ("new",),
    "action": "look",
    "source": SOURCE,
}
CURVE = {"of": "ng", "x_unit": "rpm", "points": ((20000, 100), (30000, 200), (40000, 220))}
WARM = {"channel": "t_oil", "min": 70, "max": 100, "unit": "degC"}
COLD = {
    "note": "cold oil",
    "when": ({"channel": "t_oil", "max": 45, "unit": "degC"},),
    "value": 860,
    "for_seconds": 240,
}
K = 273.15


def limit(**fields: Any) -> Limit:
    return Limit.model_validate({**BASE, **fields})


def test_a_plain_value_comes_in_inner_units() -> None:
    at = limit_at(limit(value=520), {})
    assert (at.state, at.value, at.unit) == ("applies", 520e3, "Pa")
    assert limit_at(limit(quantity="mgt", unit="degF", value=212), {}).value == pytest.approx(
        373.15, abs=1e-9
    )


@pytest.mark.parametrize(
    ("speed", "value"),
    [(20000, 100e3), (25000, 150e3), (30000, 200e3), (35000, 210e3), (40000, 220e3)],
)
def test_a_curve_of_lines_goes_through_its_corners(speed: float, value: float) -> None:
    assert limit_at(limit(bound="min", curve=CURVE), {"ng": speed}).value == pytest.approx(value)


@pytest.mark.parametrize("speed", [np.nextafter(20000, 0), np.nextafter(40000, 1e9), 0.0])
def test_a_curve_of_lines_says_nothing_beyond_its_corners(speed: float) -> None:
    at = limit_at(limit(curve=CURVE), {"ng": speed})
    assert (at.state, at.value) == ("does_not_apply", None)
    assert "from 20000 to 40000 rpm" in at.why


@pytest.mark.parametrize(
    ("speed", "value"), [(20000, 100e3), (29999.9, 100e3), (30000, 200e3), (40000, 220e3), (90000, 220e3)]
)
def test_a_curve_of_steps_holds_from_each_corner_on(speed: float, value: float) -> None:
    at = limit_at(limit(curve={**CURVE, "between": "step"}), {"ng": speed})
    assert at.value == pytest.approx(value)


def test_a_curve_of_steps_says_nothing_before_its_first_corner() -> None:
    at = limit_at(limit(curve={**CURVE, "between": "step"}), {"ng": 19999.0})
    assert not at.applies and at.why.endswith("not at 19999")


@pytest.mark.parametrize(
    ("celsius", "state"),
    [(70.0, "applies"), (100.0, "applies"), (69.999, "does_not_apply"), (100.001, "does_not_apply")],
)
def test_a_window_includes_its_ends(celsius: float, state: str) -> None:
    at = limit_at(limit(value=1, valid_when=(WARM,)), {"t_oil": celsius + K})
    assert at.state == state
    assert at.applies or ("at least 70 degC and at most 100 degC" in at.why and "it reads" in at.why)


def test_a_missing_reading_leaves_it_open() -> None:
    x = limit(value=1, valid_when=(WARM,))
    assert limit_at(x, {}).state == limit_at(x, {"t_oil": float("nan")}).state == "cannot_tell"
    assert "no reading" in limit_at(x, {}).why
    assert limit_at(limit(curve=CURVE), {}).state == "cannot_tell"


def test_a_window_that_fails_settles_it_whatever_else_is_missing() -> None:
    both = (WARM, {"channel": "ng", "min": 30000, "unit": "rpm"})
    at = limit_at(limit(value=1, valid_when=both), {"ng": 20000.0})
    assert at.state == "does_not_apply" and "'ng'" in at.why and "t_oil" not in at.why


def test_a_limit_of_times_alone_holds_but_has_no_value() -> None:
    at = limit_at(limit(time_at=({"value": 400, "seconds": 10},)), {})
    assert at.applies and at.value is None


@pytest.mark.parametrize(
    ("celsius", "seconds", "value"),
    [(45.0, 0.0, 860e3), (45.0, 240.0, 860e3), (45.0, 240.1, 520e3), (45.1, 0.0, 520e3)],
)
def test_an_exception_holds_to_its_edges(celsius: float, seconds: float, value: float) -> None:
    at = limit_at(limit(value=520, exceptions=(COLD,)), {"t_oil": celsius + K}, seconds)
    assert at.value == value
    assert (at.exception is not None) == (value == 860e3)


def test_an_exception_is_not_granted_on_a_missing_reading() -> None:
    assert limit_at(limit(value=520, exceptions=(COLD,)), {}).value == 520e3


def test_the_loosest_of_two_exceptions_holds() -> None:
    looser = {
        **COLD,
        "note": "very cold oil",
        "value": 900,
        "when": ({"channel": "t_oil", "max": 10, "unit": "degC"},),
    }
    for order in ((COLD, looser), (looser, COLD)):
        at = limit_at(limit(value=520, exceptions=order), {"t_oil": 5 + K})
        assert at.value == 900e3 and at.why == "by exception: very cold oil"


def test_along_a_run_an_exception_ends_after_its_time_and_starts_anew() -> None:
    time = np.arange(0.0, 601.0, 1.0)
    oil = np.full(time.size, 30.0 + K)
    oil[300] = 50.0 + K  # warm for one second: the next cold stretch counts from its own beginning
    over = limit_over(limit(value=520, exceptions=(COLD,)), {"t_oil": oil}, time)
    high = over.value == 860e3
    assert high[:241].all() and not high[241:301].any()
    assert high[301:542].all() and not high[542:].any()
    assert (over.excused[high] == 0).all() and (over.excused[~high] == -1).all()
    assert over.applies.all() and not over.unknown.any()


def test_along_a_run_an_empty_recording_is_no_trouble() -> None:
    over = limit_over(limit(value=520, exceptions=(COLD,)), {"t_oil": np.zeros(0)}, np.zeros(0))
    assert over.value.shape == (0,)


@given(
    st.floats(0, 50000),
    st.floats(-50, 200),
    st.booleans(),
    st.sampled_from(["linear", "step"]),
    st.floats(0, 500),
)
def test_at_a_moment_and_along_a_run_agree(
    speed: float, oil: float, least: bool, between: str, lasted: float
) -> None:
    """The two ways of asking are one: a run of constant readings says at its end what the moment says."""
    exception = {**COLD, "value": 50 if least else 860}
    x = limit(
        bound="min" if least else "max", curve={**CURVE, "between": between}, exceptions=(exception,),
        valid_when=({"channel": "t_oil", "min": -20, "max": 150, "unit": "degC"},),
    )  # fmt: skip
    readings = {"ng": speed, "t_oil": oil + K}
    at = limit_at(x, readings, lasted)
    arrays = {k: np.full(2, v) for k, v in readings.items()}
    over = limit_over(x, arrays, np.array([0.0, lasted]))
    assert bool(over.applies[1]) == at.applies
    assert (at.value is None and np.isnan(over.value[1])) or at.value == over.value[1]
