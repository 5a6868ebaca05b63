"""Sizes of departures against engines solved with known factors, and against SciPy's truncated normal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.calibrated import data_sheet_only
from spoolwright.core.diagnosis.comparison import FACTORS, HEALTHY_FACTORS, Compared, factor_record
from spoolwright.core.diagnosis.condition import Prior, Shop, estimated_condition
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.numerics import Dual, FloatArray
from spoolwright.errors import InputError
from spoolwright.sources.typefile import load_type, shipped_type

SEEN = ("power", "measured_gas_temperature", "T3", "p3", "fuel_flow")
DEPARTURES = ({"compressor_flow": -1.0, "compressor_efficiency": -0.5}, {"gas_generator_turbine_area": 1.0})
SPEEDS = np.array([0.93, 0.97, 1.0])
FREE = np.full(2, np.inf)
WIDE = Prior(np.zeros(2), FREE, np.full(2, -0.2), np.full(2, 0.2))


class Exact:
    """The engine itself as the reference: nothing scatters but the readings."""

    def along(self, o: Observation, size: FloatArray) -> tuple[FloatArray, FloatArray]:
        slopes = np.zeros((2, len(FACTORS), o.size))
        for d, departure in enumerate(DEPARTURES):
            for name, x in departure.items():
                slopes[d, FACTORS.index(name)] = x
        return HEALTHY_FACTORS[:, None] + np.einsum("d,dfp->fp", size, slopes), slopes

    def surprise(self, seen: Compared) -> tuple[FloatArray, FloatArray]:
        e = seen.errors()
        return seen.vector, e.T @ e


@pytest.fixture(scope="module")
def model() -> EngineModel:
    return EngineModel(load_type(shipped_type()).engine)


def run(
    model: EngineModel, size: tuple[float, float], scatter: float, seed: int | None = None
) -> Observation:
    """A run of an engine with departures of known size; readings scatter by a part of themselves."""
    n, p = 1 + len(SEEN), len(SPEEDS)
    at = {k: np.full(p, float(v)) for k, v in vars(model.data.condition()).items()}
    blank = observation(np.ones((n, p)), at, 0.0)
    factors, _ = Exact().along(blank, np.array(size))
    speed = SPEEDS * model.data.reference.gas_generator_speed
    found = solve(model, Condition(**at), factor_record(factors), set_by="ng", target=speed)
    x = np.array([speed, *(getattr(found, name) for name in SEEN)])
    if seed is not None:
        x = x * (1.0 + scatter * np.random.default_rng(seed).standard_normal(x.shape))
    return observation(x, at, scatter)


def observation(x: FloatArray, at: dict[str, FloatArray], scatter: float) -> Observation:
    n, p = x.shape
    seeds = [Dual(x[i], np.eye(n)[i][:, None] * np.ones(p)) for i in range(n)]
    errors = np.zeros((n, p, n, p))
    for i in range(n):
        errors[i, range(p), i, range(p)] = scatter * x[i]
    return Observation(
        "", "", "", "", tuple("abc"), ("ng", *SEEN), dict(zip(SEEN, seeds[1:], strict=True)), at, seeds[0],
        x, errors.reshape(n * p, n, p), (), np.ones(n * p, dtype=bool),
    )  # fmt: skip


def test_departures_of_known_size_are_found_without_noise(model: EngineModel) -> None:
    (found,) = estimated_condition(model, [run(model, (0.03, -0.02), 1e-5)], Exact(), WIDE)
    assert found.mean == pytest.approx([0.03, -0.02], abs=1e-6)
    assert found.rows == len(SEEN) * len(SPEEDS)


def test_intervals_hold_the_truth_as_often_as_they_say(model: EngineModel) -> None:
    size, count = (0.02, 0.01), 120
    found = estimated_condition(
        model, [run(model, size, 0.003, seed) for seed in range(count)], Exact(), WIDE
    )
    for share in (0.68, 0.90):
        ends = np.array([e.interval(share) for e in found])
        inside = np.sum((ends[:, 0] <= size) & (size <= ends[:, 1]), axis=0)
        low, high = stats.binom.interval(0.999, count, share)
        assert np.all((low <= inside) & (inside <= high)), (share, inside)
    misfit = sum(e.misfit for e in found)
    low, high = stats.chi2.interval(0.999, count * (len(SEEN) * len(SPEEDS) - 2))
    assert low < misfit < high


def test_bounds_cut_the_posterior_as_scipy_cuts_a_normal(model: EngineModel) -> None:
    one = Prior(np.zeros(2), np.array([0.05, 1e-9]), np.full(2, -1.0), np.full(2, 1.0))
    seen = run(model, (0.0, 0.0), 0.005, 3)
    (free,) = estimated_condition(model, [seen], Exact(), one)
    low = free.mean[0] - 0.4 * free.spread[0]
    cut = replace(one, low=np.array([low, -1.0]), high=np.array([low + 2.0 * free.spread[0], 1.0]))
    (found,) = estimated_condition(model, [seen], Exact(), cut)
    oracle = stats.truncnorm(-0.4, 1.6, loc=free.mean[0], scale=free.spread[0])
    assert found.mean[0] == pytest.approx(oracle.mean(), abs=0.003 * free.spread[0])
    assert found.spread[0] == pytest.approx(oracle.std(), rel=0.003)
    assert found.interval(0.9)[:, 0] == pytest.approx(oracle.interval(0.9), abs=0.01 * free.spread[0])


def test_a_shops_average_engine_is_within_its_own_build_scatter(model: EngineModel) -> None:
    shop = Shop(model, data_sheet_only(), DEPARTURES)
    (found,) = estimated_condition(model, [run(model, (0.0, 0.0), 0.001)], shop, WIDE)
    assert np.all(np.abs(found.mean) < 0.01 * found.spread + 1e-4)
    assert np.all(found.spread > 0.003)  # a data sheet leaves levels open by more than this


def test_points_that_the_model_cannot_run_take_no_part(model: EngineModel) -> None:
    seen = run(model, (0.03, -0.02), 1e-4)
    fast = Dual(seen.speed.v * np.array([1.0, 1.0, 1.3]), seen.speed.d)
    (found,) = estimated_condition(model, [replace(seen, speed=fast)], Exact(), WIDE)
    assert found.rows == len(SEEN) * 2
    assert found.mean == pytest.approx([0.03, -0.02], abs=1e-4)


@pytest.mark.parametrize(
    ("prior", "said"),
    [
        (Prior(np.zeros(5), np.ones(5), -np.ones(5), np.ones(5)), "5 departures"),
        (Prior(np.zeros(2), np.ones(2), np.ones(2), np.ones(2)), "nothing between"),
        (Prior(np.zeros(2), FREE, -FREE, FREE), "neither bounds nor a spread"),
    ],
)
def test_a_prior_that_says_nothing_is_refused(model: EngineModel, prior: Prior, said: str) -> None:
    with pytest.raises(InputError, match=said):
        estimated_condition(model, [run(model, (0.0, 0.0), 0.001)], Exact(), prior)
