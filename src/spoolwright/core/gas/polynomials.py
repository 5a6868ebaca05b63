"""Evaluation of the mixture's polynomials: a scalar kernel, an array kernel, one for other array libraries.

A mixture per kg of dry air is air + war · water vapour + far · (products of 1 kg fuel, less the oxygen they
took), so three sets of nine coefficients per temperature segment carry every composition. The array kernel
writes the powers of T once and lets one matrix product give all rows: several times faster than Horner
schemes.

The published sets of the two segments meet at 1000 K only to their printed digits: products' h by 0.03 J/kg.
The integration constants of the upper segment are therefore shifted so that h and the entropy function are
continuous and have one inverse; cp keeps its step of below 6e-9 (relative) and the change of its slope.
"""

from __future__ import annotations

import math
import threading
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
from spoolwright.core.numerics import FloatArray, namespace

CP, SLOPE, H, PHI = range(4)
"""Rows an evaluation may ask for: cp, T·dcp/dT, sensible enthalpy, entropy function."""

LOWEST, HIGHEST = 150.0, 2600.0
"""Ends of the polynomials' use [K]; beyond them cp stays constant, so that an iteration may stray."""

LOG_FLOOR: Final = 0.1
"""Share of LOWEST or HIGHEST below which the logarithm goes on along its tangent [-]."""

_REFERENCE_TEMPERATURE: Final = 700.0  # cp there makes first guesses of all mixtures look like those of air
_SCALE: Final = 1e-3  # the array kernel works in thousands of kelvin: terms of like size


@dataclass(frozen=True)
class Guess:
    """Polynomial in h or the entropy function of dry air that gives T, or ln T, within a few per cent."""

    coefficients: tuple[float, ...]
    lowest: float
    highest: float


@dataclass(frozen=True)
class Tables:
    """Coefficients of air, water vapour and products, below and above 1000 K.

    `gas_constants` and `reference_cp` (at 700 K) hold a value for each of the three; `segments` two tuples of
    three coefficient sets; `rows` the same as matrices (segment, quantity, component, basis function);
    `guesses` starting values of T from h and from the entropy function.
    """

    gas_constants: tuple[float, float, float]
    reference_cp: tuple[float, float, float]
    segments: tuple[tuple[Coefficients, ...], tuple[Coefficients, ...]]
    rows: FloatArray
    guesses: tuple[Guess, Guess]


@lru_cache(maxsize=64)
def tables(hydrogen_to_carbon: float) -> Tables:
    """The coefficient tables of air, water vapour and burnt CH_x, combined once.

    Parameters
    ----------
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom of the fuel [-].

    Returns
    -------
    Tables
        Coefficients per kg of air, of vapour, of fuel [J/(kg K)].
    """
    fuel = 1.0 / (ATOMIC_WEIGHT["C"] + hydrogen_to_carbon * ATOMIC_WEIGHT["H"])
    amounts: list[dict[str, float]] = [
        {s: x / DRY_AIR_MOLAR_MASS for s, x in DRY_AIR.items()},
        {"H2O": 1.0 / SPECIES["H2O"].molar_mass},
        {"CO2": fuel, "H2O": fuel * hydrogen_to_carbon / 2, "O2": -fuel * (1 + hydrogen_to_carbon / 4)},
    ]
    parts = [_summed(a) for a in amounts]
    segments = (tuple(p[1][0] for p in parts), tuple(p[1][1] for p in parts))
    rows = np.array([[[_row(q, c) for c in seg] for q in range(4)] for seg in segments])
    reference_cp = tuple(scalar(c, _REFERENCE_TEMPERATURE, CP) for c in segments[0])
    guesses = _guesses(segments[0][0], segments[1][0])
    return Tables(tuple(p[0] for p in parts), reference_cp, segments, rows, guesses)  # type: ignore[arg-type]


def _summed(moles: dict[str, float]) -> tuple[float, list[Coefficients]]:
    """Gas constant and the two coefficient sets of an amount of species, with datum 298.15 K."""
    low, high = (
        [sum(n * GAS_CONSTANT * getattr(SPECIES[s], part)[i] for s, n in moles.items()) for i in range(9)]
        for part in ("low", "high")
    )
    for i, quantity in ((7, H), (8, PHI)):
        low[i] -= scalar(tuple(low), DATUM_TEMPERATURE, quantity)
        below, above = (scalar(tuple(c), SEGMENT_TEMPERATURE, quantity) for c in (low, high))
        high[i] += below - above
    return GAS_CONSTANT * sum(moles.values()), [tuple(low), tuple(high)]


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


def _guesses(low: Coefficients, high: Coefficients) -> tuple[Guess, Guess]:
    T = np.geomspace(LOWEST, HIGHEST, 200)
    fits = []
    for quantity, y, weight in ((H, T, 1 / T), (PHI, np.log(T), None)):
        x = np.array([scalar(high if t > SEGMENT_TEMPERATURE else low, t, quantity) for t in T.tolist()])
        unit = np.abs(x).max()
        scaled = np.polynomial.polynomial.polyfit(x / unit, y, 5, w=weight)
        fits.append(Guess(tuple((scaled / unit ** np.arange(6)).tolist()), float(x.min()), float(x.max())))
    return fits[0], fits[1]


def expression(c: Any, T: Any, r: Any, log_t: Any, quantity: int) -> Any:
    """One quantity of one coefficient set, for floats and arrays alike.

    Parameters
    ----------
    c : sequence of 9 floats or arrays
        Coefficients [J/(kg K)].
    T, r, log_t : float or array
        Temperature [K], 1/T [1/K] and ln T [-].
    quantity : int
        CP, SLOPE, H or PHI [-].

    Returns
    -------
    float or array
        The quantity [J/(kg K), H in J/kg].
    """
    a1, a2, a3, a4, a5, a6, a7, b1, b2 = c
    if quantity == CP:
        return (a1 * r + a2) * r + a3 + T * (a4 + T * (a5 + T * (a6 + T * a7)))
    if quantity == SLOPE:
        return (-2 * a1 * r - a2) * r + T * (a4 + T * (2 * a5 + T * (3 * a6 + T * (4 * a7))))
    if quantity == H:
        return b1 - a1 * r + a2 * log_t + T * (a3 + T * (a4 / 2 + T * (a5 / 3 + T * (a6 / 4 + T * (a7 / 5)))))
    return b2 - r * (a1 * r / 2 + a2) + a3 * log_t + T * (a4 + T * (a5 / 2 + T * (a6 / 3 + T * (a7 / 4))))


def scalar(c: Coefficients, T: float, quantity: int) -> float:
    """One quantity of one coefficient set at one temperature.

    Parameters
    ----------
    c : tuple of 9 floats
        Coefficients [J/(kg K)].
    T : float
        Temperature [K].
    quantity : int
        CP, SLOPE, H or PHI [-].

    Returns
    -------
    float
        The quantity [J/(kg K), H in J/kg].
    """
    if LOWEST <= T <= HIGHEST:
        return expression(c, T, 1.0 / T, math.log(T), quantity)  # type: ignore[no-any-return]
    edge = LOWEST if T < LOWEST else HIGHEST
    if quantity == SLOPE:
        return 0.0
    out: float = expression(c, edge, 1.0 / edge, math.log(edge), quantity)
    if quantity == CP:
        return out
    cp: float = expression(c, edge, 1.0 / edge, math.log(edge), CP)
    if quantity == H:
        return out + cp * (T - edge)
    x = T / edge
    return out + cp * (math.log(x) if x > LOG_FLOOR else math.log(LOG_FLOOR) + x / LOG_FLOOR - 1.0)


class _Workspace(threading.local):
    """Buffers of the array kernel, a set per thread: fresh ones this large cost more than the arithmetic."""

    def __init__(self) -> None:
        self.buffer = np.empty(0)

    def take(self, n: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Room for the basis and for two products."""
        if self.buffer.size < 33 * n:
            self.buffer = np.empty(33 * n)
        return self.buffer[: 9 * n].reshape(9, n), self.buffer[9 * n : 21 * n], self.buffer[21 * n : 33 * n]


_workspace = _Workspace()


def _fill_basis(out: FloatArray, t: FloatArray) -> None:
    np.divide(1.0, t, out=out[1])
    np.multiply(out[1], out[1], out=out[0])
    out[2] = 1.0
    out[3] = t
    np.multiply(t, t, out=out[4])
    np.multiply(out[4], t, out=out[5])
    np.multiply(out[4], out[4], out=out[6])
    np.multiply(out[5], out[4], out=out[7])
    np.log(t, out=out[8])


def arrays(tab: Tables, T: FloatArray, quantities: tuple[int, ...], width: int = 3) -> FloatArray:
    """Quantities of the components at many temperatures.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    T : array, shape (N,)
        Temperature [K].
    quantities : tuple of int
        CP first, then any of SLOPE, H, PHI [-].
    width : int
        1 for air, 2 with water vapour, 3 with products [-].

    Returns
    -------
    array, shape (quantities, width, N)
        Per kg of air, vapour or fuel, valid until the next call in this thread [J/(kg K), H in J/kg].
    """
    lowest, highest = np.fmin.reduce(T, initial=np.inf), np.fmax.reduce(T, initial=-np.inf)
    outside = lowest < LOWEST or highest > HIGHEST
    inner = np.clip(T, LOWEST, HIGHEST) if outside else T
    basis, *products = _workspace.take(T.size)
    _fill_basis(basis, inner * _SCALE)
    shape = (len(quantities) * width, T.size)
    low, high = (p[: shape[0] * T.size].reshape(shape) for p in products)
    if lowest <= SEGMENT_TEMPERATURE:
        np.matmul(tab.rows[0, quantities, :width].reshape(-1, 9), basis, out=low)
    if highest > SEGMENT_TEMPERATURE:
        np.matmul(tab.rows[1, quantities, :width].reshape(-1, 9), basis, out=high)
    out = high if lowest > SEGMENT_TEMPERATURE else low
    if lowest <= SEGMENT_TEMPERATURE < highest:
        high -= low
        high *= inner > SEGMENT_TEMPERATURE
        low += high
    result = out.reshape(len(quantities), width, T.size)
    return _extended(result, T, inner, quantities) if outside else result


def _extended(out: FloatArray, T: FloatArray, inner: FloatArray, quantities: tuple[int, ...]) -> FloatArray:
    """Constant cp beyond the ends of the polynomials."""
    ratio = T / inner
    log_ratio = np.log(np.maximum(ratio, LOG_FLOOR)) + np.minimum(ratio / LOG_FLOOR - 1.0, 0.0)
    for k, q in enumerate(quantities):
        if q == H:
            out[k] += out[0] * (T - inner)
        elif q == PHI:
            out[k] += out[0] * log_ratio
        elif q == SLOPE:
            out[k] *= inner == T
    return out


def foreign(tab: Tables, T: Any, far: Any, war: Any, quantities: tuple[int, ...]) -> list[Any]:
    """Quantities of the mixture for arrays of another library, which differentiates them itself.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    T, far, war : arrays
        Temperature [K], fuel and water vapour per mass of dry air [kg/kg].
    quantities : tuple of int
        Any of CP, SLOPE, H, PHI [-].

    Returns
    -------
    list of arrays
        The quantities, per kg of mixture [J/(kg K), H in J/kg].
    """
    xp = foreign_namespace(T, far, war)
    inner = xp.clip(T, LOWEST, HIGHEST)
    share = 1.0 / (1.0 + far + war)
    r, log_t, hot = 1.0 / inner, xp.log(inner), inner > SEGMENT_TEMPERATURE
    low, high = (
        [(a + war * w + far * f) * share for a, w, f in zip(*segment, strict=True)]
        for segment in tab.segments
    )
    c = [xp.where(hot, b, a) for a, b in zip(low, high, strict=True)]
    cp = expression(c, inner, r, log_t, CP)
    ratio = T / inner
    log_ratio = xp.log(xp.maximum(ratio, LOG_FLOOR)) + xp.minimum(ratio / LOG_FLOOR - 1.0, 0.0)
    beyond = {CP: 0.0, SLOPE: 0.0, H: cp * (T - inner), PHI: cp * log_ratio}
    return [expression(c, inner, r, log_t, q) + beyond[q] for q in quantities]


def foreign_namespace(*xs: Any) -> Any:
    """The namespace of the first array that is not NumPy's.

    Parameters
    ----------
    *xs : floats or arrays
        Operands, one of them of another library [-].

    Returns
    -------
    module
        Its array functions [-].
    """
    return next(space for space in map(namespace, xs) if space is not np)
