"""Verdicts by hand-made readings. Probabilities: JCGM 106:2012, 7.2 (normal, one limit)."""

from __future__ import annotations

import math

import pytest
from judged_corrie import around, channel_reading, corrie, not_made, power_limit, reading

from spoolwright.core.measurement.prior import Prior
from spoolwright.core.reduction.estimate import SCATTER
from spoolwright.crafts.testcell.model import Finding, GateState, Verdict
from spoolwright.crafts.testcell.reading import Excursion, ScalarReading, Share
from spoolwright.crafts.testcell.rules.verdict import Judging, judge, worst_of
from spoolwright.crafts.typefile.limit import Limit


def verdict(limit: Limit, of: ScalarReading, by: Judging | None = None) -> Verdict:
    found = judge(limit, of, by or around())
    assert found is not None
    return found


def test_a_reading_inside_meets_and_names_document_revision_paragraph() -> None:
    v = verdict(power_limit(), reading(950.0, 4.0))
    assert v.outcome == "meets"
    assert v.sentence.startswith(
        "Reading 950 kW meets 'Power at rated MGT, take-off', at least 940 kW (ATS-940"
    )
    assert "revision" in v.sentence and "paragraph 6.1" in v.sentence
    assert "probability that the true value conforms 99.4 %" in v.sentence
    assert v.margin is not None and v.margin.value == pytest.approx(10e3)
    assert v.prior == "none"


@pytest.mark.parametrize(("over", "expected"), [(0.2, 0.6915), (0.4, 0.8413), (0.66, 0.9505), (0.8, 0.9772)])
def test_probability_of_conforming(over: float, expected: float) -> None:
    # Standard uncertainty 0.4 % of the limit; Phi(0.5), Phi(1), Phi(1.65), Phi(2) of the normal distribution.
    v = verdict(power_limit(1000.0), reading(1000.0 + 10.0 * over, 4.0))
    assert v.probability_conforming == pytest.approx(expected, abs=5e-5)
    assert v.consumer_risk == pytest.approx(1.0 - expected, abs=5e-5)
    assert v.producer_risk is None


def test_a_reading_outside_does_not_meet_however_small_the_miss() -> None:
    v = verdict(power_limit(), reading(939.99, 4.0))
    assert v.outcome == "does_not_meet" and "does not meet" in v.sentence
    assert "939.99 kW" in v.sentence
    assert v.producer_risk == pytest.approx(0.499, abs=1e-3) and v.consumer_risk is None


def test_inside_the_guard_band_cannot_be_told() -> None:
    limit = power_limit(guard_consumer_risk=0.05)
    inside, beyond = verdict(limit, reading(950.0, 4.0)), verdict(limit, reading(945.0, 4.0))
    assert inside.outcome == "meets"
    # Guard band 1.645 u: JCGM 106:2012, 8.3.2 and table of the normal distribution.
    assert inside.acceptance_limit is not None
    assert inside.acceptance_limit.value == pytest.approx(940e3 + 1.6449 * 4e3, abs=1.0)
    assert beyond.outcome == "cannot_tell" and beyond.why and beyond.next_step
    assert verdict(limit, reading(939.0, 4.0)).outcome == "does_not_meet"


def test_a_prior_is_printed_and_changes_no_outcome() -> None:
    prior = Prior("normal", 960e3, 8e3, "40 engines, invented")
    v = verdict(power_limit(), reading(939.0, 4.0), around(priors={"least_power": prior}))
    assert v.outcome == "does_not_meet" and "40 engines" in v.prior
    # Normal prior times normal likelihood: posterior N(mean, 1 / weight) in closed form.
    weight = 1 / 8e3**2 + 1 / 4e3**2
    mean = (960e3 / 8e3**2 + 939e3 / 4e3**2) / weight
    expected = 0.5 * math.erfc(-(mean - 940e3) * math.sqrt(weight) / math.sqrt(2.0))
    assert v.probability_conforming == pytest.approx(expected, abs=1e-6)


def test_a_prior_that_excludes_the_reading_is_left_aside_and_said_so() -> None:
    prior = Prior("normal", 1200e3, 1e3, "40 engines, invented")
    v = verdict(power_limit(), reading(939.0, 4.0), around(priors={"least_power": prior}))
    assert v.outcome == "does_not_meet" and "not used" in v.prior
    assert v.probability_conforming == pytest.approx(0.4013, abs=5e-5)  # Phi(-0.25)


def test_a_reading_that_was_not_made_cannot_be_told() -> None:
    v = verdict(power_limit(), not_made())
    assert v.outcome == "cannot_tell" and v.reading is None
    assert "nothing was recorded" in v.sentence and v.next_step == "Record it."


def finding(corrected_by: str = "") -> Finding:
    return Finding(
        id="f1",
        run="1",
        kind="bias",
        channels=("torque",),
        text="Torque reads 3 % low.",
        mend="Check the zero.",
        bars_use=True,
        corrected_by=corrected_by,
    )


def test_an_open_doubt_bars_the_verdict_until_someone_signs() -> None:
    of = reading(950.0, 4.0, findings=("f1",))
    barred = verdict(power_limit(), of, around(findings={"f1": finding()}))
    assert barred.outcome == "cannot_tell" and "3 % low" in barred.sentence and barred.reading is not None
    assert "f1" in barred.rests_on
    assert verdict(power_limit(), of, around(findings={"f1": finding("M. Oakden")})).outcome == "meets"


def gate() -> GateState:
    return GateState(
        gate="wind", name="Wind", run="1", state="fails", text="wind 12 m/s", mend="Wait.", source="ATS-940"
    )


def test_a_failed_gate_bars_performance_and_nothing_else() -> None:
    by = around(gates=(gate(),))
    barred = verdict(power_limit(), reading(950.0, 4.0), by)
    assert barred.outcome == "cannot_tell" and barred.next_step == "Wait." and "wind" in barred.rests_on
    limit = next(x for x in corrie().limit if x.id == "oil_temperature")
    assert verdict(limit, channel_reading("t_oil", "steady", 350.0, 0.5, "K"), by).outcome == "meets"


def test_a_limit_over_another_channel() -> None:
    limit = next(x for x in corrie().limit if x.curve is not None)
    assert limit.curve is not None
    x, y = limit.curve.points[1]
    at = {limit.curve.of: x, **{c.channel: 358.15 for c in limit.valid_when}}
    of = channel_reading(limit.quantity, limit.regime, 1e3 * y + 5e3, 1e3, "Pa", conditions=at)
    v = verdict(limit, of)
    assert limit.unit == "kPag" and v.limit_value is not None
    assert v.limit_value.value == pytest.approx(1e3 * y)
    unknown = channel_reading(limit.quantity, limit.regime, 1e3 * y, 1e3, "Pa")
    assert verdict(limit, unknown).outcome == "cannot_tell"


def test_a_limit_that_does_not_hold_at_a_reading_gives_no_verdict() -> None:
    limit = next(x for x in corrie().limit if x.valid_when)
    window = limit.valid_when[0]
    assert window.min is not None or window.max is not None
    outside = -1e6 if window.min is not None else 1e6
    of = channel_reading(limit.quantity, limit.regime, 1.0, 0.1, "Pa", conditions={window.channel: outside})
    assert judge(limit, of, around()) is None


def timed(seconds: float) -> ScalarReading:
    limit = next(x for x in corrie().limit if x.time_at)
    level = limit.time_at[0].value + 273.15
    return channel_reading(
        limit.quantity, limit.regime, level + 10.0, 1.5, "K", excursions=(Excursion(level, seconds, 0.1),)
    )


def test_time_at_temperature_counts_seconds_not_degrees() -> None:
    limit = next(x for x in corrie().limit if x.time_at)
    allowed = limit.time_at[0].seconds
    met, exceeded = verdict(limit, timed(allowed - 1.0)), verdict(limit, timed(allowed + 1.0))
    assert met.outcome == "meets" and exceeded.outcome == "does_not_meet"
    assert exceeded.reading is not None and exceeded.reading.dimension == "time"
    assert exceeded.reading.value == pytest.approx(allowed + 1.0)


def test_the_worst_reading_decides() -> None:
    limit = power_limit()
    found = [verdict(limit, reading(v, 4.0, point=str(v))) for v in (960.0, 930.0, 950.0)]
    assert worst_of(found).point == "930.0"
    assert {"960.0", "930.0", "950.0"} <= set(worst_of(found).rests_on)
    sure = [verdict(limit, reading(v, 0.1, point=str(v))) for v in (1960.0, 1950.0)]
    assert worst_of(sure).point == "1950.0"


def test_the_next_step_repeats_the_point_where_scatter_dominates() -> None:
    limit = power_limit(guard_consumer_risk=0.05)
    shares = (Share(SCATTER, 4e3), Share("torquemeter", 1e3))
    v = verdict(limit, reading(944.0, math.hypot(4.0, 1.0), shares=shares))
    assert v.outcome == "cannot_tell" and "Repeat the point" in v.next_step
    # u needed = 4 / 1.6449 = 2.432 kW; n >= 16 / (2.432^2 - 1) = 3.25
    assert "4 in all" in v.next_step


def test_the_next_step_names_the_instrument_where_systematics_dominate() -> None:
    limit = power_limit(guard_consumer_risk=0.05)
    shares = (Share(SCATTER, 0.5e3), Share("torquemeter", 4e3), Share("barometer", 0.3e3))
    v = verdict(limit, reading(945.0, math.sqrt(0.25 + 16.0 + 0.09), shares=shares))
    # u needed = 5 / 1.6449 = 3.040; torquemeter may have sqrt(3.040^2 - 0.34) = 2.98 kW
    assert "'torquemeter' from 4 kW to 3 kW" in v.next_step
