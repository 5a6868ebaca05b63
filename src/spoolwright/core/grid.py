"""Interpolation on evenly spaced grids: cubic splines, continued outside by their tangent, never clamped.

Several quantities on one grid are interpolated together, so that a compressor map costs one look-up.
Every function takes floats, NumPy arrays, dual numbers and arrays of another array-API library alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from spoolwright.core.numerics import Dual, FloatArray, Number, chain, is_foreign, namespace, value
from spoolwright.errors import InputError

_HERMITE = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0], [-3, 3, -2, -1], [2, -2, 1, 1]])
"""Monomial coefficients of a cubic on [0, 1] from (f0, f1, f0', f1')."""


def spline_slopes(n: int) -> FloatArray:
    """Matrix that gives the slopes of the cubic spline (second derivative continuous, not-a-knot ends).

    Parameters
    ----------
    n : int
        Number of nodes at unit spacing, at least 4 [-].

    Returns
    -------
    array, shape (n, n)
        Slopes = matrix @ values [-].

    References
    ----------
    de Boor, A Practical Guide to Splines (Springer 1978), chapter IV.
    """
    a, b = np.zeros((n, n)), np.zeros((n, n))
    for i in range(1, n - 1):
        a[i, i - 1 : i + 2] = 1.0, 4.0, 1.0
        b[i, i - 1], b[i, i + 1] = -3.0, 3.0
    a[0, :2] = 1.0, 2.0
    b[0, :3] = -2.5, 2.0, 0.5
    a[-1, -2:] = 2.0, 1.0
    b[-1, -3:] = -0.5, -2.0, 2.5
    return np.asarray(np.linalg.solve(a, b), dtype=np.float64)


class Axis:
    """Evenly spaced axis of at least four points.

    Parameters
    ----------
    points : sequence of float
        Rising, evenly spaced to 1e-6 of the spacing [unit of the axis].
    name : str
        What the axis is, for the error message [-].

    Raises
    ------
    InputError
        The axis is too short, or not evenly spaced.
    """

    __slots__ = ("cells", "first", "last", "spacing")

    def __init__(self, points: Sequence[float], name: str) -> None:
        p = np.asarray(points, dtype=float)
        if len(p) < 4 or not p[-1] > p[0]:
            raise InputError(f"axis {name} has {len(p)} points or does not rise", mend="Give 4 or more.")
        self.first, self.last, self.cells = float(p[0]), float(p[-1]), len(p) - 1
        self.spacing = (self.last - self.first) / self.cells
        if np.max(np.abs(np.diff(p) / self.spacing - 1.0)) > 1e-6:
            raise InputError(f"axis {name} is not evenly spaced", mend="Interpolate the table to even steps.")

    def locate(self, x: Any) -> tuple[Any, Any]:
        """Cell and place within it (0 to 1 inside the axis, beyond outside)."""
        u = (x - self.first) / self.spacing
        if isinstance(u, float):
            i = min(max(int(u), 0), self.cells - 1) if u == u else 0
            return i, u - i
        xp = namespace(u)
        i = xp.clip(xp.floor(u), 0, self.cells - 1)
        return xp.asarray(xp.nan_to_num(i), dtype=int), u - i


def _powers(u: Any) -> tuple[Any, Any, Any, Any]:
    """u^2 and u^3 with their slopes; outside [0, 1] continued along the tangent."""
    c = (
        (0.0 if u < 0.0 else 1.0 if u > 1.0 else u)
        if isinstance(u, float)
        else namespace(u).clip(u, 0.0, 1.0)
    )
    cc, e = c * c, u - c
    d2, d3 = 2.0 * c, 3.0 * cc
    return cc + d2 * e, cc * c + d3 * e, d2, d3


class Spline:
    """Several quantities over one axis.

    Parameters
    ----------
    x : sequence of n floats
        Evenly spaced axis [unit of the axis].
    ys : sequence of q sequences of n floats
        Values [their own units].
    name : str
        What it is, for error messages [-].
    """

    def __init__(self, x: Sequence[float], ys: Sequence[Sequence[float]], name: str) -> None:
        self.axis = Axis(x, name)
        f = np.array(ys, dtype=float)
        if f.shape[1] != self.axis.cells + 1:
            raise InputError(f"{name}: values and axis differ in length", mend="Give one value per point.")
        g = f @ spline_slopes(f.shape[1]).T
        ends = np.stack([f[:, :-1], f[:, 1:], g[:, :-1], g[:, 1:]])
        self._coefficients = np.einsum("kp,pqi->kqi", _HERMITE, ends)
        self._cells = [list(map(tuple, c)) for c in self._coefficients.transpose(2, 1, 0).tolist()]

    def __call__(self, x: Number) -> list[Number]:
        """Values of every quantity at x, with exact derivative for dual x."""
        i, u = self.axis.locate(value(x))
        u2, u3, d2, d3 = _powers(u)
        if isinstance(i, int):
            rows: Any = self._cells[i]
        elif is_foreign(u):
            rows = namespace(u).asarray(self._coefficients)[:, :, i].transpose(1, 0, *range(2, 2 + u.ndim))
        else:
            rows = self._coefficients[:, :, i].swapaxes(0, 1)
        out = [c[0] + u * c[1] + u2 * c[2] + u3 * c[3] for c in rows]
        if not isinstance(x, Dual):
            return out
        h = 1.0 / self.axis.spacing
        return [chain(f, ((c[1] + d2 * c[2] + d3 * c[3]) * h, x)) for f, c in zip(out, rows, strict=True)]


class Map:
    """Several quantities over two axes (tensor-product cubic spline).

    Parameters
    ----------
    x : sequence of n floats
        Evenly spaced axis, table rows [unit of the axis].
    y : sequence of m floats
        Evenly spaced axis, table columns [unit of the axis].
    tables : sequence of q tables of shape (n, m)
        Values [their own units].
    name : str
        What it is, for error messages [-].
    """

    def __init__(
        self, x: Sequence[float], y: Sequence[float], tables: Sequence[Sequence[Sequence[float]]], name: str
    ) -> None:
        self.x, self.y = Axis(x, f"{name}, rows"), Axis(y, f"{name}, columns")
        shape = (self.x.cells + 1, self.y.cells + 1)
        patches = []
        for table in tables:
            f = np.array(table, dtype=float)
            if f.shape != shape:
                raise InputError(f"{name}: a table is {f.shape}, its axes {shape}", mend="One row per speed.")
            patches.append(_patches(f))
        c = np.stack(patches, axis=2)  # powers of u, powers of v, quantity, row, column
        self._flat = np.ascontiguousarray(c.reshape(4, 4, len(patches), -1))
        self._cells = [[tuple(q) for q in cell] for cell in c.reshape(16, len(patches), -1).T.tolist()]

    def __call__(self, x: Number, y: Number) -> list[Number]:
        """Values of every quantity at (x, y), with exact derivatives for dual numbers."""
        i, u = self.x.locate(value(x))
        j, v = self.y.locate(value(y))
        u2, u3, du2, du3 = _powers(u)
        v2, v3, dv2, dv3 = _powers(v)
        cell = i * self.y.cells + j
        dual = isinstance(x, Dual) or isinstance(y, Dual)
        if isinstance(cell, int):
            rows = self._cells[cell]
            if not dual:
                return [_patch(c, u, u2, u3, v, v2, v3) for c in rows]
            a = np.array(rows).T.reshape(4, 4, len(rows))
        else:
            xp = namespace(u) if is_foreign(u) else namespace(v)
            a = xp.take(xp.asarray(self._flat), cell, axis=-1, mode="clip")
        along = a[:, 0] + v * a[:, 1] + v2 * a[:, 2] + v3 * a[:, 3]
        out = along[0] + u * along[1] + u2 * along[2] + u3 * along[3]
        if not dual:
            return list(out)
        fx = (along[1] + du2 * along[2] + du3 * along[3]) * (1.0 / self.x.spacing)
        across = a[:, 1] + dv2 * a[:, 2] + dv3 * a[:, 3]
        fy = (across[0] + u * across[1] + u2 * across[2] + u3 * across[3]) * (1.0 / self.y.spacing)
        return [chain(f, (gx, x), (gy, y)) for f, gx, gy in zip(out, fx, fy, strict=True)]


def _patches(f: FloatArray) -> FloatArray:
    """Bicubic coefficients of every cell: shape (4, 4, rows - 1, columns - 1)."""
    fx = spline_slopes(f.shape[0]) @ f
    fy = f @ spline_slopes(f.shape[1]).T
    fxy = spline_slopes(f.shape[0]) @ fy

    def ends(g: FloatArray) -> FloatArray:
        return np.stack([np.stack([g[:-1, :-1], g[:-1, 1:]]), np.stack([g[1:, :-1], g[1:, 1:]])])

    corners = np.concatenate(
        [np.concatenate([ends(f), ends(fy)], axis=1), np.concatenate([ends(fx), ends(fxy)], axis=1)], axis=0
    )
    return np.asarray(np.einsum("kp,lq,pqij->klij", _HERMITE, _HERMITE, corners))


def _patch(c: Sequence[float], u: float, u2: float, u3: float, v: float, v2: float, v3: float) -> float:
    """One bicubic patch on plain floats."""
    return (
        (c[0] + v * c[1] + v2 * c[2] + v3 * c[3])
        + u * (c[4] + v * c[5] + v2 * c[6] + v3 * c[7])
        + u2 * (c[8] + v * c[9] + v2 * c[10] + v3 * c[11])
        + u3 * (c[12] + v * c[13] + v2 * c[14] + v3 * c[15])
    )
