"""A small fixed slice of the proof tests/prove/forecast.py, and the rig's builds by their own definitions."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

import prove
from spoolwright.core.diagnosis.forecast.build import FACTORS
from spoolwright.core.diagnosis.forecast.published import published_rules
from spoolwright.rig.builds import PARTS, drawn_build, drawn_shop
from spoolwright.rig.module_faults import SCATTER

ROOT = Path(__file__).resolve().parents[2]
PROOF = prove.load(ROOT / "tests/prove/forecast.py")
CALIBRATED, ASKED, LEARNT, OTHERS = 30, 40, 30, 12
RULES = published_rules()


@pytest.fixture(scope="module")
def trial():
    t = PROOF.Trial(lambda done, total: None, 0)
    t.calibrate(CALIBRATED, 71_000_000)
    return t


def test_intervals_of_rig_builds_hold_what_the_bench_reads(trial):
    """Nine in ten; between the 0.1 % and 99.9 % quantiles of the binomial distribution."""
    shops = [drawn_shop(RULES, 72_000 + i) for i in range(ASKED)]
    held = trial.held(list(trial.runs(shops, 72_000_000)), trial.rules)
    low, high = binom.ppf([0.001, 0.999], ASKED, 0.9)
    for inside in held.inside.sum(axis=0):
        assert low <= inside <= high


def test_a_shop_that_learns_forecasts_in_narrower_intervals(trial):
    shop = drawn_shop(RULES, 73_000)
    learnt = trial.learn(list(trial.runs([shop] * LEARNT, 73_000_000)))
    others = list(trial.runs([shop] * OTHERS, 73_100_000))
    before, after = trial.held(others, trial.rules), trial.held(others, learnt.after)
    assert np.all(after.width.mean(axis=0) < before.width.mean(axis=0))
    assert np.all(after.inside.sum(axis=0) >= binom.ppf(0.001, OTHERS, 0.9))


def test_accepted_runs_tell_the_build_scatter(trial):
    """The rig's scatter (rig/module_faults.py) is 0.5 to 0.67 of what assembly tolerances usually leave."""
    assert 0.4 < trial.rules.scatter_scale < 0.8


def test_shops_coefficients_are_drawn_from_the_rules():
    """Mean and standard deviation of 400 shops, within four standard errors."""
    key = ("gas_generator_turbine_clearance_efficiency", 1)
    rule = RULES.named(key[0])
    drawn = np.array([drawn_shop(RULES, s).coefficients[key] for s in range(400)])
    assert drawn.mean() == pytest.approx(rule.mean, abs=4.0 * rule.standard_deviation / 20.0)
    assert drawn.std() == pytest.approx(rule.standard_deviation, rel=4.0 / math.sqrt(800.0))


def test_what_is_told_of_a_build_is_true_within_its_gauge():
    shop = drawn_shop(RULES, 1)
    z = []
    for seed in range(150):
        build = drawn_build(RULES, shop, seed)
        z += [(f.excess - build.true_excess[f.name]) / f.uncertainty for f in build.findings]
        assert {f.name for f in build.findings} <= set(build.true_excess) == {p.name for p in PARTS}
    assert np.mean(z) == pytest.approx(0.0, abs=4.0 / math.sqrt(len(z)))
    assert np.std(z) == pytest.approx(1.0, rel=4.0 / math.sqrt(2.0 * len(z)))


def test_builds_without_findings_would_scatter_as_the_rigs_own():
    """A factor that no rule touches scatters as `rig.module_faults.SCATTER` says."""
    shop = drawn_shop(RULES, 1)
    touched = {r.factor for r in RULES.rules}
    drawn = [drawn_build(RULES, shop, s).factors for s in range(500)]
    for name in set(SCATTER) - touched:
        values = np.array([float(getattr(f, name)) for f in drawn])
        assert np.log(values).std() == pytest.approx(SCATTER[name], rel=4.0 / math.sqrt(1000.0))
    assert touched - {""} <= set(FACTORS)
