"""Gas properties under JAX with their derivatives given by hand.

JAX could differentiate the polynomials and the inversions by itself; given by hand, the derivative of each
property is one product per operand, and the compiled program is several times smaller and faster. Values
are those of `GasMixture`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from spoolwright.core.gas import polynomials as poly
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.core.gas.polynomials import CP, HIGHEST, LOWEST, PHI, SLOPE, H
from spoolwright.core.gas.species import SEGMENT_TEMPERATURE
from spoolwright.core.numerics import Number

_STEPS = 4
"""Third-order steps of an inversion: from a start within 2 % to round-off [-]."""


class JaxMixture(GasMixture):
    """`GasMixture` for JAX arrays; the methods that the gas path uses, without starting guesses."""

    def cp(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Specific heat at constant pressure [J/(kg K)]."""
        return functions(self.hydrogen_to_carbon)["cp"](T, far, war)

    def enthalpy(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Sensible enthalpy above 298.15 K [J/kg]."""
        return functions(self.hydrogen_to_carbon)["enthalpy"](T, far, war)

    def entropy_function(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> Number:
        """Integral of cp/T dT from 298.15 K [J/(kg K)]."""
        return functions(self.hydrogen_to_carbon)["entropy"](T, far, war)

    def enthalpy_and_entropy(self, T: Number, far: Number = 0.0, war: Number = 0.0) -> tuple[Number, Number]:
        """Sensible enthalpy [J/kg] and entropy function [J/(kg K)]."""
        return self.enthalpy(T, far, war), self.entropy_function(T, far, war)

    def temperature_from_enthalpy(
        self, h: Number, far: Number = 0.0, war: Number = 0.0, guess: Number | None = None
    ) -> Number:
        """Temperature at which the sensible enthalpy is h [K]."""
        return functions(self.hydrogen_to_carbon)["from_enthalpy"](h, far, war)

    def temperature_from_entropy(
        self, phi: Number, far: Number = 0.0, war: Number = 0.0, guess: Number | None = None
    ) -> Number:
        """Temperature at which the entropy function is phi [K]."""
        return functions(self.hydrogen_to_carbon)["from_entropy"](phi, far, war)


@lru_cache(maxsize=16)
def functions(hydrogen_to_carbon: float) -> dict[str, Callable[[Any, Any, Any], Any]]:
    """The five functions of a fuel's mixture, each with its derivative.

    Parameters
    ----------
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom of the fuel [-].

    Returns
    -------
    dict
        "cp", "enthalpy", "entropy" of (T, far, war); "from_enthalpy", "from_entropy" [SI].
    """
    tab = poly.tables(hydrogen_to_carbon)
    return {
        "cp": _property(tab, CP),
        "enthalpy": _property(tab, H),
        "entropy": _property(tab, PHI),
        "from_enthalpy": _inversion(tab, H),
        "from_entropy": _inversion(tab, PHI),
    }


def _property(tab: poly.Tables, quantity: int) -> Callable[[Any, Any, Any], Any]:
    import jax

    @jax.custom_jvp  # type: ignore[untyped-decorator]
    def f(T: Any, far: Any, war: Any) -> Any:
        return _mixed(tab, T, far, war, (quantity,))[0][0]

    @f.defjvp  # type: ignore[untyped-decorator]
    def _(primals: Any, tangents: Any) -> Any:
        T, far, war = primals
        mix, by_water, by_fuel = _mixed(tab, T, far, war, (quantity, SLOPE if quantity == CP else CP))
        by_T = mix[1] if quantity == H else mix[1] / T
        dT, dfar, dwar = tangents
        return mix[0], by_T * dT + by_fuel[0] * dfar + by_water[0] * dwar

    return _of_arrays(f)


def _inversion(tab: poly.Tables, quantity: int) -> Callable[[Any, Any, Any], Any]:
    import jax

    @jax.custom_jvp  # type: ignore[untyped-decorator]
    def f(y: Any, far: Any, war: Any) -> Any:
        return _inverted(tab, quantity, y, far, war)

    @f.defjvp  # type: ignore[untyped-decorator]
    def _(primals: Any, tangents: Any) -> Any:
        y, far, war = primals
        T = f(y, far, war)
        mix, by_water, by_fuel = _mixed(tab, T, far, war, (CP, quantity))
        rate = 1.0 / mix[0] if quantity == H else T / mix[0]
        dy, dfar, dwar = tangents
        return T, rate * (dy - by_fuel[1] * dfar - by_water[1] * dwar)

    return _of_arrays(f)


def _of_arrays(f: Callable[[Any, Any, Any], Any]) -> Callable[[Any, Any, Any], Any]:
    from jax import numpy as jnp

    def on_arrays(*operands: Any) -> Any:
        return f(*(jnp.asarray(x, dtype=jnp.float64) for x in operands))

    return on_arrays


def _inverted(tab: poly.Tables, quantity: int, y: Any, far: Any, war: Any) -> Any:
    from jax import lax
    from jax import numpy as jnp

    air, water, fuel = tab.reference_cp
    fit = tab.guesses[0 if quantity == H else 1]
    x = y * ((1.0 + far + war) * air / (air + war * water + far * fuel))
    start = jnp.polyval(jnp.asarray(fit.coefficients[::-1]), jnp.clip(x, fit.lowest, fit.highest))

    def step(_: int, T: Any) -> Any:
        cp, slope, reached = _mixed(tab, T, far, war, (CP, SLOPE, quantity))[0]
        change = (y - reached) / cp
        bend = 0.5 * slope / cp * (change / T if quantity == H else change)
        change = change * (1.0 - jnp.clip(bend, -0.5, 0.5))
        return T + change if quantity == H else T * jnp.exp(jnp.clip(change, -2.0, 2.0))

    # a loop, not four copies: the compiler would else repeat them inside everything that uses T
    return lax.fori_loop(0, _STEPS, step, start if quantity == H else jnp.exp(start))


def _mixed(
    tab: poly.Tables, T: Any, far: Any, war: Any, quantities: tuple[int, ...]
) -> tuple[list[Any], list[Any], list[Any]]:
    """Quantities of the mixture, and their derivatives by water and by fuel."""
    from jax import numpy as jnp

    inner = jnp.clip(T, LOWEST, HIGHEST)
    r, log_t, hot = 1.0 / inner, jnp.log(inner), inner > SEGMENT_TEMPERATURE
    share = 1.0 / (1.0 + far + war)
    log_ratio = jnp.log(jnp.maximum(T / inner, poly.LOG_FLOOR))
    parts = []
    for low, high in zip(*tab.segments, strict=True):
        c = [jnp.where(hot, b, a) for a, b in zip(low, high, strict=True)]
        cp = poly.expression(c, inner, r, log_t, CP)
        beyond = {CP: 0.0, SLOPE: 0.0, H: cp * (T - inner), PHI: cp * log_ratio}
        parts.append([poly.expression(c, inner, r, log_t, q) + beyond[q] for q in quantities])
    mix = [(a + war * w + far * f) * share for a, w, f in zip(*parts, strict=True)]
    by_water = [(w - m) * share for w, m in zip(parts[1], mix, strict=True)]
    by_fuel = [(f - m) * share for f, m in zip(parts[2], mix, strict=True)]
    return mix, by_water, by_fuel
