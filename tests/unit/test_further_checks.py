"""Further data of a weighed run against plain linear algebra, and the ranking against known physics.

Sources: the covariance of two blocks of normal data and the chain rule of the squared distance (any text on
the normal distribution; checked here with NumPy on the whole matrix); worn power turbine and exhaust back
pressure are exactly alike in what a turboshaft shows without a probe behind the power turbine (choked gas
generator turbine: cosine 1.000 in an influence matrix computed with Cantera for a generic engine, see
docs/explanation/next-check.md).
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from weighed_run import WeighedRun, weighed_run

from spoolwright.core.diagnosis.further import Further, Planner, Probe
from spoolwright.core.diagnosis.sampling import cloud_of
from spoolwright.core.diagnosis.weighing import Explanation, Sized
from spoolwright.crafts.testcell.diagnosis.check_table import CheckTable
from spoolwright.crafts.testcell.diagnosis.checks import ranked_checks
from spoolwright.crafts.testcell.diagnosis.model import Check
from spoolwright.crafts.testcell.diagnosis.reopening import ReopeningTable, opened, reopening
from spoolwright.sources.check_table import read_check_table, shipped_check_table
from spoolwright.sources.cost_table import read_reopening_table, shipped_reopening_table

PROBE = Probe("p5", 0.003, 0.0006)


def known_causes(run: WeighedRun) -> list[str]:
    return [c.id for c in run.weighing.causes]


def tables(run: WeighedRun) -> tuple[CheckTable, ReopeningTable]:
    causes = known_causes(run)
    checks = read_check_table(shipped_check_table(), causes, list(run.weigher.names))
    return checks, read_reopening_table(shipped_reopening_table(), causes)


def with_explanations(run: WeighedRun, probable: dict[tuple[str, ...], float], size: float) -> WeighedRun:
    """The run with a posterior of our own: sizes stay those that the data give."""
    cause = {c.id: c for c in run.weighing.causes}
    made = tuple(
        Explanation(tuple(Sized(cause[i], size, 0.5 * size, 2.0 * size) for i in ids), p, 3.0)
        for ids, p in probable.items()
    )
    return WeighedRun(run.weigher, replace(run.weighing, explanations=made))


@pytest.fixture(scope="module")
def worn() -> WeighedRun:
    run = weighed_run("power_turbine_efficiency", 5.0)
    two = {("power_turbine_efficiency",): 0.5, ("exhaust_back_pressure",): 0.5}
    return with_explanations(run, two, 4.0)


@pytest.fixture(scope="module")
def ranked(worn: WeighedRun) -> dict[str, Check]:
    return {c.id: c for c in ranked_checks(worn.weighing, worn.weigher, *tables(worn))}


def plans(planner: Planner) -> dict[str, Further]:
    settings = planner.at_settings([0.9, 0.95])
    assert settings is not None
    return {
        "repeat": planner.repeated(),
        "settings": settings,
        "probe": planner.with_probes([PROBE])[PROBE],
        "calibration": planner.calibration("torque", 0.3),
    }


@pytest.mark.parametrize("name", ["repeat", "settings", "probe", "calibration"])
def test_distance_in_all_data_is_that_seen_and_that_of_further_data(worn: WeighedRun, name: str) -> None:
    planner, cloud = Planner(worn.weigher, worn.weighing), cloud_of(worn.weighing)
    further = plans(planner)[name]
    seen = worn.weighing.covariance
    whole = np.block([[seen, further.with_seen.T], [further.with_seen, further.own]])
    assert np.linalg.eigvalsh(whole / np.sqrt(np.outer(np.diag(whole), np.diag(whole)))).min() > -1e-9
    before = planner.before.of(cloud)
    effect = np.concatenate([before, further.effects.of(cloud)], axis=1)
    a, b = effect[0] - effect[-1], before[0] - before[-1]
    expected = a @ np.linalg.solve(whole, a) - b @ np.linalg.solve(seen, b)
    means = planner.means(cloud, further)
    distance = float(np.sum((means[0] - means[-1]) ** 2))
    assert distance == pytest.approx(expected, rel=1e-4, abs=1e-6)


def test_a_repeat_at_the_settings_of_the_run_is_the_repeated_run(worn: WeighedRun) -> None:
    """The model solved anew at the run's own speeds gives the effects and covariances that the run had."""
    planner = Planner(worn.weigher, worn.weighing)
    speeds = np.exp(planner.last.speed)
    again, repeated = planner.at_settings(speeds), planner.repeated()
    assert again is not None
    assert np.allclose(again.effects.slopes, repeated.effects.slopes, rtol=1e-5, atol=1e-8)
    assert np.allclose(again.with_seen, repeated.with_seen, rtol=1e-5, atol=1e-10)
    assert np.allclose(again.own, repeated.own, rtol=1e-5, atol=1e-10)


def test_a_perfect_wash_leaves_nothing_of_fouling(worn: WeighedRun) -> None:
    planner = Planner(worn.weigher, worn.weighing)
    fouled = with_explanations(worn, {("compressor_fouling",): 1.0}, 3.0)
    cloud = cloud_of(fouled.weighing)
    left = np.array([0.0 if c.id == "compressor_fouling" else 1.0 for c in worn.weighing.causes])
    assert np.all(planner.repeated().effects.of(cloud, left) == 0.0)
    assert np.abs(planner.repeated().effects.of(cloud)).max() > 0.001


def test_an_exact_calibration_finds_the_wrong_reading_in_its_steps(worn: WeighedRun) -> None:
    planner = Planner(worn.weigher, worn.weighing)
    effects = planner.calibration("torque", 0.2).effects
    of = [c.id for c in worn.weighing.causes].index("reading:torque")
    assert effects.slopes[of, 0] == 1.0
    assert np.count_nonzero(effects.slopes) == 1


def test_a_looser_calibration_leaves_more_open(worn: WeighedRun) -> None:
    planner = Planner(worn.weigher, worn.weighing)
    own = [planner.calibration("torque", r).own[0, 0] for r in (0.1, 0.4, 0.8)]
    assert own == sorted(own)


def test_only_a_probe_behind_the_power_turbine_tells_it_from_the_exhaust(ranked: dict[str, Check]) -> None:
    assert ranked["exhaust_pressure_probe"].information > 0.6
    repeat = ranked["repeat_run"].information if "repeat_run" in ranked else 0.0
    assert repeat < 0.2
    assert "exhaust_temperature_probe" not in ranked  # T5 was recorded
    assert "Power turbine worn" in ranked["exhaust_pressure_probe"].why
    assert "Exhaust back pressure high" in ranked["exhaust_pressure_probe"].why


def test_an_inspection_of_one_of_two_causes_has_the_closed_form(ranked: dict[str, Check]) -> None:
    """Shipped table: sensitivity 0.75, specificity 0.97, both causes as probable: H(0.39) - mean of H(p)."""
    h = [-p * np.log2(p) - (1 - p) * np.log2(1 - p) for p in (0.5 * (0.75 + 0.03), 0.75, 0.03)]
    assert ranked["exhaust_inspection"].information == pytest.approx(h[0] - 0.5 * (h[1] + h[2]), abs=1e-9)


def test_ranking_is_by_information_over_hours_and_money(worn: WeighedRun) -> None:
    checks, costs = tables(worn)
    found = ranked_checks(worn.weighing, worn.weigher, checks, costs)
    assert [c.per_hour for c in found] == sorted((c.per_hour for c in found), reverse=True)
    for c in found:
        hours = c.hours + c.cost / checks.hourly_rate
        assert c.per_hour == pytest.approx(c.information / hours, rel=1e-12)


def test_causes_that_ask_for_the_same_work_need_no_telling_apart(worn: WeighedRun) -> None:
    checks, costs = tables(worn)
    same = {("compressor_erosion",): 0.5, ("compressor_clearance",): 0.5}
    one = with_explanations(worn, same, 3.0)
    assert ranked_checks(one.weighing, one.weigher, checks, costs) == ()
    apart = {("compressor_fouling",): 0.5, ("compressor_clearance",): 0.5}
    two = with_explanations(worn, apart, 3.0)
    assert ranked_checks(two.weighing, two.weigher, checks, costs) != ()


def test_the_same_run_is_ranked_the_same_again(worn: WeighedRun, ranked: dict[str, Check]) -> None:
    again = ranked_checks(worn.weighing, worn.weigher, *tables(worn))
    assert {c.id: c for c in again} == ranked


def test_a_ranking_takes_half_a_second_of_one_core(worn: WeighedRun) -> None:
    both = tables(worn)
    taken = []
    for _ in range(3):
        start = time.process_time()
        ranked_checks(worn.weighing, worn.weigher, *both)
        taken.append(time.process_time() - start)
    assert min(taken) < 0.5


def test_every_cause_has_its_work(worn: WeighedRun) -> None:
    _, costs = tables(worn)
    for cause in known_causes(worn):
        assert reopening(cause, costs) is not None, cause
    assert reopening("nothing_of_the_kind", costs) is None
    wash = reopening("compressor_fouling", costs)
    assert wash is not None and wash.id == "wash" and wash.hours > 0.0
    assert opened("reading:torque", "torque", costs) != opened("reading:mgt", "mgt", costs)
    assert opened("gear_loss", "gearbox", None) == "gearbox"
