"""Splines and maps against scipy.interpolate.CubicSpline (not-a-knot) and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from spoolwright.core.grid import Map, Spline
from spoolwright.core.numerics import seeds
from spoolwright.errors import InputError

X, Y = np.linspace(0.4, 1.3, 19), np.linspace(-1.5, 1.5, 13)
F = np.sin(3.0 * X)[:, None] * np.exp(Y)[None, :]
RANDOM = np.random.default_rng(3)
PX, PY = RANDOM.uniform(0.4, 1.3, 200), RANDOM.uniform(-1.5, 1.5, 200)
FAR_X, FAR_Y = RANDOM.uniform(-0.5, 2.0, 200), RANDOM.uniform(-4.0, 4.0, 200)


def test_spline_is_scipys() -> None:
    got = Spline(X, [np.sin(X), X**2], "test")(PX)
    assert got[0] == pytest.approx(CubicSpline(X, np.sin(X))(PX), abs=1e-13)
    assert got[1] == pytest.approx(PX**2, abs=1e-13)


def test_map_is_the_tensor_product_of_scipys() -> None:
    rows = CubicSpline(X, F)(PX)
    expected = [float(CubicSpline(Y, row)(y)) for row, y in zip(rows, PY, strict=True)]
    assert Map(X, Y, [F], "test")(PX, PY)[0] == pytest.approx(expected, abs=1e-13)


def test_a_plane_is_continued_as_a_plane() -> None:
    plane = 2.0 + 3.0 * X[:, None] - 0.5 * Y[None, :]
    got = Map(X, Y, [plane], "test")(FAR_X, FAR_Y)[0]
    assert got == pytest.approx(2.0 + 3.0 * FAR_X - 0.5 * FAR_Y, abs=1e-12)


def test_outside_along_an_axis_the_tangent_goes_on() -> None:
    spline, scipys = Spline(X, [np.sin(X)], "test"), CubicSpline(X, np.sin(X))
    end = X[-1]
    expected = scipys(end) + scipys(end, 1) * 0.4
    assert spline(end + 0.4)[0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("x", "y"), [(PX, PY), (FAR_X, FAR_Y)])
def test_derivatives_of_duals(x: np.ndarray, y: np.ndarray) -> None:
    surface, h = Map(X, Y, [F], "test"), 1e-6
    d = surface(*seeds([x, y]))[0].d
    assert d[0] == pytest.approx((surface(x + h, y)[0] - surface(x - h, y)[0]) / (2 * h), rel=1e-7, abs=1e-7)
    assert d[1] == pytest.approx((surface(x, y + h)[0] - surface(x, y - h)[0]) / (2 * h), rel=1e-7, abs=1e-7)


def test_floats_give_what_arrays_give() -> None:
    surface = Map(X, Y, [F, F**2], "test")
    together = surface(FAR_X, FAR_Y)
    for i in range(50):
        alone = surface(float(FAR_X[i]), float(FAR_Y[i]))
        assert alone == [pytest.approx(q[i], rel=1e-13) for q in together]


@pytest.mark.parametrize("axis", [[0.0, 1.0, 2.0], [0.0, 1.0, 2.0, 3.5], [3.0, 2.0, 1.0, 0.0]])
def test_unusable_axes_are_refused(axis: list[float]) -> None:
    with pytest.raises(InputError, match="axis test"):
        Spline(axis, [[0.0] * len(axis)], "test")
