"""Findings as the rules take them: the excess over nominal with its uncertainty, in the unit of its kind."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spoolwright.errors import RangeError

ADMISSIBLE: Final = 100.0
"""Admissible roughness times velocity over viscosity [-]."""
ROUGH_EXPONENT: Final = 0.23
"""Slope of ln friction over ln roughness of a fully rough plate [-]; see `friction_rise`."""
GRAIN_PER_RA: Final = 6.0
"""Equivalent sand grain over the arithmetic mean roughness of worn or ground blades [-]. `[M]`, 30 %."""


@dataclass(frozen=True)
class Finding:
    """One measured or judged state of a part of the build.

    Parameters
    ----------
    name : str
        Unique name within the build [-].
    cause : str
        Kind, see `published.CAUSES` [-].
    module : str
        Module; empty where it belongs to none of the gas path [-].
    stage : int
        Stage from 1; 0 where the kind knows none [-].
    excess : float
        Best value over nominal [unit of the kind].
    uncertainty : float
        Standard uncertainty of `excess` [unit of the kind].
    share : float
        Part of the module's work that the stage does; 1 where the kind is of the whole module [-].
    """

    name: str
    cause: str
    module: str
    stage: int
    excess: float
    uncertainty: float
    share: float = 1.0


def clearance_excess(
    gap: float, span: float, nominal_gap: float, gap_uncertainty: float
) -> tuple[float, float]:
    """Tip clearance over blade height, above nominal.

    Parameters
    ----------
    gap, nominal_gap : float
        Clearance as built and nominal, hot or cold alike [m].
    span : float
        Blade height [m].
    gap_uncertainty : float
        Standard uncertainty of the gap [m].

    Returns
    -------
    excess : float
        Above nominal [% of height].
    uncertainty : float
        Its standard uncertainty [% of height].

    Raises
    ------
    RangeError
        The blade height is not positive.

    Examples
    --------
    >>> tuple(round(x, 3) for x in clearance_excess(0.42e-3, 24e-3, 0.30e-3, 0.03e-3))
    (0.5, 0.125)
    """
    if not span > 0.0:
        raise RangeError(f"blade height {span} m is not positive.", mend="Give the height of the blade.")
    return 100.0 * (gap - nominal_gap) / span, 100.0 * gap_uncertainty / span


def relative_excess(found: float, nominal: float, uncertainty: float) -> tuple[float, float]:
    """A quantity over its nominal value, less 1.

    Parameters
    ----------
    found, nominal : float
        Value as built and nominal; nominal positive [any, alike].
    uncertainty : float
        Standard uncertainty of the value as built [as found].

    Returns
    -------
    excess : float
        Above nominal [%].
    uncertainty : float
        Its standard uncertainty [%].

    Raises
    ------
    RangeError
        The nominal value is not positive.

    Examples
    --------
    >>> relative_excess(101.5, 100.0, 0.2)
    (1.5, 0.2)
    """
    if not nominal > 0.0:
        raise RangeError(f"nominal value {nominal} is not positive.", mend="Give the nominal value.")
    return 100.0 * found / nominal - 100.0, 100.0 * uncertainty / nominal


def friction_rise(
    roughness: float, chord: float, reynolds: float, relative_uncertainty: float = 0.3
) -> tuple[float, float]:
    """Rise of surface friction above that of a smooth blade.

    Parameters
    ----------
    roughness : float
        Arithmetic mean roughness Ra of the blades [m].
    chord : float
        Blade chord [m].
    reynolds : float
        Chord Reynolds number of the relative inflow [-].
    relative_uncertainty : float
        Of the equivalent sand grain, relative [-].

    Returns
    -------
    rise : float
        Above the smooth blade; 0 while the grain is below the admissible roughness [%].
    uncertainty : float
        Its standard uncertainty [%].

    Raises
    ------
    RangeError
        A size or the Reynolds number is not positive.

    Notes
    -----
    Grain k = 6 Ra. Admissible: k = 100 chord / Reynolds number. Above it friction grows with k to the
    power of 0.23, the slope of the rough plate's law c_f = (1.89 + 1.62 log10(l / k))^-2.5 between l / k
    of 1e3 and 1e4.

    References
    ----------
    Schlichting, Boundary-Layer Theory, 7th ed., chapter XXI, equation 21.44 (admissible roughness); the rough
    plate's law stands in the same chapter ([M], equation number not verified).

    Examples
    --------
    >>> friction_rise(0.4e-6, 40e-3, 1e6)[0]
    0.0
    """
    for name, x in (("roughness", roughness), ("chord", chord), ("Reynolds number", reynolds)):
        if not x > 0.0:
            raise RangeError(f"{name} {x} is not positive.", mend="Check the value and its unit.")
    ratio = GRAIN_PER_RA * roughness * reynolds / (ADMISSIBLE * chord)
    rise = 100.0 * max(ratio**ROUGH_EXPONENT - 1.0, 0.0)
    high = 100.0 * max((ratio * (1.0 + relative_uncertainty)) ** ROUGH_EXPONENT - 1.0, 0.0)
    return rise, high - rise


def orifice_share(flow: float, pressure: float, temperature: float, inlet_flow: float, delivery: float,
                  delivery_temperature: float) -> float:  # fmt: skip
    """Leakage of a running engine from the flow that a leak check found at shop pressure.

    Parameters
    ----------
    flow : float
        Flow found, the joint at `pressure` [kg/s].
    pressure, temperature : float
        Absolute pressure and temperature ahead of the leak in the check [Pa, K].
    inlet_flow : float
        Inlet flow of the engine at the rating [kg/s].
    delivery, delivery_temperature : float
        Compressor delivery pressure and temperature at the rating [Pa, K].

    Returns
    -------
    float
        Leakage at the rating, of inlet flow [%].

    Raises
    ------
    RangeError
        A quantity is not positive.

    Notes
    -----
    Choked both times: flow sqrt(T) / p is the leak's own constant. Valid for a check above 1.9 bar over
    ambient.

    References
    ----------
    One-dimensional gas dynamics: choked mass flow.

    Examples
    --------
    >>> round(orifice_share(0.01, 2e5, 300.0, 4.0, 12e5, 640.0), 4)
    1.027
    """
    if not all(x > 0.0 for x in (flow, pressure, temperature, inlet_flow, delivery, delivery_temperature)):
        raise RangeError("a flow, pressure or temperature is not positive.", mend="Check values and units.")
    constant = flow * math.sqrt(temperature) / pressure
    return 100.0 * constant * delivery / math.sqrt(delivery_temperature) / inlet_flow
