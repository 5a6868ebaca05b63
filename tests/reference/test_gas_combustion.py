"""Flame temperatures against Cantera, and against the published example of NASA RP-1311."""

from __future__ import annotations

from itertools import product

import nasa_glenn
import numpy as np
import pytest

from spoolwright.core.gas import equilibrium
from spoolwright.core.gas.combustion import flame_temperature, required_fuel_air_ratio
from spoolwright.core.gas.dissociation import complete_temperature, dissociation_correction
from spoolwright.core.gas.fuel import Fuel
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.errors import RangeError

LHV = 43.124e6
CASES = list(
    product((500.0, 600.0, 700.0, 800.0, 900.0), (0.3e6, 1e6, 2e6), (0.005, 0.015, 0.025, 0.035), (0.0, 0.02))
)
T3, P, FAR, WAR = np.array(CASES).T


@pytest.fixture(scope="module")
def theirs() -> np.ndarray:
    """Cantera's temperatures of complete combustion and of equilibrium, in the order of CASES."""
    gas = nasa_glenn.solution()
    return np.array([nasa_glenn.flame(gas, *case) for case in CASES])


def test_complete_combustion(theirs: np.ndarray) -> None:
    # asked: 1 K
    ours = GasMixture(1.9).burner_temperature(T3, FAR, WAR, 1.0, LHV)
    np.testing.assert_allclose(ours, theirs[:, 0], atol=1e-4, rtol=0)


def test_fuel_for_a_temperature_complete(theirs: np.ndarray) -> None:
    ours = GasMixture(1.9).fuel_air_ratio(T3, theirs[:, 0], WAR, 1.0, LHV)
    np.testing.assert_allclose(ours, FAR, rtol=1e-6)


def test_equilibrium(theirs: np.ndarray) -> None:
    # asked: 2 K
    ours = flame_temperature(Fuel(), T3, P, FAR, WAR)
    np.testing.assert_allclose(ours, theirs[:, 1], atol=1e-3, rtol=0)


def test_fuel_for_a_temperature_in_equilibrium(theirs: np.ndarray) -> None:
    ours = required_fuel_air_ratio(Fuel(), T3, theirs[:, 1], P, WAR)
    np.testing.assert_allclose(ours, FAR, rtol=1e-6)


def test_correction_for_the_cycle(theirs: np.ndarray) -> None:
    """The stated error of the estimate: 0.06 K below 1800 K, 0.2 K below 2000 K."""
    complete, real = theirs.T
    ours = complete - dissociation_correction(GasMixture(1.9), complete, P, FAR, WAR)
    back = complete_temperature(GasMixture(1.9), real, P, FAR, WAR)
    for limit, error in ((1600.0, 0.02), (1800.0, 0.06), (2000.0, 0.2)):
        below = complete < limit
        assert below.sum() > 20
        assert np.abs(ours - real)[below].max() < error
        assert np.abs(back - complete)[below].max() < error
    assert (complete - real).max() > 10.0


@pytest.mark.parametrize(("T", "p"), [(1200.0, 1e6), (1800.0, 3e5), (2300.0, 1e6), (2500.0, 1e5)])
def test_composition(T: float, p: float) -> None:
    gas = nasa_glenn.solution()
    far, war = 0.05, 0.01
    gas.TPX = T, p, nasa_glenn.burnt(gas, far, war)
    gas.equilibrate("TP", rtol=1e-12)
    one = np.ones(1)
    inlet = equilibrium.feed(one * 700.0, war * one, 1.9, LHV * one, 298.15 * one)
    state = equilibrium.solve(inlet, p * one, T * one, far * one, None)
    ours = state.moles[:, 0] / state.moles.sum()
    for name, share in zip(equilibrium.NAMES, ours, strict=True):
        assert share == pytest.approx(gas[name].X[0], rel=1e-6)


def test_example_3_of_rp_1311() -> None:
    """NASA RP-1311 part II (McBride and Gordon 1996), example 3: toluene and octane with air of 700 K, o/f
    17.

    Published: enthalpy 317.84 kJ/kg and, at 100, 10 and 1 bar, temperature, molar mass and mole fraction of
    CO2. The program's list holds some forty more species and its gas constant is 8.31451: 0.5 K and five
    units of the last printed digit cover both.
    """
    carbon, hydrogen = 12.011, 1.008
    toluene = 0.4 / (7 * carbon + 8 * hydrogen)
    octane = 0.6 / (8 * carbon + 18 * hydrogen)
    x = (8 * toluene + 18 * octane) / (7 * toluene + 8 * octane)
    far = 1.0 / 17.0
    gas = nasa_glenn.solution()
    air = nasa_glenn.set_state(gas, 700.0).enthalpy_mass
    # the heating value that gives the published enthalpy of the mixture
    unlit = nasa_glenn.supplied_enthalpy(gas, 700.0, far, 0.0, x, 0.0)
    lhv = (317.84e3 - unlit) * (1.0 + far) / far
    assert lhv == pytest.approx(42.2e6, rel=0.03)  # toluene 40.6, octane 44.4 MJ/kg: between the two
    assert air > 0.0
    fuel = Fuel(hydrogen_to_carbon=x, lower_heating_value=lhv)
    bar = np.array([100.0, 10.0, 1.0])
    T = flame_temperature(fuel, 700.0, bar * 1e5, far)
    np.testing.assert_allclose(T, [2418.66, 2390.59, 2338.84], atol=0.5, rtol=0)
    one = np.ones(3)
    inlet = equilibrium.feed(700.0 * one, 0.0 * one, x, lhv * one, 298.15 * one)
    state = equilibrium.solve(inlet, bar * 1e5, T, far * one, None)
    np.testing.assert_allclose(
        1000 * (1 + far) / state.moles.sum(axis=0), [29.021, 28.959, 28.846], atol=5e-3
    )
    dioxide = state.moles[equilibrium.NAMES.index("CO2")] / state.moles.sum(axis=0)
    np.testing.assert_allclose(dioxide, [0.11537, 0.11249, 0.10716], atol=5e-5)


def test_efficiency_and_fuel_temperature_are_heat() -> None:
    fuel = Fuel()
    lossy = flame_temperature(fuel, 700.0, 1e6, 0.02, efficiency=0.98)
    poorer = flame_temperature(Fuel(lower_heating_value=0.98 * LHV), 700.0, 1e6, 0.02)
    assert lossy == pytest.approx(poorer, abs=1e-9)
    # 2.1 kJ/(kg K) over 50 K is 0.24 % of the heating value
    warm = flame_temperature(fuel, 700.0, 1e6, 0.02, fuel_temperature=348.15)
    cold = flame_temperature(fuel, 700.0, 1e6, 0.02)
    assert (warm - cold) / (cold - 700.0) == pytest.approx(0.0025, abs=0.0003)


@pytest.mark.parametrize(
    ("case", "message"),
    [
        ((700.0, 1e6, 0.08), "fuel-air ratio 0.08 is outside"),
        ((1500.0, 1e6, 0.02), "temperature of the burner's air"),
        ((700.0, 10.0, 0.02), "pressure in the burner"),
    ],
)
def test_impossible_input_is_refused(case: tuple[float, float, float], message: str) -> None:
    with pytest.raises(RangeError, match=message):
        flame_temperature(Fuel(), *case)


def test_unreachable_temperature_is_refused() -> None:
    with pytest.raises(RangeError, match="of a stoichiometric mixture"):
        required_fuel_air_ratio(Fuel(), 500.0, 2550.0, 1e6)
    with pytest.raises(RangeError, match="below that of its air"):
        required_fuel_air_ratio(Fuel(), 800.0, 700.0, 1e6)
