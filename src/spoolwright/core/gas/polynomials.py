"""Evaluation of the mixture's polynomials: one scalar kernel, one array kernel, one for other array libraries.

A mixture per kg of dry air is air + war · water vapour + far · (products of 1 kg fuel, less the oxygen they took), so
three sets of nine coefficients per temperature segment carry every composition. The array kernel writes the powers of
T once and lets one matrix product give all rows; that is several times faster than three Horner schemes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from spoolwright.constants import GAS_CONSTANT
from spoolwright.core.gas.species import (
    ATOMIC_WEIGHT,
    DATUM_TEMPERATURE,
    DRY_AIR,
    DRY_AIR_MOLAR_MASS,
    SEGMENT_TEMPERATURE,
    SPECIES,
    Coefficients,
)
from spoolwright.core.numerics import FloatArray, Number, namespace

CP, SLOPE, H, PHI = range(4)
"""Rows an evaluation may ask for: cp, T·dcp/dT, sensible enthalpy, entropy function."""

LOWEST, HIGHEST = 150.0, 2600.0
"""Ends of the polynomials' use [K]; beyond them cp stays constant, so that an iteration may stray."""

_LOG_FLOOR: Final = 0.1  # below this share of LOWEST the logarithm goes on along its tangent
_REFERENCE_TEMPERATURE: Final = 700.0  # cp there makes first guesses of all mixtures look like those of air
_SCALE: Final = 1e-3  # the array kernel works in thousands of kelvin: terms of like size


@dataclass(frozen=True)
class Guess:
    """Polynomial in h or the entropy function of dry air that gives T, or ln T, roughly; for starting values."""

    coefficients: tuple[float, ...]
    lowest: float
    highest: float


@dataclass(frozen=True)
class Tables:
    """Coefficients of air, water vapour and products, below and above 1000 K.

    `gas_constants` and `reference_cp` (at 700 K) hold a value for each of the three; `segments` two tuples of three
    coefficient sets; `rows` the same as matrices (segment, quantity, component, basis function); `guesses` starting
    values of T from h and from the entropy function.
    """

    gas_constants: tuple[float, float, float]
    reference_cp: tuple[float, float, float]
    segments: tuple[tuple[Coefficients, ...], tuple[Coefficients, ...]]
    rows: FloatArray
    guesses: tuple[Guess, Guess]


def _summed(moles: dict[str, float]) -> tuple[float, list[Coefficients]]:
    """Gas constant and the two coefficient sets of an amount of species, with datum 298.15 K."""
    both = [[sum(n * GAS_CONSTANT * getattr(SPECIES[s], part)[i] for s, n in moles.items()) for i in range(9)]
            for part in ("low", "high")]  # fmt: skip
    low, high = both
    _, h, phi = scalar_all(tuple(low), DATUM_TEMPERATURE)
    low[7] -= h
    low[8] -= phi
    below, above = (scalar_all(tuple(c), SEGMENT_TEMPERATURE) for c in both)
    high[7] += below[1] - above[1]
    high[8] += below[2] - above[2]
    return GAS_CONSTANT * sum(moles.values()), [tuple(c) for c in both]  # type: ignore[misc]


@lru_cache(maxsize=64)
def tables(hydrogen_to_carbon: float) -> Tables:
    """The coefficient tables for a fuel CH_x, combined once."""
    fuel = 1.0 / (ATOMIC_WEIGHT["C"] + hydrogen_to_carbon * ATOMIC_WEIGHT["H"])
    amounts: list[dict[str, float]] = [
        {s: x / DRY_AIR_MOLAR_MASS for s, x in DRY_AIR.items()},
        {"H2O": 1.0 / SPECIES["H2O"].molar_mass},
        {"CO2": fuel, "H2O": fuel * hydrogen_to_carbon / 2, "O2": -fuel * (1 + hydrogen_to_carbon / 4)},
    ]
    parts = [_summed(a) for a in amounts]
    segments = tuple(tuple(p[1][k] for p in parts) for k in (0, 1))
    rows = np.array([[[_row(q, c) for c in seg] for q in range(4)] for seg in segments])
    reference_cp = tuple(scalar(c, _REFERENCE_TEMPERATURE, CP) for c in segments[0])
    guesses = _guesses(segments[0][0], segments[1][0])
    return Tables(tuple(p[0] for p in parts), reference_cp, segments, rows, guesses)  # type: ignore[arg-type]


def _guesses(low: Coefficients, high: Coefficients) -> tuple[Guess, Guess]:
    T = np.geomspace(LOWEST, HIGHEST, 200)
    air = np.array([scalar_all(high if t > SEGMENT_TEMPERATURE else low, t) for t in T.tolist()])
    fits = []
    for x, y, weight in ((air[:, 1], T, 1 / T), (air[:, 2], np.log(T), np.ones_like(T))):
        unit = np.abs(x).max()
        scaled = np.polynomial.polynomial.polyfit(x / unit, y, 5, w=weight)
        fits.append(Guess(tuple((scaled / unit ** np.arange(6)).tolist()), float(x.min()), float(x.max())))
    return fits[0], fits[1]


def _row(quantity: int, c: Coefficients) -> list[float]:
    """Factors of t^-2, t^-1, 1, t … t^5, ln t for t = T/1000."""
    a = [c[i] / _SCALE ** (i - 2) for i in range(7)]  # factors of t^-2 … t^4 in cp
    log_scale = math.log(_SCALE)
    if quantity == CP:
        return [*a, 0.0, 0.0]
    if quantity == SLOPE:
        return [*((i - 2) * a[i] for i in range(7)), 0.0, 0.0]
    if quantity == H:
        b = c[7] - a[1] * log_scale / _SCALE
        up = [a[i] / (i - 1) / _SCALE for i in range(2, 7)]
        return [0.0, -a[0] / _SCALE, b, *up, a[1] / _SCALE]
    up = [a[i] / (i - 2) for i in range(3, 7)]
    return [-a[0] / 2, -a[1], c[8] - a[2] * log_scale, *up, 0.0, a[2]]


def scalar_all(c: Coefficients, T: float) -> tuple[float, float, float]:
    """cp, h and the entropy function of one coefficient set at one temperature."""
    a1, a2, a3, a4, a5, a6, a7, b1, b2 = c
    r, log_t = 1.0 / T, math.log(T)
    cp = (a1 * r + a2) * r + a3 + T * (a4 + T * (a5 + T * (a6 + T * a7)))
    h = b1 - a1 * r + a2 * log_t + T * (a3 + T * (a4 / 2 + T * (a5 / 3 + T * (a6 / 4 + T * (a7 / 5)))))
    phi = b2 - r * (a1 * r / 2 + a2) + a3 * log_t + T * (a4 + T * (a5 / 2 + T * (a6 / 3 + T * (a7 / 4))))
    return cp, h, phi


def scalar(c: Coefficients, T: float, quantity: int) -> float:
    """One quantity of one coefficient set at one temperature inside LOWEST … HIGHEST."""
    a1, a2, a3, a4, a5, a6, a7, b1, b2 = c
    r = 1.0 / T
    if quantity == CP:
        return (a1 * r + a2) * r + a3 + T * (a4 + T * (a5 + T * (a6 + T * a7)))
    if quantity == SLOPE:
        return (-2 * a1 * r - a2) * r + T * (a4 + T * (2 * a5 + T * (3 * a6 + T * (4 * a7))))
    log_t = math.log(T)
    if quantity == H:
        return b1 - a1 * r + a2 * log_t + T * (a3 + T * (a4 / 2 + T * (a5 / 3 + T * (a6 / 4 + T * (a7 / 5)))))
    return b2 - r * (a1 * r / 2 + a2) + a3 * log_t + T * (a4 + T * (a5 / 2 + T * (a6 / 3 + T * (a7 / 4))))


def scalar_extended(c: Coefficients, T: float, quantity: int) -> float:
    """As `scalar`, for a temperature outside LOWEST … HIGHEST: cp constant beyond."""
    edge = LOWEST if T < LOWEST else HIGHEST
    if quantity == SLOPE:
        return 0.0
    out = scalar(c, edge, quantity)
    if quantity == H:
        return out + scalar(c, edge, CP) * (T - edge)
    return out + scalar(c, edge, CP) * log_extended(T / edge) if quantity == PHI else out


def log_extended(x: float) -> float:
    """Natural logarithm, continued along its tangent below 0.1 so that it exists for every x."""
    return math.log(x) if x > _LOG_FLOOR else math.log(_LOG_FLOOR) + x / _LOG_FLOOR - 1.0


def positive(T: Number) -> Number:
    """The temperature by which cp is divided in dφ/dT: never below the end of the logarithm [K]."""
    floor = _LOG_FLOOR * LOWEST
    return max(T, floor) if isinstance(T, float) else namespace(T).maximum(T, floor)


def _basis(t: FloatArray, with_log: bool) -> FloatArray:
    out = np.empty((9, t.size))
    np.divide(1.0, t, out=out[1])
    np.multiply(out[1], out[1], out=out[0])
    out[2] = 1.0
    out[3] = t
    np.multiply(t, t, out=out[4])
    np.multiply(out[4], t, out=out[5])
    np.multiply(out[4], out[4], out=out[6])
    np.multiply(out[5], out[4], out=out[7])
    if with_log:
        np.log(t, out=out[8])
    else:
        out[8] = 0.0
    return out


def arrays(tab: Tables, T: FloatArray, quantities: tuple[int, ...]) -> FloatArray:
    """Quantities of the components at flat temperatures.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    T : array, shape (N,)
        Temperature [K].
    quantities : tuple of int
        CP first, then any of SLOPE, H, PHI [-].

    Returns
    -------
    array, shape (quantities, 3, N)
        For air, water vapour and products.
        Per kg of air, vapour or fuel [J/(kg K), H in J/kg].
    """
    lowest, highest = (T.min(), T.max()) if T.size else (LOWEST, LOWEST)
    outside = not (lowest >= LOWEST and highest <= HIGHEST)
    inner = np.clip(T, LOWEST, HIGHEST) if outside else T
    basis = _basis(inner * _SCALE, with_log=H in quantities or PHI in quantities)
    pick = list(quantities)

    def product(segment: int) -> FloatArray:
        return (tab.rows[segment, pick].reshape(-1, 9) @ basis).reshape(len(pick), 3, T.size)

    if highest <= SEGMENT_TEMPERATURE:
        out = product(0)
    elif lowest > SEGMENT_TEMPERATURE:
        out = product(1)
    else:
        out = np.where(inner > SEGMENT_TEMPERATURE, product(1), product(0))
    return _extend(out, T, inner, quantities) if outside else out


def _extend(out: FloatArray, T: FloatArray, inner: FloatArray, quantities: tuple[int, ...]) -> FloatArray:
    """Constant cp beyond the ends of the polynomials."""
    ratio = T / inner
    log_ratio = np.log(np.maximum(ratio, _LOG_FLOOR)) + np.minimum(ratio / _LOG_FLOOR - 1.0, 0.0)
    for k, q in enumerate(quantities):
        if q == H:
            out[k] += out[0] * (T - inner)
        elif q == PHI:
            out[k] += out[0] * log_ratio
        elif q == SLOPE:
            out[k] = np.where(T == inner, out[k], 0.0)
    return out


def foreign(tab: Tables, T: Any, far: Any, war: Any, quantities: tuple[int, ...]) -> list[Any]:
    """Quantities of the mixture for arrays of another library; that library differentiates them."""
    xp = (
        namespace(T)
        if namespace(T) is not np
        else namespace(far)
        if namespace(far) is not np
        else namespace(war)
    )
    inner = xp.clip(T, LOWEST, HIGHEST)
    share = 1.0 / (1.0 + far + war)
    r, log_t = 1.0 / inner, xp.log(inner)

    def combined(segment: int) -> list[Any]:
        air, water, fuel = tab.segments[segment]
        return [(a + war * w + far * f) * share for a, w, f in zip(air, water, fuel, strict=True)]

    low, high = combined(0), combined(1)
    c = [xp.where(inner > SEGMENT_TEMPERATURE, b, a) for a, b in zip(low, high, strict=True)]
    cp = _foreign_row(c, inner, r, log_t, CP)
    ratio = T / inner
    log_ratio = xp.log(xp.maximum(ratio, _LOG_FLOOR)) + xp.minimum(ratio / _LOG_FLOOR - 1.0, 0.0)
    beyond = {CP: 0.0, SLOPE: 0.0, H: cp * (T - inner), PHI: cp * log_ratio}
    return [_foreign_row(c, inner, r, log_t, q) + beyond[q] for q in quantities]


def _foreign_row(c: list[Any], T: Any, r: Any, log_t: Any, quantity: int) -> Any:
    a1, a2, a3, a4, a5, a6, a7, b1, b2 = c
    if quantity == CP:
        return (a1 * r + a2) * r + a3 + T * (a4 + T * (a5 + T * (a6 + T * a7)))
    if quantity == SLOPE:
        return (-2 * a1 * r - a2) * r + T * (a4 + T * (2 * a5 + T * (3 * a6 + T * (4 * a7))))
    if quantity == H:
        return b1 - a1 * r + a2 * log_t + T * (a3 + T * (a4 / 2 + T * (a5 / 3 + T * (a6 / 4 + T * (a7 / 5)))))
    return b2 - r * (a1 * r / 2 + a2) + a3 * log_t + T * (a4 + T * (a5 / 2 + T * (a6 / 3 + T * (a7 / 4))))
