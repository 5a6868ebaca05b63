"""Jacobian and sensitivities against central differences with Richardson extrapolation.

Abramowitz and Stegun, 25.3.21 and 25.3.24: the combination (4 D(h) - D(2h)) / 3 has an error of fourth order.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from cycle_cases import model, random_cases

from spoolwright.core.cycle.cases import Cases, subset
from spoolwright.core.cycle.sensitivity import PARAMETERS, sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.newton import solve_small
from spoolwright.core.numerics import seeds

OF = ("fuel_flow", "measured_gas_temperature", "gas_generator_speed", "p3", "T5", "air_flow", "p45")
STEP = 2e-4


@cache
def solved() -> Any:
    """Cases away from the bleed valve's ramp and from 1000 K at any station, where slopes turn quickly."""
    condition, factors, power = random_cases(400, seed=5)
    s = solve(model(), condition, factors, set_by="power", target=power)
    valve = model().data.handling_bleed
    far = np.abs(s.corrected_speed - 0.5 * (valve.speed_open + valve.speed_closed)) > 0.12
    for T in (s.T3, s.T4, s.T41, s.T45, s.T5):
        far &= np.abs(T - 1000.0) > 15.0
    index = np.flatnonzero(far & s.solved)[:60]
    return subset(condition, index), subset(factors, index), power[index]


def difference(at: Any, scale: Any) -> Any:
    def central(h: float) -> Any:
        return (at(h) - at(-h)) / (2.0 * h * scale)

    return (4.0 * central(STEP) - central(2.0 * STEP)) / 3.0


def test_jacobian_of_the_residuals() -> None:
    condition, factors, power = solved()
    cases = Cases(model(), condition, factors, "power", power)
    x = solve(model(), condition, factors, set_by="power", target=power).x
    exact = np.array([r.d for r in cases.equations(cases.path(seeds(list(x))))])
    for j in range(5):

        def moved(h: float, j: int = j) -> Any:
            y = x.copy()
            y[j] += h
            return np.array(cases.equations(cases.path(y)))

        assert exact[:, j] == pytest.approx(difference(moved, 1.0), rel=1e-7, abs=1e-8)


@pytest.mark.parametrize("set_by", ["power", "mgt", "ng"])
@pytest.mark.parametrize("name", PARAMETERS)
def test_sensitivities(name: str, set_by: Any) -> None:
    """1e-7 of the derivative; where 1 % of the parameter moves the output less than 0.1 %, 1e-7 of that."""
    condition, factors, power = solved()
    base = solve(model(), condition, factors, set_by="power", target=power)
    target = {"power": power, "mgt": base.measured_gas_temperature, "ng": base.gas_generator_speed}[set_by]
    base = solve(model(), condition, factors, set_by=set_by, target=target)
    exact = sensitivities(base, [name], OF).derivative[:, 0]
    records = {"condition": condition, "factors": factors}
    held = next((k for k, r in records.items() if hasattr(r, name)), "target")
    at = target if held == "target" else getattr(records[held], name)
    scale = np.maximum(np.abs(at), {"accessory_load": 1e4, "vane_offset": 1.0}.get(name, 0.01))

    def moved(h: float) -> Any:
        changed = dict(records)
        if held != "target":
            changed[held] = replace(records[held], **{name: at + h * scale})
        aim = target + h * scale if held == "target" else target
        s = solve(model(), **changed, set_by=set_by, target=aim, start=base.x)
        return np.array([s.values[k] for k in OF])

    value = np.array([base.values[k] for k in OF])
    found = difference(moved, scale)
    assert np.all(np.abs(exact - found) <= 1e-7 * np.maximum(np.abs(exact), 1e-1 * np.abs(value) / scale))


def test_small_solve_against_numpy() -> None:
    r = np.random.default_rng(1)
    a, b = r.normal(size=(50, 5, 5)), r.normal(size=(50, 5))
    a[:, 0, 0] = 0.0  # a row exchange is needed
    got = solve_small([[a[:, i, j].copy() for j in range(5)] for i in range(5)], list(b.T.copy()))
    expected = np.linalg.solve(a, b[..., None])[..., 0]
    np.testing.assert_allclose(np.array(got).T, expected, rtol=1e-9, atol=1e-12)


def test_small_solve_marks_a_singular_case_only() -> None:
    a = np.stack([np.eye(3), np.ones((3, 3))])
    with np.errstate(all="ignore"):
        got = np.array(
            solve_small([[a[:, i, j].copy() for j in range(3)] for i in range(3)], [np.ones(2)] * 3)
        )
    assert np.all(got[:, 0] == 1.0) and not np.all(np.isfinite(got[:, 1]))
