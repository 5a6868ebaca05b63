"""What must hold for every gas state: inverses, derivatives, one answer on every path, no surprise outside
the range.

The measure of derivatives is the complex step on the published equation (Squire and Trapp 1998, SIAM Review
40, 110), which has no truncation error worth the name.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.core.gas import polynomials as poly
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.core.numerics import Dual, seeds

GAS = GasMixture(1.9)
LHV = 43.124e6

temperatures = st.floats(160.0, 2500.0)
fars = st.floats(0.0, 0.068)
wars = st.floats(0.0, 0.2)
STATES = np.random.default_rng(1).uniform((200.0, 0.0, 0.0), (2200.0, 0.06, 0.04), (400, 3)).T


def equation(quantity: int, T: complex, far: complex, war: complex) -> complex:
    """The published equation for complex arguments, one species sum at a time."""
    sets = GAS._tables.segments[1 if T.real > 1000.0 else 0]
    air, water, fuel = (poly.expression(c, T, 1.0 / T, np.log(T), quantity) for c in sets)
    return (air + war * water + far * fuel) / (1.0 + far + war)


def complex_step(function, *x: float) -> list[float]:
    h = 1e-30
    return [
        complex(function(*(v + (1j * h if k == i else 0.0) for k, v in enumerate(x)))).imag / h
        for i in range(len(x))
    ]


def root(quantity: int, target: complex, far: complex, war: complex, start: float) -> complex:
    """Newton's method in complex numbers from a solution already found."""
    T = complex(start)
    for _ in range(3):
        cp = equation(poly.CP, T, far, war)
        T += (target - equation(quantity, T, far, war)) / (cp if quantity == poly.H else cp / T)
    return T


@given(temperatures, fars, wars)
def test_temperature_comes_back_from_enthalpy(T: float, far: float, war: float) -> None:
    assert GAS.temperature_from_enthalpy(GAS.enthalpy(T, far, war), far, war) == pytest.approx(T, rel=1e-13)


@given(temperatures, fars, wars)
def test_temperature_comes_back_from_entropy(T: float, far: float, war: float) -> None:
    back = GAS.temperature_from_entropy(GAS.entropy_function(T, far, war), far, war)
    assert back == pytest.approx(T, rel=1e-13)


@given(temperatures, fars, wars, st.floats(20.0, 9000.0))
def test_any_guess_leads_there(T: float, far: float, war: float, guess: float) -> None:
    h, phi = GAS.enthalpy(T, far, war), GAS.entropy_function(T, far, war)
    assert GAS.temperature_from_enthalpy(h, far, war, guess=guess) == pytest.approx(T, rel=1e-12)
    assert GAS.temperature_from_entropy(phi, far, war, guess=guess) == pytest.approx(T, rel=1e-12)


@given(st.floats(220.0, 1500.0), st.floats(0.03, 30.0), fars, wars, st.floats(0.5, 1.0))
def test_a_change_of_state_and_back(
    T: float, ratio: float, far: float, war: float, efficiency: float
) -> None:
    there = GAS.isentropic_temperature(T, ratio, far, war)
    assert GAS.isentropic_temperature(there, 1.0 / ratio, far, war) == pytest.approx(T, rel=1e-12)
    # a compression at eta and an expansion at 1/eta are the same line
    there = GAS.polytropic_temperature(T, 1.0 + ratio, efficiency, far, war)
    assert GAS.polytropic_temperature(
        there, 1.0 / (1.0 + ratio), 1.0 / efficiency, far, war
    ) == pytest.approx(T)


@given(st.floats(250.0, 950.0), st.floats(0.0, 0.06), st.floats(0.0, 0.04), st.floats(0.9, 1.0))
def test_fuel_and_temperature_are_inverse(T3: float, far: float, war: float, efficiency: float) -> None:
    T4 = GAS.burner_temperature(T3, far, war, efficiency, LHV)
    assert GAS.fuel_air_ratio(T3, T4, war, efficiency, LHV) == pytest.approx(far, rel=1e-9, abs=1e-14)


def test_derivatives_of_properties_are_exact() -> None:
    for x in STATES.T:
        duals = seeds([float(v) for v in x])
        for quantity, function in (
            (poly.CP, GAS.cp),
            (poly.H, GAS.enthalpy),
            (poly.PHI, GAS.entropy_function),
        ):
            expected = complex_step(lambda *z, q=quantity: equation(q, *z), *x)
            np.testing.assert_allclose(
                function(*duals).d, expected, rtol=1e-10, atol=1e-11 * abs(expected[1])
            )


def test_derivatives_of_inverses_are_exact() -> None:
    for T, far, war in STATES.T:
        for quantity, forth, back in (
            (poly.H, GAS.enthalpy, GAS.temperature_from_enthalpy),
            (poly.PHI, GAS.entropy_function, GAS.temperature_from_entropy),
        ):
            y = float(forth(T, far, war))
            duals = seeds([y, float(far), float(war)])
            expected = complex_step(lambda *z, q=quantity, s=T: root(q, *z, s), y, far, war)
            np.testing.assert_allclose(
                back(*duals).d, expected, rtol=1e-9, atol=1e-11 * np.abs(expected).max()
            )


def test_arrays_of_duals_carry_the_same_derivatives() -> None:
    duals = seeds(list(STATES))
    y = GAS.enthalpy(*duals), GAS.entropy_function(*duals)
    for back, target in zip((GAS.temperature_from_enthalpy, GAS.temperature_from_entropy), y, strict=True):
        # the inverse of a function, derivative and all, is the identity
        T = back(target, *duals[1:])
        np.testing.assert_allclose(T.v, STATES[0], rtol=1e-13)
        np.testing.assert_allclose(T.d, duals[0].d, atol=2e-8 / STATES[1:].max())
    single = [GAS.cp(*seeds([float(v) for v in x])) for x in STATES.T[:50]]
    batch = GAS.cp(*duals)
    np.testing.assert_allclose(batch.v[:50], [s.v for s in single], rtol=1e-13)
    np.testing.assert_allclose(batch.d[:, :50].T, [s.d for s in single], rtol=1e-9, atol=1e-9)


def test_derivatives_of_composed_functions() -> None:
    """Central differences where no closed form is at hand: their own error is 1e-9."""
    cases = [
        (lambda T, p, f, w: GAS.isentropic_temperature(T, p, f, w), (520.0, 7.0, 0.01, 0.01)),
        (lambda T, p, e, f: GAS.polytropic_temperature(T, p, e, f, 0.01), (1300.0, 0.4, 0.88, 0.02)),
        (lambda T, p, e, f: GAS.polytropic_temperature(T, p, e, f, 0.01), (300.0, 9.0, 0.88, 0.0)),
        (lambda T3, f, w, e: GAS.burner_temperature(T3, f, w, e, LHV, 310.0), (620.0, 0.02, 0.01, 0.99)),
        (lambda T3, T4, w, e: GAS.fuel_air_ratio(T3, T4, w, e, LHV, 310.0), (620.0, 1420.0, 0.01, 0.99)),
        (lambda T, f, w: GAS.sound_speed(T, f, w), (900.0, 0.02, 0.01)),
    ]
    for function, x in cases:
        exact = function(*seeds(list(x))).d
        for i, v in enumerate(x):
            h = 1e-4 * max(abs(v), 1e-2)
            up, down = ([u + (s * h if k == i else 0.0) for k, u in enumerate(x)] for s in (1, -1))
            up2, down2 = ([u + (s * 2 * h if k == i else 0.0) for k, u in enumerate(x)] for s in (1, -1))
            slope = (8 * (function(*up) - function(*down)) - (function(*up2) - function(*down2))) / (12 * h)
            assert slope == pytest.approx(exact[i], rel=1e-7, abs=1e-10)


@given(st.floats(-1e4, 1e5), fars, wars)
def test_nothing_breaks_outside_the_range(T: float, far: float, war: float) -> None:
    h = 1e-3
    for value_of, slope in (
        (GAS.enthalpy, GAS.cp(T, far, war)),
        (GAS.entropy_function, GAS.entropy_function(*seeds([T, far, war])).d[0]),
    ):
        assert np.isfinite(value_of(T, far, war))
        assert slope > 0.0
        rise = (value_of(T + h, far, war) - value_of(T - h, far, war)) / (2 * h)
        assert rise == pytest.approx(slope, rel=1e-4, abs=1e-3)
    array = np.array([T, 300.0])
    assert GAS.cp(array, far, war)[0] == pytest.approx(GAS.cp(T, far, war), rel=1e-13)
    assert GAS.enthalpy(array, far, war)[0] == pytest.approx(GAS.enthalpy(T, far, war), rel=1e-12, abs=1e-6)
    expected = GAS.entropy_function(T, far, war)
    assert GAS.entropy_function(array, far, war)[0] == pytest.approx(expected, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("edge", [150.0, 1000.0, 2600.0])
def test_continuous_where_the_formula_changes(edge: float) -> None:
    low, high = np.nextafter(edge, [0.0, 1e4])
    for far, war in ((0.0, 0.0), (0.05, 0.03)):
        assert GAS.cp(high, far, war) == pytest.approx(GAS.cp(low, far, war), rel=2e-9)
        assert GAS.enthalpy(high, far, war) == pytest.approx(GAS.enthalpy(low, far, war), rel=1e-14, abs=1e-8)
        above = GAS.entropy_function(high, far, war)
        assert above == pytest.approx(GAS.entropy_function(low, far, war), rel=1e-14)


def test_shapes_and_kinds_of_number() -> None:
    T = np.linspace(300.0, 1500.0, 6).reshape(2, 3)
    assert GAS.cp(T).shape == (2, 3)
    assert GAS.cp(T, 0.02).shape == (2, 3)
    assert GAS.cp(700.0, np.array([0.0, 0.01])).shape == (2,)
    assert GAS.cp(T[:, :1], np.array([0.0, 0.01, 0.02]), 0.01).shape == (2, 3)
    assert GAS.temperature_from_enthalpy(GAS.enthalpy(T)).shape == (2, 3)
    assert isinstance(GAS.cp(700.0, 0.02, 0.01), float)
    assert GAS.cp(700) == GAS.cp(700.0, 0, 0) == GAS.cp(np.float64(700.0))
    assert GAS.cp(np.array([])).shape == (0,)
    assert GAS.temperature_from_enthalpy(np.array([])).shape == (0,)
    assert isinstance(GAS.enthalpy(seeds([700.0])[0]), Dual)
    h, cp = GAS.enthalpy_and_cp(T, 0.02, 0.01)
    np.testing.assert_array_equal(h, GAS.enthalpy(T, 0.02, 0.01))
    np.testing.assert_array_equal(cp, GAS.cp(T, 0.02, 0.01))
    h, phi = GAS.enthalpy_and_entropy(700.0, 0.02, 0.01)
    assert (h, phi) == (GAS.enthalpy(700.0, 0.02, 0.01), GAS.entropy_function(700.0, 0.02, 0.01))


def test_a_case_that_is_not_a_number_leaves_the_others_alone() -> None:
    T = np.array([300.0, np.nan, 1500.0, 800.0])
    expected = GAS.cp(np.array([300.0, 1500.0, 800.0]), 0.02)
    cp = GAS.cp(T, 0.02)
    np.testing.assert_array_equal(cp[[0, 2, 3]], expected)
    assert np.isnan(cp[1])
    back = GAS.temperature_from_enthalpy(GAS.enthalpy(T, 0.02), 0.02)
    np.testing.assert_allclose(back[[0, 2, 3]], T[[0, 2, 3]], rtol=1e-13)


def test_results_are_not_overwritten_by_the_next_call() -> None:
    T = np.linspace(300.0, 1500.0, 100)
    first = GAS.enthalpy(T)
    kept = first.copy()
    GAS.entropy_function(T[::-1].copy(), 0.03, 0.02)
    GAS.cp(T[::-1].copy())
    np.testing.assert_array_equal(first, kept)


def test_threads_do_not_share_buffers() -> None:
    inputs = [np.linspace(300.0 + k, 1500.0 + k, 3000 + 10 * k) for k in range(8)]
    expected = [GAS.enthalpy(T, 0.02, 0.01) for T in inputs]
    with ThreadPoolExecutor(4) as pool:
        for _ in range(5):
            for ours, theirs in zip(
                pool.map(lambda T: GAS.enthalpy(T, 0.02, 0.01), inputs), expected, strict=True
            ):
                np.testing.assert_array_equal(ours, theirs)
