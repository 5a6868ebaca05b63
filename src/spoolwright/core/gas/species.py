"""Gas species: NASA nine-coefficient thermodynamic data.

Public-domain figures of NASA/TP-2002-211556. Each segment holds (a1 … a7, b1, b2) of

    cp/R  = a1 T^-2 + a2 T^-1 + a3 + a4 T + a5 T^2 + a6 T^3 + a7 T^4
    h/RT  = -a1 T^-2 + a2 ln(T)/T + a3 + a4 T/2 + a5 T^2/3 + a6 T^3/4 + a7 T^4/5 + b1/T
    s/R   = -a1 T^-2/2 - a2 T^-1 + a3 ln(T) + a4 T + a5 T^2/2 + a6 T^3/3 + a7 T^4/4 + b2

at 1 bar; the first segment holds for 200 to 1000 K, the second for 1000 to 6000 K.

References
----------
McBride, Zehe and Gordon, NASA Glenn Coefficients for Calculating Thermodynamic Properties of Individual Species,
NASA/TP-2002-211556 (2002), equations 1 to 3 and appendix D.
Atomic weights: IUPAC standard atomic weights 2021, abridged (Pure Appl. Chem. 94, 2022, 573).
Dry air: Gordon 1982, the "Air" card of the same data base (mole per cent N2 78.084, O2 20.9476, Ar 0.9365, CO2 0.0319).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

Coefficients: TypeAlias = tuple[float, float, float, float, float, float, float, float, float]

SEGMENT_TEMPERATURE: Final = 1000.0
"""Temperature at which the second set of coefficients takes over [K]."""

DATUM_TEMPERATURE: Final = 298.15
"""Datum of sensible enthalpy and of the entropy function [K]."""

DATUM_PRESSURE: Final = 1.0e5
"""Standard-state pressure of the entropies [Pa]."""

ATOMIC_WEIGHT: Final[dict[str, float]] = {
    "H": 1.008e-3,
    "C": 12.011e-3,
    "N": 14.007e-3,
    "O": 15.999e-3,
    "Ar": 39.95e-3,
}
"""Molar masses of the elements [kg/mol]."""


@dataclass(frozen=True)
class Species:
    """One ideal-gas species: its elements and its two sets of coefficients (below and above 1000 K)."""

    name: str
    elements: dict[str, int]
    low: Coefficients
    high: Coefficients

    @property
    def molar_mass(self) -> float:
        """Molar mass [kg/mol]."""
        return sum(ATOMIC_WEIGHT[e] * n for e, n in self.elements.items())


# fmt: off
SPECIES: Final[dict[str, Species]] = {s.name: s for s in (
    Species("N2", {"N": 2},
        (2.210371497e+04, -3.818461820e+02, 6.082738360e+00, -8.530914410e-03, 1.384646189e-05,
         -9.625793620e-09, 2.519705809e-12, 7.108460860e+02, -1.076003744e+01),
        (5.877124060e+05, -2.239249073e+03, 6.066949220e+00, -6.139685500e-04, 1.491806679e-07,
         -1.923105485e-11, 1.061954386e-15, 1.283210415e+04, -1.586640027e+01)),
    Species("O2", {"O": 2},
        (-3.425563420e+04, 4.847000970e+02, 1.119010961e+00, 4.293889240e-03, -6.836300520e-07,
         -2.023372700e-09, 1.039040018e-12, -3.391454870e+03, 1.849699470e+01),
        (-1.037939022e+06, 2.344830282e+03, 1.819732036e+00, 1.267847582e-03, -2.188067988e-07,
         2.053719572e-11, -8.193467050e-16, -1.689010929e+04, 1.738716506e+01)),
    Species("Ar", {"Ar": 1},
        (0.0, 0.0, 2.5, 0.0, 0.0, 0.0, 0.0, -7.453750000e+02, 4.379674910e+00),
        (2.010538475e+01, -5.992661070e-02, 2.500069401e+00, -3.992141160e-08, 1.205272140e-11,
         -1.819015576e-15, 1.078576636e-19, -7.449939610e+02, 4.379180110e+00)),
    Species("CO2", {"C": 1, "O": 2},
        (4.943650540e+04, -6.264116010e+02, 5.301725240e+00, 2.503813816e-03, -2.127308728e-07,
         -7.689988780e-10, 2.849677801e-13, -4.528198460e+04, -7.048279440e+00),
        (1.176962419e+05, -1.788791477e+03, 8.291523190e+00, -9.223156780e-05, 4.863676880e-09,
         -1.891053312e-12, 6.330036590e-16, -3.908350590e+04, -2.652669281e+01)),
    Species("H2O", {"H": 2, "O": 1},
        (-3.947960830e+04, 5.755731020e+02, 9.317826530e-01, 7.222712860e-03, -7.342557370e-06,
         4.955043490e-09, -1.336933246e-12, -3.303974310e+04, 1.724205775e+01),
        (1.034972096e+06, -2.412698562e+03, 4.646110780e+00, 2.291998307e-03, -6.836830480e-07,
         9.426468930e-11, -4.822380530e-15, -1.384286509e+04, -7.978148510e+00)),
)}
# fmt: on

DRY_AIR: Final[dict[str, float]] = {"N2": 0.78084, "O2": 0.209476, "Ar": 0.009365, "CO2": 0.000319}
"""Mole fractions of dry air [mol/mol]."""

DRY_AIR_MOLAR_MASS: Final = sum(x * SPECIES[n].molar_mass for n, x in DRY_AIR.items())
"""Molar mass of dry air [kg/mol]."""
