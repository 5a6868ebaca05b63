"""Chemical equilibrium of lean kerosene-air products at given pressure and temperature, or pressure and
enthalpy.

Thirteen ideal gases. CO2, H2O, O2, N2 and Ar are the components; every other species is written as made of
them (CO = CO2 - 1/2 O2, NO = 1/2 N2 + 1/2 O2 …) and follows by mass action. The unknowns are the logarithms
of the amounts of four components and of all gas, and one of: nothing, ln T, or the fuel-air ratio. All cases
of a batch are iterated together by Newton's method.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from spoolwright.constants import GAS_CONSTANT
from spoolwright.core.gas.mixture import fuel_enthalpy
from spoolwright.core.gas.species import (
    ATOMIC_WEIGHT,
    DATUM_PRESSURE,
    DATUM_TEMPERATURE,
    DRY_AIR,
    DRY_AIR_MOLAR_MASS,
    SEGMENT_TEMPERATURE,
    SPECIES,
)
from spoolwright.core.numerics import FloatArray

COMPONENTS: Final = ("CO2", "H2O", "O2", "N2", "Ar")
"""Species that carry the element balances."""

_FORMATION: Final[dict[str, dict[str, float]]] = {
    **{name: {name: 1.0} for name in COMPONENTS},
    "CO": {"CO2": 1.0, "O2": -0.5},
    "OH": {"H2O": 0.5, "O2": 0.25},
    "H": {"H2O": 0.5, "O2": -0.25},
    "O": {"O2": 0.5},
    "NO": {"N2": 0.5, "O2": 0.5},
    "NO2": {"N2": 0.5, "O2": 1.0},
    "H2": {"H2O": 1.0, "O2": -0.5},
    "N": {"N2": 0.5},
}
NAMES: Final = tuple(_FORMATION)
"""Order of the species in all arrays."""

POWERS: Final = np.array([[_FORMATION[s].get(c, 0.0) for c in COMPONENTS] for s in NAMES])
"""Moles of each component that make a mole of each species, shape (13, 5) [-]."""

_SHORTFALL: Final = 1.0 - POWERS.sum(axis=1)  # moles made per mole, beyond the components they come from
_COEFFICIENTS: Final = np.array([[SPECIES[s].low, SPECIES[s].high] for s in NAMES]).transpose(1, 2, 0)
_TRACE: Final = 1e-12  # mol per kg air: with less of an element Newton's matrix would be singular
_FIRST_OXYGEN: Final = 0.1  # mol per kg air, what dissociation leaves in a stoichiometric flame
_MOST_STEPS: Final = 80
_DONE: Final = 1e-9  # Newton's error after such a step is of the order of its square


@dataclass(frozen=True)
class Equilibrium:
    """State of equilibrium, arrays of shape (N,) but for the moles.

    Parameters
    ----------
    temperature : array
        Temperature [K].
    fuel_air_ratio : array
        Fuel per mass of dry air [kg/kg].
    moles : array, shape (13, N)
        Amounts in the order of `NAMES`, per mass of dry air [mol/kg].
    converged : array of bool
        Whether Newton's method closed all balances [-].
    """

    temperature: FloatArray
    fuel_air_ratio: FloatArray
    moles: FloatArray
    converged: Any


@dataclass(frozen=True)
class Feed:
    """What goes in: components and enthalpy, both linear in the fuel-air ratio.

    Parameters
    ----------
    air : array, shape (5, N)
        Components per mass of dry air, from air and humidity [mol/kg].
    fuel : array, shape (5, 1)
        Components per mass of fuel [mol/kg].
    air_enthalpy : array, shape (N,)
        Enthalpy with formation, per mass of dry air [J/kg].
    fuel_enthalpy : array, shape (N,)
        Enthalpy with formation, per mass of fuel [J/kg].
    """

    air: FloatArray
    fuel: FloatArray
    air_enthalpy: FloatArray
    fuel_enthalpy: FloatArray

    def components(self, far: FloatArray) -> FloatArray:
        """Components at a fuel-air ratio [mol per kg of dry air]."""
        out = self.air + self.fuel * far
        out[:2] = np.maximum(out[:2], _TRACE)  # oxygen may fall short: CO and H2 make up for it
        return out

    def enthalpy(self, far: FloatArray) -> FloatArray:
        """Enthalpy at a fuel-air ratio [J per kg of dry air]."""
        return self.air_enthalpy + self.fuel_enthalpy * far


def molar(T: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Specific heat, enthalpy and Gibbs energy of the species, with the enthalpy of formation.

    Parameters
    ----------
    T : array, shape (N,)
        Temperature [K].

    Returns
    -------
    cp, h, g : arrays, shape (13, N)
        cp/R, h/(RT) and g/(RT) at 1 bar, in the order of `NAMES` [-].

    References
    ----------
    NASA/TP-2002-211556, equations 1 to 3.
    """
    hot = T > SEGMENT_TEMPERATURE
    a1, a2, a3, a4, a5, a6, a7, b1, b2 = np.where(
        hot, _COEFFICIENTS[1][..., None], _COEFFICIENTS[0][..., None]
    )
    r, log_t = 1.0 / T, np.log(T)
    cp = (a1 * r + a2) * r + a3 + T * (a4 + T * (a5 + T * (a6 + T * a7)))
    h = (b1 - a1 * r + a2 * log_t) * r + a3 + T * (a4 / 2 + T * (a5 / 3 + T * (a6 / 4 + T * a7 / 5)))
    s = b2 - r * (a1 * r / 2 + a2) + a3 * log_t + T * (a4 + T * (a5 / 2 + T * (a6 / 3 + T * a7 / 4)))
    return cp, h, h - s


def reaction(T: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Enthalpy and Gibbs energy of forming each species from the components.

    Parameters
    ----------
    T : array, shape (N,)
        Temperature [K].

    Returns
    -------
    h, g : arrays, shape (13, N)
        Divided by RT, at 1 bar; zero for the components [-].
    """
    _, h, g = molar(T)
    return h - POWERS @ h[:5], g - POWERS @ g[:5]


def feed(
    T3: FloatArray,
    war: FloatArray,
    hydrogen_to_carbon: float,
    heat_release: FloatArray,
    fuel_temperature: FloatArray,
) -> Feed:
    """Amounts and enthalpy of air and fuel.

    Parameters
    ----------
    T3 : array, shape (N,)
        Air temperature [K].
    war : array, shape (N,)
        Water vapour per mass of dry air [kg/kg].
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom of the fuel [-].
    heat_release : array, shape (N,)
        Net heating value times burner efficiency [J/kg].
    fuel_temperature : array, shape (N,)
        Fuel temperature [K].

    Returns
    -------
    Feed
        Components and enthalpy per mass of dry air [mol/kg, J/kg].
    """
    x = hydrogen_to_carbon
    moles = 1.0 / (ATOMIC_WEIGHT["C"] + x * ATOMIC_WEIGHT["H"])
    air = np.array([[DRY_AIR.get(c, 0.0) / DRY_AIR_MOLAR_MASS] for c in COMPONENTS]) + np.zeros_like(T3)
    air[1] += war / SPECIES["H2O"].molar_mass
    fuel = moles * np.array([[1.0], [x / 2], [-1.0 - x / 4], [0.0], [0.0]])
    datum = np.array([DATUM_TEMPERATURE])
    formation = GAS_CONSTANT * DATUM_TEMPERATURE * molar(datum)[1][:5]
    # burnt at 298.15 K to CO2 and water vapour, the fuel gives off exactly its net heating value
    of_fuel = (fuel * formation).sum() + heat_release + fuel_enthalpy(fuel_temperature)
    of_air = GAS_CONSTANT * T3 * (air * molar(T3)[1][:5]).sum(axis=0)
    return Feed(air, fuel, of_air, of_fuel)


def solve(
    inlet: Feed, pressure: FloatArray, T: FloatArray, far: FloatArray, unknown: str | None
) -> Equilibrium:
    """Equilibrium of a feed.

    Parameters
    ----------
    inlet : Feed
        Amounts and enthalpy [mol/kg, J/kg].
    pressure : array, shape (N,)
        Absolute pressure [Pa].
    T : array, shape (N,)
        Temperature, or its first estimate when it is unknown [K].
    far : array, shape (N,)
        Fuel-air ratio, or its first estimate when it is unknown [kg/kg].
    unknown : str or None
        "temperature" or "fuel_air_ratio" that makes the enthalpies of feed and products equal; None when both
        are given [-].

    Returns
    -------
    Equilibrium
        Temperature, fuel-air ratio and amounts [K, kg/kg, mol/kg].

    References
    ----------
    Gordon and McBride, NASA RP-1311 part I (1994), sections 2.2 to 2.4 (conditions of equilibrium; there
    solved by element potentials).
    """
    start = inlet.components(far)
    start[2] = np.maximum(start[2], _FIRST_OXYGEN)
    z = np.concatenate([np.log(start[:4]), np.log(start.sum(axis=0))[None]])
    log_p = np.log(pressure / DATUM_PRESSURE)
    T, far = T + np.zeros_like(pressure), far + np.zeros_like(pressure)
    for _ in range(_MOST_STEPS):
        residual, jacobian, moles = _system(inlet, z, log_p, T, far, unknown)
        step = -np.linalg.solve(jacobian, residual[..., None])[..., 0].T
        step *= 2.0 / np.maximum(2.0, np.abs(step).max(axis=0))
        z += step[:5]
        if unknown == "temperature":
            T = T * np.exp(np.clip(step[5], -0.2, 0.2))
        elif unknown == "fuel_air_ratio":
            far = far + step[5]
        if np.abs(step).max() < _DONE:
            break
    moles = _moles(z, inlet.components(far)[4], log_p, reaction(T)[1])
    return Equilibrium(T, far, moles, np.abs(step).max(axis=0) < _DONE)


def _moles(z: FloatArray, argon: FloatArray, log_p: FloatArray, gibbs: FloatArray) -> FloatArray:
    amounts = np.concatenate([z[:4], np.log(argon)[None]])
    return np.exp(POWERS @ amounts + _SHORTFALL[:, None] * (z[4] - log_p) - gibbs)  # type: ignore[no-any-return]


def _system(
    inlet: Feed, z: FloatArray, log_p: FloatArray, T: FloatArray, far: FloatArray, unknown: str | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Residuals (N, m) of component balances, sum of moles and enthalpy; their Jacobian (N, m, m)."""
    cp, h, g = molar(T)
    heat = h - POWERS @ h[:5]
    target = inlet.components(far)
    moles = _moles(z, target[4], log_p, g - POWERS @ g[:5])
    size = 5 if unknown is None else 6
    rate = np.zeros((size, *moles.shape))  # d moles / d unknown
    rate[:4] = moles * POWERS.T[:4, :, None]
    rate[4] = moles * _SHORTFALL[:, None]
    rows = [*POWERS.T[:4, :, None], np.ones_like(moles)]
    residual = [*(POWERS.T[:4] @ moles - target[:4]), moles.sum(axis=0) - np.exp(z[4])]
    if unknown is not None:
        residual.append((moles * h).sum(axis=0) - inlet.enthalpy(far) / (GAS_CONSTANT * T))
        rows.append(h)
    if unknown == "temperature":
        rate[5] = moles * heat
    jacobian = np.array([[(row * rate[k]).sum(axis=0) for k in range(size)] for row in rows])
    jacobian[4, 4] -= np.exp(z[4])
    if unknown == "temperature":
        jacobian[5, 5] += (moles * (cp - h)).sum(axis=0) + inlet.enthalpy(far) / (GAS_CONSTANT * T)
    elif unknown == "fuel_air_ratio":
        jacobian[:4, 5] -= inlet.fuel[:4]
        jacobian[5, 5] -= inlet.fuel_enthalpy / (GAS_CONSTANT * T)
    return np.array(residual).T, jacobian.transpose(2, 0, 1), moles
