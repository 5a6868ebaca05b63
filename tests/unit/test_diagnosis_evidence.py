"""What is said for and against a cause, groups, and readings beside the gas path.

Oracles: scipy's multivariate normal density, numerical integration, scipy's median absolute deviation,
Bayes' rule written out in full, and a collinearity known beforehand (exhaust pressure and power turbine
efficiency, unless p45 or T5 is read).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from diagnosed_corrie import prepared, rig_runs, visit_run, without
from scipy import integrate, stats

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weighing
from spoolwright.core.diagnosis.weighing import Explanation, Sized
from spoolwright.crafts.testcell.diagnosis import mechanical
from spoolwright.crafts.testcell.diagnosis.inseparable import groups_of
from spoolwright.crafts.testcell.diagnosis.mechanical import (
    MECHANICAL,
    SHOWS,
    Seen,
    Shows,
    joined_weighing,
    log_factor,
)
from spoolwright.crafts.testcell.diagnosis.other_readings import FleetReading, fleet_of
from spoolwright.crafts.testcell.diagnosis.service import diagnosed
from spoolwright.crafts.testcell.diagnosis.speaking import effect, evidence, shares, sized
from spoolwright.crafts.testcell.diagnosis.telling import misfit
from spoolwright.crafts.testcell.diagnosis.visit_read import visit_read
from spoolwright.crafts.testcell.service import no_doubts

FLEET = FleetReading(0.0, 0.1, 20)


@pytest.fixture(scope="module")
def weighing() -> Weighing:
    (run,) = rig_runs(1, 81_000, {"bleed_leak": 2.0})
    read = visit_read([visit_run(run)], prepared().kind.basis, no_doubts)
    (found,) = prepared().weigher.weigh([EngineCase(read.observations)])
    return found


def test_shares_of_the_outputs_add_up_to_the_likelihood_ratio(weighing: Weighing) -> None:
    f = effect(weighing, sized(weighing, "bleed_leak"))
    zero = np.zeros_like(f)
    normal = stats.multivariate_normal
    whole = normal.logpdf(weighing.surprise, f, weighing.covariance) - normal.logpdf(
        weighing.surprise, zero, weighing.covariance
    )
    told = shares(weighing, weighing.surprise[None], f[None])
    assert sum(float(w[0]) for w in told.values()) == pytest.approx(whole, rel=1e-8)
    assert whole > 5.0


def test_evidence_is_told_the_weightiest_first(weighing: Weighing) -> None:
    told = evidence(weighing, ["bleed_leak"])["bleed_leak"]
    assert [abs(e.weight) for e in told] == sorted((abs(e.weight) for e in told), reverse=True)
    assert "against the average engine" in told[0].seen


def test_the_misfit_is_the_tail_of_chi_square(weighing: Weighing) -> None:
    best = weighing.explanations[0]
    left = weighing.surprise - sum(effect(weighing, s) for s in best.causes)
    square = left @ np.linalg.solve(weighing.covariance, left)
    expected = 1.0 - stats.chi2.cdf(square, left.size - len(best.causes))
    assert misfit(weighing) == pytest.approx(expected, abs=1e-9)


def test_causes_known_to_be_collinear_are_one_group() -> None:
    (run,) = rig_runs(1, 81_100, {"power_turbine_efficiency": 3.0})
    d = diagnosed([without(visit_run(run), "t5", "p45")], prepared())
    group = d.groups[0]
    assert {"power_turbine_efficiency", "exhaust_back_pressure"} <= set(group.causes)
    assert d.outcome == "group_found" and group.probability > 0.9
    assert "at the size that fits differs" in group.reason


def test_a_cause_that_stands_alone_is_in_no_group(weighing: Weighing) -> None:
    assert not any("bleed_leak" in g.causes for g in groups_of(weighing))


# readings beside the gas path


def seen(out: float, alike: int = 1, engines: int = 20) -> Seen:
    return Seen("vib", 0.0, out, FleetReading(0.0, 0.1, engines), alike)


@pytest.mark.parametrize("alike", [1, 4])
def test_what_a_sound_reading_does_is_a_density(alike: int) -> None:
    sound, _ = integrate.quad(
        lambda x: mechanical._densities(x, alike, 7.0)[0], -40, 40, points=[-15, 15], limit=400
    )
    assert sound == pytest.approx(1.0, abs=2e-3)


def test_what_a_shifted_reading_does_is_a_density() -> None:
    shifted, _ = integrate.quad(lambda x: mechanical._densities(x, 1, 7.0)[1], -60, 80, limit=400)
    assert shifted == pytest.approx(1.0, abs=1e-3)


def test_a_reading_says_little_where_it_is_usual_and_never_too_much() -> None:
    shows = [Shows("vib", 1, 0.3)]
    assert log_factor(seen(0.0), shows) == pytest.approx(math.log(0.7), abs=0.12)
    assert log_factor(seen(-2.0), shows) == pytest.approx(math.log(0.7), abs=0.02)
    factors = [log_factor(seen(x), shows) for x in (2.0, 4.0, 8.0, 14.0)]
    assert factors[0] < factors[1] < factors[2]
    assert log_factor(seen(300.0), shows) == pytest.approx(log_factor(seen(13.0), shows))
    assert log_factor(seen(300.0), shows) > factors[1]
    assert max(factors) < math.log(2.0 * mechanical._WIDE / mechanical.STRAY)
    assert log_factor(seen(8.0), [Shows("vib", -1, 0.3)]) == pytest.approx(math.log(0.7), abs=0.02)


def test_scatter_is_trusted_as_far_as_it_is_known() -> None:
    few, many = (log_factor(seen(4.0, engines=n), [Shows("vib", 1, 0.9)]) for n in (6, 60))
    assert few < many


def explanation(p: float, *ids: str) -> Explanation:
    return Explanation(tuple(Sized(Cause(i, i, "module", "m", "%"), 1.0, 0.5, 1.5) for i in ids), p, 0.0)


def test_gas_path_and_mechanical_faults_are_weighed_together_by_bayes_rule() -> None:
    gas = [explanation(0.6), explanation(0.3, "compressor_erosion"), explanation(0.1, "turbine_clearance")]
    out = Seen("vib", 0.0, 5.0, FLEET)
    joined = joined_weighing(gas, {"vibration": out})
    none = 1.0 - sum(m.prior for m in MECHANICAL)
    table = {}
    for e in gas:
        for m in (None, *MECHANICAL):
            gas_path = [s for i in e.ids for s in SHOWS.get(i, ()) if s.reading == "vibration"]
            own = [s for s in (m.shows if m else ()) if s.reading == "vibration"]
            ratio = math.exp(log_factor(out, [*gas_path, *own])) if gas_path or own else 1.0
            if not own:
                ratio = min(ratio, 10.0)
            table[e.ids, m.id if m else ""] = e.probability * (m.prior if m else none) * ratio
    total = sum(table.values())
    assert joined.healthy == pytest.approx(table[(), ""] / total, rel=1e-12)
    for m in MECHANICAL:
        own = sum(p for (_, k), p in table.items() if k == m.id)
        assert joined.mechanical[m.id] == pytest.approx(own / total, rel=1e-12)
    assert sum(e.probability for e in joined.explanations) == pytest.approx(1.0)
    assert joined.mechanical["unbalance"] > 0.5


def test_without_other_readings_the_gas_path_stands_as_it_was() -> None:
    gas = [explanation(0.7), explanation(0.3, "bleed_leak")]
    joined = joined_weighing(gas, {})
    assert [e.probability for e in joined.explanations] == pytest.approx([0.7, 0.3])


def test_middle_and_scatter_of_a_fleet_are_robust() -> None:
    """Against numpy's and scipy's; one wild engine in twelve is drawn in."""
    x = np.random.default_rng(5).normal(2.0, 0.1, 12)

    def fleet(values: np.ndarray) -> FleetReading:
        return fleet_of({f"E{i}": [{"coast_down_time": math.exp(v)}] for i, v in enumerate(values)})[
            "coast_down_time"
        ]

    tidy = fleet(x)
    assert (tidy.middle, tidy.scatter) == pytest.approx((np.median(x), np.std(x, ddof=1)), rel=1e-9)
    wild = np.append(x[:-1], 9.0)
    far = 3.0 * float(stats.median_abs_deviation(wild, scale="normal"))
    drawn_in = np.append(x[:-1], np.median(wild) + far)
    assert fleet(wild).scatter == pytest.approx(np.std(drawn_in, ddof=1), rel=1e-4)
    assert fleet(wild).engines == 12
    few = {f"E{i}": [{"coast_down_time": 30.0}] for i in range(4)}
    assert fleet_of(few) == {}


def test_a_rotor_out_of_balance_is_a_suspect_of_its_own() -> None:
    """Planted in the rig: three times the vibration; no gas path shows it."""
    (run,) = rig_runs(1, 81_200, {"unbalance": 200.0})
    d = diagnosed([visit_run(run)], prepared())
    assert (d.suspects[0].id, d.suspects[0].kind) == ("unbalance", "mechanical")
    assert d.healthy < 0.03 and d.outcome == "cause_found", d.sentence
    assert d.suspects[0].evidence_for[0].what.startswith("Vibration")
    (sound,) = rig_runs(1, 81_200)
    assert "unbalance" not in {s.id for s in diagnosed([visit_run(sound)], prepared()).suspects}
