"""The value of a limit curve."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spoolwright.crafts.typefile.limit import LimitCurve
from spoolwright.units import to_inner

FloatArray = NDArray[np.float64]


@lru_cache(maxsize=256)
def _inner_corners(curve: LimitCurve, unit: str) -> tuple[FloatArray, FloatArray]:
    xs = np.array([to_inner(x, curve.x_unit) for x, _ in curve.points])
    return xs, np.array([to_inner(y, unit) for _, y in curve.points])


def curve_values(curve: LimitCurve, unit: str, x: Any) -> FloatArray:
    """The curve over an array of inner x values, in the inner unit; NaN where the curve is not stated.

    A curve of lines is stated from its first to its last corner; one of steps from its first corner on.
    """
    xs, ys = _inner_corners(curve, unit)
    at = np.asarray(x, dtype=float)
    if curve.between == "linear":
        return np.asarray(np.interp(at, xs, ys, left=np.nan, right=np.nan), dtype=float)
    index = np.searchsorted(xs, at, side="right") - 1
    return np.where((index >= 0) & ~np.isnan(at), ys[np.clip(index, 0, None)], np.nan)


def curve_value(curve: LimitCurve, unit: str, x: float) -> float | None:
    """The curve at one inner x value, in the inner unit; None where the curve is not stated."""
    value = float(curve_values(curve, unit, x))
    return None if np.isnan(value) else value
