"""Aviation kerosene as a burner sees it: composition, heating value, density.

Whether a fuel meets its specification is not judged here; limits come from the type file or the fuel's
documents.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spoolwright.constants import GAS_CONSTANT
from spoolwright.core.gas.mixture import check_range, stoichiometric_ratio
from spoolwright.core.gas.species import ATOMIC_WEIGHT, DATUM_TEMPERATURE, SPECIES
from spoolwright.core.numerics import Number, exp

DENSITY_TEMPERATURE: Final = 288.15
"""Temperature to which fuel densities are referred [K]."""

VAPORISATION_HEAT: Final = 44004.0 / SPECIES["H2O"].molar_mass
"""Heat of vaporisation of water at 298.15 K [J/kg]: 285.830 - 241.826 kJ/mol (Cox, Wagman and Medvedev,
CODATA Key Values for Thermodynamics, 1989)."""

_EXPANSION: Final = 594.5418  # kg2/(m6 K): kerosene group
_LIGHTEST, _HEAVIEST = 787.5, 838.5  # kg/m3, ends of that group
_TRANSITION: Final = (-0.00336312, 2680.3206)  # 1/K, kg2/(m6 K): between gasoline and kerosene
_LIGHTEST_TRANSITION: Final = 770.5


@dataclass(frozen=True)
class Fuel:
    """A hydrocarbon fuel CH_x.

    Parameters
    ----------
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom [-].
    lower_heating_value : float
        Net heating value at 298.15 K and constant pressure, to CO2 and water vapour [J/kg].
    density_15c : float
        Density at 15 degC [kg/m3].

    Notes
    -----
    The defaults are a reference kerosene for calculations: CH1.9 with 43.124 MJ/kg (Walsh and Fletcher, Gas
    Turbine Performance, 2nd ed., chapter 3) and 800 kg/m3, a common mid-range density. They are no
    specification.

    Examples
    --------
    >>> fuel = Fuel()
    >>> round(fuel.hydrogen_mass_fraction, 4), round(fuel.stoichiometric, 5)
    (0.1375, 0.06828)
    """

    hydrogen_to_carbon: float = 1.9
    lower_heating_value: float = 43.124e6
    density_15c: float = 800.0

    def __post_init__(self) -> None:
        check_range("hydrogen-to-carbon ratio of the fuel", self.hydrogen_to_carbon, 1.4, 4.0)
        check_range("net heating value of the fuel", self.lower_heating_value, 30e6, 52e6, " J/kg")
        check_range(
            "density of the fuel at 15 degC", self.density_15c, _LIGHTEST_TRANSITION, _HEAVIEST, " kg/m3"
        )

    @property
    def hydrogen_mass_fraction(self) -> float:
        """Mass of hydrogen per mass of fuel [kg/kg]."""
        hydrogen = self.hydrogen_to_carbon * ATOMIC_WEIGHT["H"]
        return hydrogen / (ATOMIC_WEIGHT["C"] + hydrogen)

    @property
    def stoichiometric(self) -> float:
        """Stoichiometric fuel-air ratio in dry air [kg/kg]."""
        return stoichiometric_ratio(self.hydrogen_to_carbon)

    def density(self, T: Number) -> Number:
        """Density at a temperature [kg/m3]; see `density_at`."""
        return density_at(self.density_15c, T)

    def mass_flow(self, volume_flow: Number, T: Number) -> Number:
        """Mass flow [kg/s] of a volume flow [m3/s] measured at fuel temperature T [K]."""
        return volume_flow * self.density(T)


def density_at(density_15c: float, T: Number) -> Number:
    """Density of kerosene at a temperature, from its density at 15 degC.

    Parameters
    ----------
    density_15c : float
        Density at 15 degC, 770.5 … 838.5 [kg/m3].
    T : float, array or Dual
        Fuel temperature, 238 … 368 K [K].

    Returns
    -------
    float, array or Dual
        Density [kg/m3].

    Raises
    ------
    RangeError
        Outside those ranges.

    Notes
    -----
    Volume correction of petroleum products, kerosene group (787.5 … 838.5 kg/m3) and the transition below it.
    The thermal expansion of a single batch scatters by a few per cent about the group's mean: 0.1 % of
    density over 20 K. A measured density at the fuel's own temperature is better.

    References
    ----------
    ASTM D1250-80 / API MPMS chapter 11.1 (1980), table 54B: rho = rho15 exp(-a dt (1 + 0.8 a dt)), a =
    K0/rho15^2.
    """
    check_range("density of the fuel at 15 degC", density_15c, _LIGHTEST_TRANSITION, _HEAVIEST, " kg/m3")
    check_range("fuel temperature", T, 238.0, 368.0, " K")
    if density_15c >= _LIGHTEST:
        expansion = _EXPANSION / density_15c**2
    else:
        expansion = _TRANSITION[0] + _TRANSITION[1] / density_15c**2
    dt = T - DENSITY_TEMPERATURE
    return density_15c * exp(-expansion * dt * (1.0 + 0.8 * expansion * dt))


def hydrogen_to_carbon(hydrogen_mass_fraction: float) -> float:
    """Hydrogen atoms per carbon atom of a fuel with a measured hydrogen content.

    Parameters
    ----------
    hydrogen_mass_fraction : float
        Mass of hydrogen per mass of fuel [kg/kg].

    Returns
    -------
    float
        Hydrogen-to-carbon ratio [-].

    Raises
    ------
    RangeError
        If the content is not one of a hydrocarbon fuel (a per cent value given as a fraction, say).
    """
    check_range("hydrogen content of the fuel", hydrogen_mass_fraction, 0.10, 0.25)
    ratio = hydrogen_mass_fraction / (1.0 - hydrogen_mass_fraction)
    return ratio * ATOMIC_WEIGHT["C"] / ATOMIC_WEIGHT["H"]


def net_heating_value(gross: float, hydrogen_mass_fraction: float) -> float:
    """Net heating value at constant pressure from a bomb calorimeter's gross value at constant volume.

    Parameters
    ----------
    gross : float
        Gross heating value at constant volume and 25 degC [J/kg].
    hydrogen_mass_fraction : float
        Mass of hydrogen per mass of fuel [kg/kg].

    Returns
    -------
    float
        Net heating value at constant pressure and 25 degC [J/kg].

    Notes
    -----
    The water formed stays vapour (its heat of vaporisation is lost), and the gas shrinks by a quarter mole of
    oxygen per mole of hydrogen atoms (the work RT of that is gained at constant pressure).

    References
    ----------
    ASTM D4809 and D240 print the same as gross - 0.2122 MJ/kg per mass per cent of hydrogen.
    """
    hydrogen = ATOMIC_WEIGHT["H"]
    water = SPECIES["H2O"].molar_mass / (2 * hydrogen)
    shrinking = GAS_CONSTANT * DATUM_TEMPERATURE / (4 * hydrogen)
    return gross - hydrogen_mass_fraction * (water * VAPORISATION_HEAT - shrinking)


def gross_heating_value(net: float, hydrogen_mass_fraction: float) -> float:
    """Inverse of `net_heating_value`.

    Parameters
    ----------
    net : float
        Net heating value at constant pressure and 25 degC [J/kg].
    hydrogen_mass_fraction : float
        Mass of hydrogen per mass of fuel [kg/kg].

    Returns
    -------
    float
        Gross heating value at constant volume and 25 degC [J/kg].
    """
    return net - net_heating_value(0.0, hydrogen_mass_fraction)


REFERENCE_FUEL: Final = Fuel()
"""Fuel to which fuel flows are reduced when nothing else is said."""
