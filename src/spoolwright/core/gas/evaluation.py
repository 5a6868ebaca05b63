"""Values, exact derivatives and inversions of the mixture's properties for every kind of number.

Floats take an unrolled scalar path, arrays one matrix product, duals the array or scalar values with the exact derivative
attached, arrays of other libraries a branch-free expression which that library differentiates.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from spoolwright.core.gas import polynomials as poly
from spoolwright.core.gas.polynomials import CP, HIGHEST, LOWEST, PHI, SLOPE, H, Tables
from spoolwright.core.gas.species import SEGMENT_TEMPERATURE, Coefficients
from spoolwright.core.numerics import Dual, FloatArray, Number, chain, is_foreign, namespace, value

_DONE: Final = 1e-6  # after a step this small (relative) the third-order error is far below round-off
_MOST_STEPS: Final = 40


def combined(tab: Tables, hot: bool, far: float, war: float) -> Coefficients:
    """One coefficient set of the mixture, per kg of mixture."""
    air, water, fuel = tab.segments[hot]
    if far == 0.0 and war == 0.0:
        return air
    s = 1.0 / (1.0 + far + war)
    w, f = war * s, far * s
    a1, a2, a3, a4, a5, a6, a7, a8, a9 = air
    b1, b2, b3, b4, b5, b6, b7, b8, b9 = water
    c1, c2, c3, c4, c5, c6, c7, c8, c9 = fuel
    return (
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
    """One quantity of the mixture for plain floats."""
    c = combined(tab, T > SEGMENT_TEMPERATURE, far, war)
    if LOWEST <= T <= HIGHEST:
        return poly.scalar(c, T, quantity)
    return poly.scalar_extended(c, T, quantity)


class Point:
    """Quantities of the mixture, values only, with those of its components where a derivative needs them."""

    __slots__ = ("components", "mix", "share")

    def __init__(self, mix: Any, components: Any, share: Any) -> None:
        self.mix, self.components, self.share = mix, components, share

    def by(self, component: int, k: int) -> Any:
        """Derivative of quantity k by the mass of a component (1 water vapour, 2 products) per kg of dry air."""
        return (self.components[component][k] - self.mix[k]) * self.share


def evaluate(tab: Tables, quantities: tuple[int, ...], T: Any, far: Any, war: Any) -> Point:
    """Values of the quantities (CP must stand first) for floats or NumPy arrays."""
    if isinstance(T, float) and isinstance(far, float | int) and isinstance(war, float | int):
        return _evaluate_scalar(tab, quantities, T, far, war)
    return _evaluate_arrays(tab, quantities, T, far, war)


def _evaluate_scalar(tab: Tables, quantities: tuple[int, ...], T: float, far: float, war: float) -> Point:
    rule = poly.scalar if LOWEST <= T <= HIGHEST else poly.scalar_extended
    parts = [[rule(c, T, q) for q in quantities] for c in tab.segments[T > SEGMENT_TEMPERATURE]]
    share = 1.0 / (1.0 + far + war)
    mix = [(a + war * b + far * c) * share for a, b, c in zip(*parts, strict=True)]
    return Point(mix, parts, share)


def _evaluate_arrays(tab: Tables, quantities: tuple[int, ...], T: Any, far: Any, war: Any) -> Point:
    T = np.asarray(T, dtype=np.float64)
    shape = np.broadcast_shapes(T.shape, np.shape(far), np.shape(war))
    if T.shape != shape:
        T = np.broadcast_to(T, shape)
    parts = poly.arrays(tab, T.reshape(-1), quantities).reshape(len(quantities), 3, *shape)
    share = 1.0 / (1.0 + far + war)
    mix = [(part[0] + war * part[1] + far * part[2]) * share for part in parts]
    return Point(mix, parts.swapaxes(0, 1), share)


def properties(tab: Tables, quantities: tuple[int, ...], T: Number, far: Number, war: Number) -> list[Number]:
    """Quantities of the mixture (of CP, H, PHI) with their exact derivatives."""
    if is_foreign(T, far, war):
        return poly.foreign(tab, T, far, war, quantities)
    if isinstance(T, int):
        T = float(T)
    wanted = (CP, SLOPE, *(q for q in quantities if q != CP)) if CP in quantities else (CP, *quantities)
    t, f, w = value(T), value(far), value(war)
    point = evaluate(tab, wanted, t, f, w)
    return [_lifted(point, wanted, q, T, far, war) for q in quantities]


def _lifted(
    point: Point, wanted: tuple[int, ...], quantity: int, T: Number, far: Number, war: Number
) -> Number:
    k = wanted.index(quantity)
    terms = []
    if isinstance(T, Dual):
        terms.append((_by_temperature(point.mix, quantity, T.v), T))
    if isinstance(war, Dual):
        terms.append((point.by(1, k), war))
    if isinstance(far, Dual):
        terms.append((point.by(2, k), far))
    return chain(point.mix[k], *terms)


def _by_temperature(mix: Any, quantity: int, T: Any) -> Any:
    if quantity == H:
        return mix[0]
    return mix[0] / poly.positive(T) if quantity == PHI else mix[1] / T


# inversions


def inverse(
    tab: Tables, quantity: int, target: Number, far: Number, war: Number, guess: Number | None
) -> Number:
    """Temperature at which H or PHI reaches a target; exact tangent for duals."""
    if is_foreign(target, far, war):
        return _inverse_foreign(tab, quantity, target, far, war, guess)
    y, f, w = value(target), value(far), value(war)
    y = float(y) if isinstance(y, int) else y
    T = first_guess(tab, quantity, y, f, w) if guess is None else value(guess)
    if isinstance(y, float) and isinstance(f, float | int) and isinstance(w, float | int):
        T = _solve_scalar(tab, quantity, y, f, w, float(T))
        if not (isinstance(target, Dual) or isinstance(far, Dual) or isinstance(war, Dual)):
            return T
        point = _evaluate_scalar(tab, (CP, quantity), T, f, w)
    else:
        T, point = _solve_arrays(tab, quantity, y, f, w, T)
    rate = (1.0 if quantity == H else poly.positive(T)) / point.mix[0]
    terms = [(rate, target)]
    if isinstance(war, Dual):
        terms.append((-rate * point.by(1, 1), war))
    if isinstance(far, Dual):
        terms.append((-rate * point.by(2, 1), far))
    return chain(T, *terms)


def _stepped(quantity: int, T: Any, residual: Any, cp: Any, slope: Any, xp: Any) -> tuple[Any, Any]:
    """A third-order (Chebyshev) step: the new temperature and the size of the step relative to T."""
    step = residual / cp  # K for H, change of ln T for PHI
    bend = 0.5 * slope / cp * (step / T if quantity == H else step)
    if xp is math:
        step *= 1.0 - min(max(bend, -0.5), 0.5)
        if quantity == H:
            return T + step, abs(step / T)
        return T * math.exp(min(max(step, -2.0), 2.0)), abs(step)
    step = step * (1.0 - xp.clip(bend, -0.5, 0.5))
    if quantity == H:
        return T + step, abs(step / T)
    return T * xp.exp(xp.clip(step, -2.0, 2.0)), abs(step)


def _solve_scalar(tab: Tables, quantity: int, y: float, far: float, war: float, T: float) -> float:
    sets: list[Coefficients | None] = [None, None]
    for _ in range(_MOST_STEPS):
        hot = T > SEGMENT_TEMPERATURE
        c = sets[hot] = sets[hot] or combined(tab, hot, far, war)
        rule = poly.scalar if LOWEST <= T <= HIGHEST else poly.scalar_extended
        residual = y - rule(c, T, quantity)
        T, size = _stepped(quantity, T, residual, rule(c, T, CP), rule(c, T, SLOPE), math)
        if size < _DONE:
            break
    return T


def _solve_arrays(tab: Tables, quantity: int, y: Any, far: Any, war: Any, T: Any) -> tuple[Any, Point]:
    for _ in range(_MOST_STEPS):
        point = _evaluate_arrays(tab, (CP, SLOPE, quantity), T, far, war)
        cp, slope, reached = point.mix
        before = T
        T, size = _stepped(quantity, T, y - reached, cp, slope, np)
        if np.size(size) == 0 or size.max() < _DONE:
            break
    # carry cp and the components to the last temperature, a step below 1e-6 away: error of second order
    point = _evaluate_arrays(tab, (CP, quantity), T, far, war) if before is not T else point
    return T, point


def _inverse_foreign(tab: Tables, quantity: int, y: Any, far: Any, war: Any, guess: Any) -> Any:
    """Fixed number of steps on values, then one Newton step that the library differentiates."""
    from jax import lax

    stop = lax.stop_gradient
    xp = (
        namespace(y)
        if namespace(y) is not np
        else namespace(far)
        if namespace(far) is not np
        else namespace(war)
    )
    y0, f0, w0 = (stop(xp.asarray(x)) for x in (y, far, war))
    T = first_guess(tab, quantity, y0, f0, w0) if guess is None else stop(guess)
    for _ in range(4):
        cp, slope, reached = poly.foreign(tab, T, f0, w0, (CP, SLOPE, quantity))
        T, _ = _stepped(quantity, T, y0 - reached, cp, slope, xp)
    T = stop(T)
    cp, reached = poly.foreign(tab, T, far, war, (CP, quantity))
    rate = (1.0 if quantity == H else poly.positive(T)) / cp
    return T + (y - reached) * rate


def first_guess(tab: Tables, quantity: int, y: Any, far: Any, war: Any) -> Any:
    """A starting temperature within a few per cent: the target scaled to dry air, then a fitted polynomial."""
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
