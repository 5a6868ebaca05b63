"""Air, water vapour and burnt kerosene as one ideal-gas mixture.

Arguments everywhere: temperature T [K], far = kg fuel per kg of DRY air, war = kg water vapour per kg of DRY
air. Everything is per kg of the whole mixture. Each function takes floats, NumPy arrays, dual numbers or
arrays of another array-API library; duals carry the exact derivative, also through the inversions.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spoolwright.core.gas.evaluation import inverse, properties, scalar_property
from spoolwright.core.gas.polynomials import CP, PHI, H, Tables, tables
from spoolwright.core.gas.species import ATOMIC_WEIGHT, DATUM_TEMPERATURE, DRY_AIR, DRY_AIR_MOLAR_MASS
from spoolwright.core.numerics import Number, log, sqrt, value, where
from spoolwright.errors import RangeError

LOWEST_VALID, HIGHEST_VALID = 200.0, 2200.0
"""Range of validity of the temperature [K]."""

_FUEL_CP, _FUEL_CP_SLOPE = 2090.7, 4.955  # J/(kg K) at 298.15 K, J/(kg K2)


@dataclass(frozen=True)
class GasMixture:
    """Ideal-gas mixture of dry air, water vapour and the completely burnt products of a fuel CH_x.

    Parameters
    ----------
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom of the fuel [-].

    Notes
    -----
    Valid 200 … 2200 K and up to the stoichiometric fuel-air ratio. Outside 150 … 2600 K cp is held constant,
    so that an iteration may stray and come back; `valid` flags it and `check` refuses it.

    The data change their coefficients at 1000 K. There h and the entropy function are made continuous (by
    0.03 J/kg or less), cp has a step below 1e-9 of itself for lean mixtures, and the slope of cp jumps:
    second derivatives of h do not exist there.

    References
    ----------
    McBride, Zehe and Gordon, NASA/TP-2002-211556 (2002), equations 1 to 3.

    Examples
    --------
    >>> gas = GasMixture(1.9)
    >>> round(gas.cp(300.0), 1)
    1004.8
    """

    hydrogen_to_carbon: float = 1.9
    _tables: Tables = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tables", tables(float(self.hydrogen_to_carbon)))

    # properties

    def cp(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Specific heat at constant pressure [J/(kg K)]."""
        return self._property(CP, T, far, war)

    def enthalpy(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Sensible enthalpy above 298.15 K [J/kg]."""
        return self._property(H, T, far, war)

    def entropy_function(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Integral of cp/T dT from 298.15 K [J/(kg K)]."""
        return self._property(PHI, T, far, war)

    def enthalpy_and_cp(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> tuple[Number, Number]:
        """Sensible enthalpy [J/kg] and cp [J/(kg K)] in one evaluation."""
        h, cp = properties(self._tables, (H, CP), T, far, war)
        return h, cp

    def enthalpy_and_entropy(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> tuple[Number, Number]:
        """Sensible enthalpy [J/kg] and entropy function [J/(kg K)] in one evaluation."""
        h, phi = properties(self._tables, (H, PHI), T, far, war)
        return h, phi

    def gas_constant(self, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Specific gas constant [J/(kg K)]."""
        air, water, fuel = self._tables.gas_constants
        return (air + war * water + far * fuel) / (1.0 + far + war)

    def gamma(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Ratio of specific heats [-]."""
        cp = self.cp(T, far, war)
        return cp / (cp - self.gas_constant(far, war))

    def sound_speed(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Frozen speed of sound [m/s]."""
        return sqrt(self.gamma(T, far, war) * self.gas_constant(far, war) * T)

    # inversions

    def temperature_from_enthalpy(
        self, h: Number, far: Number = 0.0, war: Number = 0.0, guess: Number | None = None
    ) -> Number:
        """Temperature at which the sensible enthalpy is h [K]."""
        return inverse(self._tables, H, h, far, war, guess)

    def temperature_from_entropy(
        self, phi: Number, far: Number = 0.0, war: Number = 0.0, guess: Number | None = None
    ) -> Number:
        """Temperature at which the entropy function is phi [K]."""
        return inverse(self._tables, PHI, phi, far, war, guess)

    def isentropic_temperature(
        self,
        T1: Number,
        pressure_ratio: Number,
        far: Number = 0.0,
        war: Number = 0.0,
        guess: Number | None = None,
    ) -> Number:
        """Temperature after an isentropic change by pressure_ratio = p2/p1 [K]."""
        phi = self.entropy_function(T1, far, war) + self.gas_constant(far, war) * log(pressure_ratio)
        return self.temperature_from_entropy(phi, far, war, guess)

    def polytropic_temperature(
        self,
        T1: Number,
        pressure_ratio: Number,
        efficiency: Number,
        far: Number = 0.0,
        war: Number = 0.0,
        guess: Number | None = None,
    ) -> Number:
        """Temperature after a change by pressure_ratio = p2/p1 at a small-stage efficiency [K]."""
        up = value(pressure_ratio) > 1.0
        step = (
            self.gas_constant(far, war) * log(pressure_ratio) * where(up, 1.0 / efficiency, efficiency * 1.0)
        )
        return self.temperature_from_entropy(self.entropy_function(T1, far, war) + step, far, war, guess)

    # burner

    def fuel_air_ratio(
        self,
        T3: Number,
        T4: Number,
        war: Number,
        efficiency: Number,
        lhv: Number,
        fuel_temperature: Number = DATUM_TEMPERATURE,
    ) -> Number:
        """Fuel-air ratio that heats air from T3 to T4 by complete combustion [kg/kg dry air]."""
        h3 = self.enthalpy(T3, 0.0, war)
        h4 = self.enthalpy(T4, 0.0, war)
        # per kg of fuel: (1 + war + far) h4 is linear in far, its slope is the products' enthalpy
        products = self.enthalpy(T4, 1.0, war) * (2.0 + war) - h4 * (1.0 + war)
        return (h4 - h3) * (1.0 + war) / (efficiency * lhv + fuel_enthalpy(fuel_temperature) - products)

    def burner_temperature(
        self,
        T3: Number,
        far: Number,
        war: Number,
        efficiency: Number,
        lhv: Number,
        fuel_temperature: Number = DATUM_TEMPERATURE,
        guess: Number | None = None,
    ) -> Number:
        """Temperature behind complete combustion of far in air of T3 [K]."""
        heat = far * (efficiency * lhv + fuel_enthalpy(fuel_temperature))
        h4 = (self.enthalpy(T3, 0.0, war) * (1.0 + war) + heat) / (1.0 + far + war)
        return self.temperature_from_enthalpy(h4, far, war, guess)

    # validity

    @property
    def stoichiometric(self) -> float:
        """Stoichiometric fuel-air ratio in dry air [kg/kg]."""
        return stoichiometric_ratio(self.hydrogen_to_carbon)

    def valid(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Any:
        """Whether T is in 200 … 2200 K, far in 0 … stoichiometric, war not negative; bool or array [-]."""
        t, f, w = value(T), value(far), value(war)
        inside = (t >= LOWEST_VALID) & (t <= HIGHEST_VALID)
        return inside & (f >= 0.0) & (f <= self.stoichiometric * (1.0 + 1e-12)) & (w >= 0.0)

    def check(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> None:
        """Refuse a state outside the range of `valid`; for the interface, not for the inside of an iteration.

        Raises
        ------
        RangeError
            Names the quantity, its worst value and the limit.
        """
        most = self.stoichiometric
        for name, x, low, high, unit in (
            ("temperature", T, LOWEST_VALID, HIGHEST_VALID, " K"),
            ("fuel-air ratio", far, 0.0, most * (1.0 + 1e-12), ""),
            ("humidity ratio", war, 0.0, np.inf, ""),
        ):
            check_range(name, x, low, high, unit)

    # evaluation

    def _property(self, quantity: int, T: Number, far: Number, war: Number) -> Number:
        if isinstance(T, float) and isinstance(far, float) and isinstance(war, float):
            return scalar_property(self._tables, quantity, T, far, war)
        return properties(self._tables, (quantity,), T, far, war)[0]


def check_range(name: str, x: Number, low: float, high: float, unit: str = "") -> None:
    """Refuse a value outside its range of validity, or one that is not a number.

    Parameters
    ----------
    name : str
        What the value is [-].
    x : float, array or Dual
        Value [in `unit`].
    low, high : float
        Ends of the range [in `unit`].
    unit : str
        Unit to print, with a leading blank [-].

    Raises
    ------
    RangeError
        If any value lies outside.
    """
    v = np.asarray(value(x), dtype=np.float64)
    bad = ~((v >= low) & (v <= high))
    if bad.any():
        worst = v[bad].flat[0]
        count = f" ({bad.sum()} of {v.size} values)" if v.size > 1 else ""
        limits = f"{low:g}{unit} to {high:g}{unit}" if np.isfinite(high) else f"{low:g}{unit} or more"
        raise RangeError(
            f"{name} {worst:.6g}{unit} is outside {limits}{count}.",
            mend="Check the value and its unit.",
        )


def stoichiometric_ratio(hydrogen_to_carbon: float) -> float:
    """Stoichiometric fuel-air ratio of a fuel CH_x in dry air, to CO2 and H2O.

    Parameters
    ----------
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom [-].

    Returns
    -------
    float
        Mass of fuel per mass of dry air [kg/kg].
    """
    fuel = ATOMIC_WEIGHT["C"] + hydrogen_to_carbon * ATOMIC_WEIGHT["H"]
    return fuel / (1 + hydrogen_to_carbon / 4) * DRY_AIR["O2"] / DRY_AIR_MOLAR_MASS


def fuel_enthalpy(temperature: Number) -> Number:
    """Sensible enthalpy of liquid kerosene above 298.15 K.

    Parameters
    ----------
    temperature : float, array or Dual
        Fuel temperature [K].

    Returns
    -------
    float, array or Dual
        Specific enthalpy [J/kg].

    Notes
    -----
    Specific heat as a straight line fitted to the published polynomial: enthalpy within 0.44 kJ/kg from 230
    to 420 K, 0.001 % of a heating value.

    References
    ----------
    NASA/TP-2002-211556, "Jet-A(L)" card (McBride 1996).
    """
    d = temperature - DATUM_TEMPERATURE
    return d * (_FUEL_CP + 0.5 * _FUEL_CP_SLOPE * d)
