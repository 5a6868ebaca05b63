"""Values, exact derivatives and inversions of the mixture's properties for every kind of number.

Floats take a scalar path, arrays one matrix product, duals the same values with the exact derivative
attached, arrays of other libraries a branch-free expression which that library differentiates.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from spoolwright.core.gas import polynomials as poly
from spoolwright.core.gas.polynomials import CP, HIGHEST, LOG_FLOOR, LOWEST, PHI, SLOPE, H, Tables
from spoolwright.core.gas.species import SEGMENT_TEMPERATURE, Coefficients
from spoolwright.core.numerics import Dual, Number, chain, is_foreign, namespace, value

_DONE: Final = 1e-6  # after a step this small (relative) the third-order error is far below round-off
_MOST_STEPS: Final = 40
_FOREIGN_STEPS: Final = 4
_MOST_BEND, _MOST_STRETCH = 0.5, 2.0  # limits of the third-order term and of one step in ln T


def combined(tab: Tables, hot: int, far: float, war: float) -> Coefficients:
    """One coefficient set for a mixture.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    hot : int
        Segment: 1 above 1000 K, else 0 [-].
    far, war : float
        Fuel and water vapour per mass of dry air [kg/kg].

    Returns
    -------
    tuple of 9 floats
        Coefficients per kg of mixture [J/(kg K)].
    """
    air, water, fuel = tab.segments[hot]
    if far == 0.0 and war == 0.0:
        return air
    s = 1.0 / (1.0 + far + war)
    w, f = war * s, far * s
    a1, a2, a3, a4, a5, a6, a7, a8, a9 = air
    b1, b2, b3, b4, b5, b6, b7, b8, b9 = water
    c1, c2, c3, c4, c5, c6, c7, c8, c9 = fuel
    return (  # written out: half the time of a loop, and a single engine solution calls it thousands of times
        a1 * s + b1 * w + c1 * f,
        a2 * s + b2 * w + c2 * f,
        a3 * s + b3 * w + c3 * f,
        a4 * s + b4 * w + c4 * f,
        a5 * s + b5 * w + c5 * f,
        a6 * s + b6 * w + c6 * f,
        a7 * s + b7 * w + c7 * f,
        a8 * s + b8 * w + c8 * f,
        a9 * s + b9 * w + c9 * f,
    )


def scalar_property(tab: Tables, quantity: int, T: float, far: float, war: float) -> float:
    """One quantity of the mixture for plain floats.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    quantity : int
        CP, SLOPE, H or PHI [-].
    T, far, war : float
        Temperature [K], fuel and water vapour per mass of dry air [kg/kg].

    Returns
    -------
    float
        The quantity per kg of mixture [J/(kg K), H in J/kg].
    """
    return poly.scalar(combined(tab, 1 if T > SEGMENT_TEMPERATURE else 0, far, war), T, quantity)


class _Point:
    """Quantities of the mixture, values only, and those of its components where a derivative needs them."""

    __slots__ = ("mix", "parts", "share")

    def __init__(self, parts: Any, far: Any, war: Any) -> None:
        """Mix the parts, a sequence over quantities of sequences over components."""
        self.share = share = 1.0 / (1.0 + far + war)
        self.parts = parts
        if len(parts[0]) == 1:
            self.mix = [part[0] for part in parts]
        elif len(parts[0]) == 2:
            self.mix = [(part[0] + war * part[1]) * share for part in parts]
        else:
            self.mix = [(part[0] + war * part[1] + far * part[2]) * share for part in parts]

    def by(self, component: int, k: int) -> Any:
        """Derivative of quantity k by the mass of a component (1 vapour, 2 fuel) per mass of dry air."""
        return (self.parts[k][component] - self.mix[k]) * self.share


def _is_scalar(*xs: Any) -> bool:
    return all(isinstance(x, float | int) for x in xs)


def _evaluate(tab: Tables, quantities: tuple[int, ...], T: Any, far: Number, war: Number) -> _Point:
    """Values of the quantities (CP stands first) for floats or NumPy arrays; far and war may be dual."""
    f, w = value(far), value(war)
    if _is_scalar(T, f, w):
        sets = tab.segments[1 if T > SEGMENT_TEMPERATURE else 0]
        return _Point([[poly.scalar(c, T, q) for c in sets] for q in quantities], f, w)
    T = np.asarray(T, dtype=np.float64)
    shape = np.broadcast_shapes(T.shape, np.shape(f), np.shape(w))
    if T.shape != shape:
        T = np.broadcast_to(T, shape)
    width = 1 if far is f and war is w and _is_scalar(f, w) and f == w == 0.0 else 3
    width = 2 if width == 3 and far is f and _is_scalar(f) and f == 0.0 else width
    parts = poly.arrays(tab, T.reshape(-1), quantities, width)
    point = _Point(parts.reshape(len(quantities), width, *shape), f, w)
    if width == 1:  # the only case in which the mixture is a view of the kernel's buffer
        point.mix = [m.copy() for m in point.mix]
    return point


def properties(tab: Tables, quantities: tuple[int, ...], T: Number, far: Number, war: Number) -> list[Number]:
    """Quantities of the mixture with their exact derivatives.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    quantities : tuple of int
        Any of CP, H, PHI [-].
    T, far, war : float, array, Dual or foreign array
        Temperature [K], fuel and water vapour per mass of dry air [kg/kg].

    Returns
    -------
    list
        The quantities per kg of mixture [J/(kg K), H in J/kg].
    """
    if is_foreign(T, far, war):
        return poly.foreign(tab, T, far, war, quantities)
    if _is_scalar(T, far, war):
        c = combined(tab, 1 if T > SEGMENT_TEMPERATURE else 0, far, war)
        return [poly.scalar(c, float(T), q) for q in quantities]
    wanted = (CP, *(q for q in quantities if q != CP))
    if isinstance(T, Dual) and CP in quantities:
        wanted = (*wanted, SLOPE)
    t = value(T)
    point = _evaluate(tab, wanted, float(t) if isinstance(t, int) else t, far, war)
    return [_lifted(point, wanted, q, T, far, war) for q in quantities]


def _lifted(
    point: _Point, wanted: tuple[int, ...], quantity: int, T: Number, far: Number, war: Number
) -> Number:
    k = wanted.index(quantity)
    terms = []
    if isinstance(T, Dual):
        rate = point.mix[wanted.index(SLOPE)] / T.v if quantity == CP else point.mix[0]
        terms.append((rate / _positive(T.v) if quantity == PHI else rate, T))
    if isinstance(war, Dual):
        terms.append((point.by(1, k), war))
    if isinstance(far, Dual):
        terms.append((point.by(2, k), far))
    return chain(point.mix[k], *terms)


def _positive(T: Any) -> Any:
    """The temperature that divides cp in dφ/dT: not below the end of the logarithm."""
    floor = LOG_FLOOR * LOWEST
    return max(T, floor) if isinstance(T, float) else namespace(T).maximum(T, floor)


def inverse(
    tab: Tables, quantity: int, target: Number, far: Number, war: Number, guess: Number | None
) -> Number:
    """Temperature at which the sensible enthalpy or the entropy function reaches a target.

    Parameters
    ----------
    tab : Tables
        Coefficients [-].
    quantity : int
        H or PHI [-].
    target : float, array, Dual or foreign array
        Value to reach [J/kg or J/(kg K)].
    far, war : float, array, Dual or foreign array
        Fuel and water vapour per mass of dry air [kg/kg].
    guess : float, array or None
        Starting temperature; a fitted one is good enough for two steps [K].

    Returns
    -------
    float, array, Dual or foreign array
        Temperature, duals with the tangent of the implicit function [K].
    """
    if is_foreign(target, far, war):
        return _inverse_foreign(tab, quantity, target, far, war, guess)
    y, f, w = value(target), value(far), value(war)
    y = float(y) if isinstance(y, int) else y
    T = _first_guess(tab, quantity, y, f, w) if guess is None else value(guess)
    if _is_scalar(y, f, w):
        T = _solve_scalar(tab, quantity, y, f, w, float(T))
        if not any(isinstance(x, Dual) for x in (target, far, war)):
            return T
        point, change = _evaluate(tab, (CP, SLOPE, quantity), T, far, war), 0.0
    else:
        T, point, change = _solve_arrays(tab, quantity, y, far, war, T)
    return _implicit(point, quantity, T, change, target, far, war)


def _implicit(
    point: _Point, quantity: int, T: Any, change: Any, target: Number, far: Number, war: Number
) -> Number:
    """Attach the tangent of the inverse; `change` is dT (H) or dT/T (PHI) since the point was evaluated."""
    relative = change / T if quantity == H else change
    cp = point.mix[0] + point.mix[1] * relative
    rate = (1.0 if quantity == H else _positive(T)) / cp
    terms = [(rate, target)]
    for component, operand in ((1, war), (2, far)):
        if isinstance(operand, Dual):
            reached = point.parts[2][component] + point.parts[0][component] * change
            terms.append(((value(target) - reached) * point.share * rate, operand))
    return chain(T, *terms)


def _stepped(quantity: int, T: Any, residual: Any, cp: Any, slope: Any, xp: Any) -> tuple[Any, Any]:
    """A third-order (Chebyshev) step: the new temperature, and dT (H) or dT/T (PHI).

    The correction is limited, so that the step keeps its sign and size far from the root; both functions rise
    everywhere, which makes the iteration converge from any start.
    """
    step = residual / cp  # dT for H, d ln T for PHI
    bend = 0.5 * slope / cp * (step / T if quantity == H else step)
    step = step * (1.0 - xp.clip(bend, -_MOST_BEND, _MOST_BEND))
    if quantity == H:
        return T + step, step
    return T * xp.exp(xp.clip(step, -_MOST_STRETCH, _MOST_STRETCH)), step


def _solve_scalar(tab: Tables, quantity: int, y: float, far: float, war: float, T: float) -> float:
    """As `_solve_arrays`, written out for speed on plain floats."""
    sets: list[Coefficients | None] = [None, None]
    expression = poly.expression
    for _ in range(_MOST_STEPS):
        hot = 1 if T > SEGMENT_TEMPERATURE else 0
        c = sets[hot] = sets[hot] or combined(tab, hot, far, war)
        if LOWEST <= T <= HIGHEST:
            r, log_t = 1.0 / T, math.log(T)
            cp, slope = expression(c, T, r, log_t, CP), expression(c, T, r, log_t, SLOPE)
            step = (y - expression(c, T, r, log_t, quantity)) / cp
        else:
            cp, slope = poly.scalar(c, T, CP), 0.0
            step = (y - poly.scalar(c, T, quantity)) / cp
        bend = 0.5 * slope / cp * (step / T if quantity == H else step)
        step *= 1.0 - min(max(bend, -_MOST_BEND), _MOST_BEND)
        if quantity == H:
            T += step
            step /= T
        else:
            T *= math.exp(min(max(step, -_MOST_STRETCH), _MOST_STRETCH))
        if abs(step) < _DONE:
            break
    return T


def _solve_arrays(
    tab: Tables, quantity: int, y: Any, far: Number, war: Number, T: Any
) -> tuple[Any, _Point, Any]:
    for _ in range(_MOST_STEPS):
        point = _evaluate(tab, (CP, SLOPE, quantity), T, far, war)
        cp, slope, reached = point.mix
        T, change = _stepped(quantity, T, y - reached, cp, slope, np)
        relative = change / T if quantity == H else change
        if np.fmax.reduce(np.abs(relative), axis=None, initial=0.0) < _DONE:
            break
    return T, point, change


def _inverse_foreign(tab: Tables, quantity: int, y: Any, far: Any, war: Any, guess: Any) -> Any:
    """Fixed number of steps on values, then one Newton step that the library differentiates."""
    from jax import lax

    stop = lax.stop_gradient
    xp = poly.foreign_namespace(y, far, war)
    y0, f0, w0 = (stop(xp.asarray(x)) for x in (y, far, war))
    T = _first_guess(tab, quantity, y0, f0, w0) if guess is None else stop(guess)
    for _ in range(_FOREIGN_STEPS):
        cp, slope, reached = poly.foreign(tab, T, f0, w0, (CP, SLOPE, quantity))
        T, _ = _stepped(quantity, T, y0 - reached, cp, slope, xp)
    T = stop(T)
    cp, reached = poly.foreign(tab, T, far, war, (CP, quantity))
    return T + (y - reached) * ((1.0 if quantity == H else _positive(T)) / cp)


def _first_guess(tab: Tables, quantity: int, y: Any, far: Any, war: Any) -> Any:
    """A starting temperature within 2 per cent: the target scaled to dry air, then a fitted polynomial."""
    air, water, fuel = tab.reference_cp
    x = y * ((1.0 + far + war) * air / (air + war * water + far * fuel))
    fit = tab.guesses[0 if quantity == H else 1]
    if isinstance(x, float):
        x = min(max(x, fit.lowest), fit.highest)
    else:
        x = namespace(x).clip(x, fit.lowest, fit.highest)
    c0, c1, c2, c3, c4, c5 = fit.coefficients
    out = c0 + x * (c1 + x * (c2 + x * (c3 + x * (c4 + x * c5))))
    if quantity == H:
        return out
    return math.exp(out) if isinstance(out, float) else namespace(out).exp(out)
