"""The same source under another array library: JAX values and gradients equal NumPy's and the duals'."""

from __future__ import annotations

import numpy as np
import pytest

from spoolwright.core.gas.dissociation import complete_temperature, dissociation_correction
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.core.numerics import seeds

jax = pytest.importorskip("jax")

GAS = GasMixture(1.9)
LHV = 43.124e6
RNG = np.random.default_rng(3)
T = RNG.uniform(250.0, 2000.0, 200)
COLD = RNG.uniform(250.0, 900.0, 200)
RATIO = np.exp(RNG.uniform(-2.0, 2.5, 200))
FAR = RNG.uniform(0.001, 0.05, 200)
WAR = RNG.uniform(0.001, 0.03, 200)
H = GAS.enthalpy(T, FAR, WAR)
PHI = GAS.entropy_function(T, FAR, WAR)

CASES = {
    "cp": (GAS.cp, (T, FAR, WAR)),
    "enthalpy": (GAS.enthalpy, (T, FAR, WAR)),
    "entropy function": (GAS.entropy_function, (T, FAR, WAR)),
    "gamma": (GAS.gamma, (T, FAR, WAR)),
    "sound speed": (GAS.sound_speed, (T, FAR, WAR)),
    "T of h": (GAS.temperature_from_enthalpy, (H, FAR, WAR)),
    "T of phi": (GAS.temperature_from_entropy, (PHI, FAR, WAR)),
    "isentropic": (GAS.isentropic_temperature, (COLD, RATIO, FAR, WAR)),
    "polytropic": (GAS.polytropic_temperature, (COLD, RATIO, 0.8 + 2 * FAR, FAR, WAR)),
    "burner": (lambda t, f, w: GAS.burner_temperature(t, f, w, 0.99, LHV), (COLD, FAR, WAR)),
    "fuel": (lambda t, u, w: GAS.fuel_air_ratio(t, u, w, 0.99, LHV), (COLD, COLD + 600.0, WAR)),
    "dissociation": (lambda t, p, f, w: dissociation_correction(GAS, t, p, f, w), (T, 1e6 * RATIO, FAR, WAR)),
    "complete": (lambda t, p, f, w: complete_temperature(GAS, t, p, f, w), (T, 1e6 * RATIO, FAR, WAR)),
    "dry air": (lambda t: GAS.enthalpy(t), (T,)),
    "outside": (GAS.enthalpy, (np.array([20.0, 120.0, 2800.0, 5000.0]), FAR[:4], WAR[:4])),
}


@pytest.fixture(autouse=True)
def double_precision():
    before = jax.config.jax_enable_x64
    jax.config.update("jax_enable_x64", True)
    yield
    jax.config.update("jax_enable_x64", before)


@pytest.mark.parametrize("name", CASES)
def test_values_and_gradients(name: str) -> None:
    function, x = CASES[name]
    ours = function(*seeds(list(x)))
    arrays = [jax.numpy.asarray(v) for v in x]
    theirs = jax.jit(function)(*arrays)
    np.testing.assert_allclose(theirs, ours.v, rtol=1e-10, atol=1e-9)
    gradient = jax.jit(jax.vmap(jax.grad(function, argnums=tuple(range(len(x))))))(*arrays)
    for k, g in enumerate(gradient):
        scale = np.abs(ours.d[k]).max()
        np.testing.assert_allclose(g, ours.d[k], rtol=1e-7, atol=1e-10 * scale)
