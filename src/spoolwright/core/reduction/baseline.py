"""What the cycle model needs on top of itself: a small correction of its shape, learnt from other runs.

The model is compared with every point at the point's own surroundings and measured gas temperature. The
logarithm of observed over modelled is a level of the engine (its condition, never carried to another engine),
a shape common to the type, what single engines and runs add, and the errors of the instruments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.errors import InputError

FEATURES = ("s", "s^2", "s^3", "ln theta", "ln theta^2", "s ln theta", "humidity", "ln Re")
"""Terms of the shape; s is ln of (MGT / inlet temperature) over its value at the reference rating."""

PRIOR = np.array([0.5, 3.0, 15.0, 0.015, 0.06, 0.15, 0.04, 0.03])
"""Standard deviations of the terms for power and fuel flow before any run is seen.

In s: what different maps of like engines do, 5 % over a tenth. In the rest: by similarity an engine with any
maps gives the same power / (p2 sqrt T2) at the same MGT / T2, so only the model of what departs from
similarity can be wrong: real gas (exponent of theta 0.62 instead of 0.5) and humidity (0.4 per kg/kg), both
known to a tenth, and the Reynolds number (exponent 0.15), known to a fifth.
"""
_SUTHERLAND = 110.4  # K, air (ISO 2533:1975, equation 14)

SCALE = {"power": 1.0, "fuel_flow": 1.0, "gas_generator_speed": 0.3}
QUANTITIES = tuple(SCALE)
_FORMAT = "spoolwright-model-baseline-1"


@dataclass(frozen=True)
class Spread:
    """How far single engines, runs and points depart from the common shape; standard deviations of ln ratio.

    Parameters
    ----------
    level : float
        Between engines at the reference; information only, never used as a prior on an engine [-].
    run : float
        Between runs of an engine, beyond what the instruments explain [-].
    setting : float
        Between engines, for each unit of s [-].
    run_setting : float
        Between runs of an engine, for each unit of s: gas temperature profiles turn with load [-].
    theta : float
        Between engines, for each unit of ln theta [-].
    point : float
        Between points, beyond their stated scatter [-].
    """

    level: float = 0.03
    run: float = 0.001
    setting: float = 0.05
    run_setting: float = 0.03
    theta: float = 0.02
    point: float = 0.001


@dataclass(frozen=True)
class Shape:
    """Shape correction of one quantity with its uncertainty.

    Parameters
    ----------
    coefficients : array, shape (p,)
        Best values for FEATURES [-].
    root : array, shape (p, p)
        Root of their covariance: root @ root.T [-].
    spread : Spread
        Departures from the shape [-].
    """

    coefficients: FloatArray
    root: FloatArray
    spread: Spread


@dataclass(frozen=True)
class ModelBaseline:
    """The shape corrections of a type, and what they rest on.

    Parameters
    ----------
    shapes : dict
        Quantity to `Shape` [-].
    runs, engines : int
        Number of runs and engines learnt from; 0 when nothing but the prior stands behind it [-].
    theta_range : tuple of float
        Smallest and largest ln theta seen [-].
    setting_range : tuple of float
        Smallest and largest s seen [-].
    type_id : str
        Type it was learnt for; empty fits any [-].
    """

    shapes: dict[str, Shape]
    runs: int = 0
    engines: int = 0
    theta_range: tuple[float, float] = (0.0, 0.0)
    setting_range: tuple[float, float] = (0.0, 0.0)
    type_id: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain lists and numbers, ready for JSON [-]."""
        shapes = {
            name: {
                "coefficients": s.coefficients.tolist(),
                "root": s.root.tolist(),
                "spread": vars(s.spread).copy(),
            }
            for name, s in self.shapes.items()
        }
        return {
            "format": _FORMAT,
            "type_id": self.type_id,
            "features": list(FEATURES),
            "runs": self.runs,
            "engines": self.engines,
            "theta_range": list(self.theta_range),
            "setting_range": list(self.setting_range),
            "shapes": shapes,
        }


def baseline_from_dict(given: dict[str, Any]) -> ModelBaseline:
    """Read what `ModelBaseline.to_dict` wrote.

    Parameters
    ----------
    given : dict
        Parsed JSON [-].

    Returns
    -------
    ModelBaseline
        The baseline [-].

    Raises
    ------
    InputError
        When it is no baseline of this format and these features.
    """
    try:
        if not isinstance(given, dict):
            raise TypeError("it holds no table")
        if given["format"] != _FORMAT or tuple(given["features"]) != FEATURES:
            raise ValueError("it has another format or other features")
        return ModelBaseline(
            {name: _shape_of(given["shapes"][name]) for name in QUANTITIES},
            int(given["runs"]),
            int(given["engines"]),
            _range_of(given["theta_range"]),
            _range_of(given["setting_range"]),
            str(given["type_id"]),
        )
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError) as error:
        told = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise InputError(
            f"this is not a model baseline of this version ({told[:200]}).",
            mend="Calibrate it again from recorded runs.",
        ) from error


def _shape_of(given: dict[str, Any]) -> Shape:
    coefficients, root = (np.array(given[key], dtype=float) for key in ("coefficients", "root"))
    p = len(FEATURES)
    if coefficients.shape != (p,) or root.ndim != 2 or root.shape[0] != p:
        raise ValueError("a shape has another number of terms")
    spread = Spread(**{name: float(x) for name, x in given["spread"].items()})
    if not (np.isfinite(coefficients).all() and np.isfinite(root).all()):
        raise ValueError("a number is not finite")
    if not all(0.0 <= x < np.inf for x in vars(spread).values()):
        raise ValueError("a spread is no standard deviation")
    return Shape(coefficients, root, spread)


def _range_of(given: Any) -> tuple[float, float]:
    low, high = (float(x) for x in given)
    if not -np.inf < low <= high < np.inf:
        raise ValueError("a range does not rise")
    return low, high


def uncalibrated_baseline() -> ModelBaseline:
    """The baseline before any run was seen: no correction, and the prior's wide uncertainty [-]."""
    return ModelBaseline(
        {q: Shape(np.zeros(len(FEATURES)), np.diag(PRIOR * SCALE[q]), Spread()) for q in QUANTITIES}
    )


def log_reynolds(theta: FloatArray, delta: FloatArray, temperature: float) -> FloatArray:
    """ln of the Reynolds number at a given Mach number over its value at the reference condition.

    Parameters
    ----------
    theta, delta : array, shape (n,)
        Inlet temperature and pressure over those of the reference condition [-].
    temperature : float
        Reference temperature [K].

    Returns
    -------
    array, shape (n,)
        ln of p / (sqrt(T) viscosity), relative [-].

    References
    ----------
    ISO 2533:1975, equation 14 (Sutherland's viscosity of air).

    Examples
    --------
    >>> float(log_reynolds(np.array(1.0), np.array(2.0), 288.15).round(6))
    0.693147
    """
    viscosity = theta**1.5 * (temperature + _SUTHERLAND) / (theta * temperature + _SUTHERLAND)
    return np.asarray(np.log(delta / (np.sqrt(theta) * viscosity)))


def shape_features(
    setting: FloatArray, log_theta: FloatArray, humidity: FloatArray, log_reynolds: FloatArray
) -> FloatArray:
    """Terms of the shape at points.

    Parameters
    ----------
    setting : array, shape (n,)
        s: ln of (MGT / inlet temperature) over its value at the reference rating [-].
    log_theta : array, shape (n,)
        ln of inlet temperature over the reference temperature [-].
    humidity : array, shape (n,)
        Water-air ratio less the reference's [kg/kg].
    log_reynolds : array, shape (n,)
        ln of the Reynolds number over the reference's, see `log_reynolds` [-].

    Returns
    -------
    array, shape (n, p)
        One column a feature; all but the powers of s vanish at the reference condition [-].
    """
    s, t, w, d = np.broadcast_arrays(setting, log_theta, humidity, log_reynolds)
    return np.stack([s, s**2, s**3, t, t**2, s * t, w, d], axis=-1)
