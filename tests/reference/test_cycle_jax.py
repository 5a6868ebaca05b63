"""JAX on the same physics source: values and derivatives equal NumPy's, by JAX's own differentiation."""

from __future__ import annotations

import numpy as np
import pytest
from cycle_cases import model, random_cases

from spoolwright.core.cycle.cases import Cases
from spoolwright.core.cycle.jax_batch import jax_solve
from spoolwright.core.cycle.jax_gas import JaxMixture
from spoolwright.core.cycle.solve import solve
from spoolwright.core.numerics import seeds

jax = pytest.importorskip("jax")

T = np.linspace(210.0, 2150.0, 41)
FAR, WAR = np.linspace(0.0, 0.04, 41), np.linspace(0.02, 0.0, 41)


@pytest.fixture(autouse=True, scope="module")
def _double() -> None:
    jax.config.update("jax_enable_x64", True)


@pytest.mark.parametrize("name", ["cp", "enthalpy", "entropy_function"])
def test_gas_properties_and_their_derivatives(name: str) -> None:
    """1e-12: the same polynomials in double precision, differentiated by hand here and by duals there."""
    theirs, ours = getattr(JaxMixture(1.9), name), getattr(model().gas, name)
    duals = ours(*seeds([T, FAR, WAR]))
    values, slopes = jax.vmap(jax.value_and_grad(theirs, (0, 1, 2)))(T, FAR, WAR)
    np.testing.assert_allclose(values, duals.v, rtol=1e-12, atol=1e-6)
    np.testing.assert_allclose(slopes, duals.d, rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize(
    ("inverse", "direct"),
    [("temperature_from_enthalpy", "enthalpy"), ("temperature_from_entropy", "entropy_function")],
)
def test_inversions_and_their_derivatives(inverse: str, direct: str) -> None:
    y = getattr(model().gas, direct)(T, FAR, WAR)
    duals = getattr(model().gas, inverse)(*seeds([y, FAR, WAR]))
    values, slopes = jax.vmap(jax.value_and_grad(getattr(JaxMixture(1.9), inverse), (0, 1, 2)))(y, FAR, WAR)
    np.testing.assert_allclose(values, T, rtol=1e-12)
    np.testing.assert_allclose(slopes, duals.d, rtol=1e-10, atol=1e-9)


def test_compiled_batch_solver() -> None:
    """1e-10: both iterate until the last step is below 1e-7, and convergence is quadratic."""
    condition, factors, power = random_cases(16, seed=3)
    ours = solve(model(), condition, factors, set_by="power", target=power)
    theirs = jax_solve(model(), condition, factors, set_by="power", target=power)
    assert float(theirs["residual"].max()) < 1e-11
    for name in ("fuel_flow", "T45", "p5", "gas_generator_speed", "surge_margin", "vane_angle"):
        np.testing.assert_allclose(theirs[name], ours.values[name], rtol=1e-10, atol=1e-12, err_msg=name)


def test_jacobian_by_jax() -> None:
    """Forward mode of JAX on the gas path, uncompiled, against the duals."""
    condition = model().data.condition()
    x = np.array([-0.05, 0.1, -0.02, 0.01, -0.03])
    cases = Cases(model(), condition, random_cases(1, 0)[1].__class__(), "power", np.array([5e5]))
    exact = np.array([r.d for r in cases.path(seeds(list(x[:, None]))).residuals])[..., 0]
    other = Cases(model().with_gas(JaxMixture(1.9)), condition, cases.factors, "power", cases.target)

    def residuals(x: object) -> object:
        return jax.numpy.stack(other.path(x).residuals)

    np.testing.assert_allclose(jax.jacfwd(residuals)(jax.numpy.asarray(x)), exact, rtol=1e-9, atol=1e-10)
