"""Physical constants and standard reference values, each with its source."""

from typing import Final

GAS_CONSTANT: Final = 8.31446261815324
"""Molar gas constant [J/(mol K)] (exact; SI brochure, 9th ed. 2019)."""

STANDARD_TEMPERATURE: Final = 288.15
"""Sea-level standard-day temperature [K] (ISO 2533:1975)."""

STANDARD_PRESSURE: Final = 101325.0
"""Sea-level standard-day pressure [Pa] (ISO 2533:1975)."""

GRAVITY: Final = 9.80665
"""Standard acceleration of free fall [m/s2] (ISO 2533:1975)."""

WATTS_PER_HORSEPOWER: Final = 745.6998715822702
"""Mechanical horsepower, 550 ft lbf/s [W] (exact from the international foot and pound)."""

ZERO_CELSIUS: Final = 273.15
"""0 degC on the Kelvin scale [K] (exact; SI brochure)."""
