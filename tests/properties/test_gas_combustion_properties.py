"""Burning and humidity over their whole range: inverses, balances, stated errors, exact derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.core.gas import atmosphere, equilibrium, humidity
from spoolwright.core.gas.combustion import flame_temperature, required_fuel_air_ratio
from spoolwright.core.gas.dissociation import complete_temperature, dissociation_correction
from spoolwright.core.gas.fuel import Fuel
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.core.gas.species import ATOMIC_WEIGHT, SPECIES
from spoolwright.core.numerics import seeds

LHV = 43.124e6
RNG = np.random.default_rng(7)
N = 3000
T3 = RNG.uniform(300.0, 900.0, N)
P = np.exp(RNG.uniform(np.log(0.1e6), np.log(3e6), N))
FAR = RNG.uniform(0.0, 0.05, N)
WAR = RNG.uniform(0.0, 0.03, N)


def assert_derivatives(function, x: list[float], rtol: float = 1e-6) -> None:
    """Duals against central differences of fourth order, whose own error is below 1e-8."""
    exact = np.asarray(function(*seeds(x)).d)
    for i, v in enumerate(x):
        h = 2e-4 * abs(v)
        y = [function(*(u + k * h * (j == i) for j, u in enumerate(x))) for k in (-2, -1, 1, 2)]
        slope = (y[0] - 8 * y[1] + 8 * y[2] - y[3]) / (12 * h)
        noise = 1e-14 * max(map(abs, y)) / h
        assert slope == pytest.approx(exact[i], rel=rtol, abs=noise)


def test_equilibrium_closes_every_balance() -> None:
    gas = GasMixture(1.9)
    inlet = equilibrium.feed(T3, WAR, 1.9, np.full(N, LHV), np.full(N, 298.15))
    start = gas.burner_temperature(T3, FAR, WAR, 1.0, LHV)
    state = equilibrium.solve(inlet, P, start, FAR, "temperature")
    assert state.converged.all()
    assert (state.moles > 0.0).all()
    fuel = FAR / (ATOMIC_WEIGHT["C"] + 1.9 * ATOMIC_WEIGHT["H"])
    atoms = {"C": fuel, "H": 1.9 * fuel + 2 * WAR / SPECIES["H2O"].molar_mass}
    for element in ("C", "H", "O", "N", "Ar"):
        count = np.array([SPECIES[s].elements.get(element, 0) for s in equilibrium.NAMES])
        held = count @ state.moles
        supplied = (
            atoms.get(element, 0.0) + count[:5] @ inlet.air - (2 * inlet.air[1] if element == "H" else 0.0)
        )
        if element == "O":
            supplied = count[:5] @ inlet.air
        np.testing.assert_allclose(held, supplied, rtol=1e-9, atol=1e-9)
    _, h, _ = equilibrium.molar(state.temperature)
    enthalpy = 8.31446261815324 * state.temperature * (state.moles * h).sum(axis=0)
    np.testing.assert_allclose(enthalpy, inlet.enthalpy(FAR), atol=0.01, rtol=0)
    # dissociation binds heat: never hotter than complete combustion
    assert (state.temperature <= start + 1e-6).all()


def test_equilibrium_both_ways() -> None:
    fuel = Fuel()
    T4 = flame_temperature(fuel, T3, P, FAR, WAR, 0.98, 310.0)
    back = required_fuel_air_ratio(fuel, T3, T4, P, WAR, 0.98, 310.0)
    np.testing.assert_allclose(back, FAR, rtol=1e-9, atol=1e-11)


def test_up_to_the_stoichiometric_mixture() -> None:
    fuel = Fuel()
    far = np.linspace(0.9, 1.0, 11) * fuel.stoichiometric
    for p in (5e4, 1e6, 5e6):
        T = flame_temperature(fuel, 700.0, p, far)
        assert (np.diff(T) > 0.0).all()
        assert (T > 2300.0).all()


def test_the_correction_keeps_its_stated_error() -> None:
    gas = GasMixture(1.9)
    complete = gas.burner_temperature(T3, FAR, WAR, 1.0, LHV)
    real = flame_temperature(Fuel(), T3, P, FAR, WAR)
    error = np.abs(complete - dissociation_correction(gas, complete, P, FAR, WAR) - real)
    inverse_error = np.abs(complete_temperature(gas, real, P, FAR, WAR) - complete)
    for low, high, limit in (
        (0.0, 1600.0, 0.02),
        (1600.0, 1800.0, 0.06),
        (1800.0, 2000.0, 0.2),
        (2000.0, 2200.0, 0.5),
    ):
        inside = (complete >= low) & (complete < high)
        assert inside.sum() > 100
        assert error[inside].max() < limit
        assert inverse_error[inside].max() < limit


def test_the_correction_is_smooth_and_finite_everywhere() -> None:
    gas = GasMixture(1.9)
    T = np.linspace(150.0, 3500.0, 2000)
    for far in (0.0, 0.03, 0.09):
        drop = dissociation_correction(gas, T, 1e6, far, 0.0)
        assert np.isfinite(drop).all()
        assert (drop >= 0.0).all()
        assert (np.diff(drop) >= 0.0).all()


@given(st.floats(900.0, 2200.0), st.floats(1e5, 3e6), st.floats(0.005, 0.05), st.floats(0.001, 0.04))
def test_derivatives_of_the_correction(T: float, p: float, far: float, war: float) -> None:
    gas = GasMixture(1.9)
    if abs(T - 1000.0) < 2.0:
        return  # cp has a kink there, central differences do not exist
    assert_derivatives(lambda *x: dissociation_correction(gas, *x), [T, p, far, war])
    assert_derivatives(lambda *x: complete_temperature(gas, *x), [T, p, far, war])


def test_correction_of_floats_and_arrays_agree() -> None:
    gas = GasMixture(1.9)
    T = np.array([1200.0, 1700.0, 2100.0])
    batch = dissociation_correction(gas, T, 1e6, 0.03, 0.01)
    np.testing.assert_allclose(batch, [dissociation_correction(gas, t, 1e6, 0.03, 0.01) for t in T.tolist()])
    duals = dissociation_correction(gas, *seeds([T, 0.0 * T + 1e6, 0.0 * T + 0.03]), 0.01)
    np.testing.assert_allclose(duals.v, batch, rtol=1e-12)


rh = st.floats(0.02, 1.0)
air = st.floats(235.0, 320.0)
pressure = st.floats(60e3, 110e3)
surface = st.sampled_from(["water", "ice"])


@given(rh, air, pressure, surface, st.booleans())
def test_relative_humidity_comes_back(rh: float, T: float, p: float, over: str, real: bool) -> None:
    if over == "water" and T < 255.0:
        rh = min(rh, 0.5)
    war = humidity.from_relative_humidity(rh, T, p, over=over, real=real)
    assert humidity.relative_humidity(war, T, p, over=over, real=real) == pytest.approx(rh, rel=1e-12)


@given(st.floats(230.0, 320.0), pressure, st.booleans())
def test_dew_and_frost_point_come_back(T: float, p: float, real: bool) -> None:
    war = humidity.from_dew_point(T, p, real=real)
    # at the triple point two fits of the enhancement factor meet to 6e-6 only: no exact root in that step
    near = 1e-4 if abs(T - 273.16) < 1e-3 else 1e-8
    assert humidity.dew_point(war, p, real=real) == pytest.approx(T, abs=near)
    if T < 273.0:
        war = humidity.from_frost_point(T, p, real=real)
        assert humidity.frost_point(war, p, real=real) == pytest.approx(T, abs=1e-8)
        # ice holds its water tighter: the frost point is the warmer of the two
        assert humidity.dew_point(war, p, real=real) < T


@given(st.floats(0.2, 1.0), air, pressure, surface, st.booleans())
def test_wet_bulb_comes_back(rh: float, T: float, p: float, over: str, real: bool) -> None:
    war = humidity.from_relative_humidity(rh, T, p, over="ice", real=real)
    bulb = humidity.wet_bulb(war, T, p, over=over, real=real)
    assert bulb <= T + 1e-6
    if abs(bulb - 273.16) > 1e-6:
        bulb = min(bulb, T)
        assert humidity.from_wet_bulb(bulb, T, p, over=over, real=real) == pytest.approx(war, rel=1e-9)


def test_derivatives_of_humidity() -> None:
    for real in (True, False):
        for T, over in ((295.0, None), (262.0, "ice"), (262.0, "water")):
            kw = {"over": over, "real": real}
            assert_derivatives(lambda *x, kw=kw: humidity.from_relative_humidity(*x, **kw), [0.6, T, 9e4])
            assert_derivatives(lambda *x, kw=kw: humidity.from_wet_bulb(*x, **kw), [T - 1.0, T, 9e4])
            assert_derivatives(lambda *x, kw=kw: humidity.relative_humidity(*x, **kw), [1e-3, T, 9e4])
            assert_derivatives(lambda *x, kw=kw: humidity.wet_bulb(*x, **kw), [1e-3, T, 9e4])
            assert_derivatives(lambda *x, r=real: humidity.dew_point(*x, real=r), [1e-3, 9e4])
            assert_derivatives(lambda *x, r=real: humidity.frost_point(*x, real=r), [1e-3, 9e4])


def test_humidity_of_arrays_is_that_of_floats() -> None:
    T = np.array([255.0, 268.0, 280.0, 300.0])
    war = humidity.from_relative_humidity(0.7, T, 95e3, over="ice")
    for k, t in enumerate(T.tolist()):
        one = humidity.from_relative_humidity(0.7, t, 95e3, over="ice")
        assert isinstance(one, float)
        assert war[k] == pytest.approx(one, rel=1e-13)
        assert humidity.wet_bulb(one, t, 95e3, over="ice") == pytest.approx(
            humidity.wet_bulb(war, T, 95e3, over="ice")[k], abs=1e-9
        )


@given(st.floats(-2000.0, 20000.0))
def test_pressure_altitude_comes_back(height: float) -> None:
    pressure = atmosphere.standard_air(height).pressure
    # the step of the standard's tables at 11 km is worth 1 cm
    assert atmosphere.pressure_altitude(pressure) == pytest.approx(height, abs=0.012)


def test_derivatives_of_the_atmosphere() -> None:
    for height in (-900.0, 2500.0, 9000.0, 15000.0):
        for name in ("temperature", "pressure", "density", "sound_speed", "viscosity"):
            assert_derivatives(lambda H, n=name: getattr(atmosphere.standard_air(H), n), [height])
        assert_derivatives(atmosphere.pressure_altitude, [float(atmosphere.standard_pressure(height))])
    heights = np.array([0.0, 5000.0, 12000.0])
    batch = atmosphere.standard_air(heights, 10.0)
    singles = [atmosphere.standard_air(h, 10.0).density for h in heights.tolist()]
    np.testing.assert_allclose(batch.density, singles, rtol=1e-14)
