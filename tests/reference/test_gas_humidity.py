"""Humidity against psychrolib (ideal, ASHRAE 2017) and CoolProp (real gases, ASHRAE RP-1485)."""

from __future__ import annotations

from itertools import product

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from spoolwright.core.gas import humidity
from spoolwright.core.gas.saturation import saturation_pressure
from spoolwright.errors import InputError, RangeError

psychrolib.SetUnitSystem(psychrolib.SI)

CELSIUS = (-20.0, -10.0, -2.0, 0.5, 5.0, 15.0, 25.0, 35.0, 45.0)
PRESSURES = (70e3, 84556.0, 101325.0, 105e3)
STATES = list(product(CELSIUS, PRESSURES, (0.05, 0.3, 0.6, 1.0)))
T, P, RH = np.array(STATES).T
T = T + 273.15
TOLERANCE = 1e-3  # asked: 0.1 %


def hygrometer(*names: object) -> np.ndarray:
    """HAPropsSI for every state: output, then pairs of input name and array."""
    output, *inputs = names
    columns = [np.broadcast_to(x, T.shape) for x in inputs[1::2]]
    rows = zip(*columns, strict=True)
    return np.array(
        [HAPropsSI(output, *(y for pair in zip(inputs[::2], row, strict=True) for y in pair)) for row in rows]
    )


def test_saturation_pressure_against_psychrolib() -> None:
    # the same equations: round-off of the printed coefficients only
    for t in (-50.0, -20.0, -5.0):
        expected = psychrolib.GetSatVapPres(t)
        assert saturation_pressure(t + 273.15, "ice") == pytest.approx(expected, rel=1e-9)
    for t in (0.5, 10.0, 45.0, 90.0):
        expected = psychrolib.GetSatVapPres(t)
        assert saturation_pressure(t + 273.15, "water") == pytest.approx(expected, rel=1e-9)


def test_supercooled_water() -> None:
    # Murphy and Koop 2005 print 37.667 Pa at 240 K; Smithsonian Meteorological Tables (List 1951, table 94),
    # by an older equation: 286.27 and 125.40 Pa at -10 and -20 degC.
    assert saturation_pressure(240.0, "water") == pytest.approx(37.667, abs=5e-4)
    assert saturation_pressure(263.15, "water") == pytest.approx(286.27, rel=2e-3)
    assert saturation_pressure(253.15, "water") == pytest.approx(125.40, rel=2e-3)


def test_curves_meet_at_the_triple_point() -> None:
    # 611.657 Pa (Guildner, Johnson and Jones 1976)
    below, above = np.nextafter(273.16, [0.0, 400.0])
    for pressure in (
        saturation_pressure(below, "water"),
        saturation_pressure(above, "water"),
        saturation_pressure(below, "ice"),
    ):
        assert pressure == pytest.approx(611.657, abs=2e-3)


def test_relative_humidity_ideal() -> None:
    ours = humidity.from_relative_humidity(RH, T, P, over="ice", real=False)
    theirs = [psychrolib.GetHumRatioFromRelHum(t - 273.15, rh, p) for t, p, rh in zip(T, P, RH, strict=True)]
    np.testing.assert_allclose(ours, theirs, rtol=TOLERANCE)
    np.testing.assert_allclose(ours, theirs, rtol=2e-5)  # what is left is the molar mass of dry air


def test_relative_humidity_real() -> None:
    ours = humidity.from_relative_humidity(RH, T, P, over="ice")
    np.testing.assert_allclose(ours, hygrometer("W", "T", T, "P", P, "R", RH), rtol=TOLERANCE)


def test_dew_and_frost_point() -> None:
    mild = T > 273.16
    W = humidity.from_relative_humidity(RH, T, P, over="ice")
    theirs = hygrometer("W", "T", T + 1.0, "P", P, "D", T)
    np.testing.assert_allclose(humidity.from_dew_point(T[mild], P[mild]), theirs[mild], rtol=TOLERANCE)
    np.testing.assert_allclose(humidity.from_frost_point(T[~mild], P[~mild]), theirs[~mild], rtol=TOLERANCE)
    ideal = [psychrolib.GetHumRatioFromTDewPoint(t - 273.15, p) for t, p in zip(T, P, strict=True)]
    ours = np.where(
        mild,
        humidity.from_dew_point(T, P, real=False),
        humidity.from_frost_point(np.minimum(T, 273.0), P, real=False),
    )
    np.testing.assert_allclose(ours, ideal, rtol=TOLERANCE)
    # back: 0.1 % of the vapour is 0.01 ... 0.02 K of dew point
    wet = RH >= 0.3
    expected = hygrometer("D", "T", T, "P", P, "W", W)
    mild = wet & (expected > 273.2)
    np.testing.assert_allclose(humidity.dew_point(W[mild], P[mild]), expected[mild], atol=0.02)
    cold = wet & (expected < 273.1)
    np.testing.assert_allclose(humidity.frost_point(W[cold], P[cold]), expected[cold], atol=0.02)


@pytest.mark.parametrize("depression", [0.5, 2.0, 5.0, 10.0])
def test_wet_bulb(depression: float) -> None:
    """Within 0.1 % of the humidity ratio or 2e-6.

    The second term is for dry air: the humidity ratio is then a small difference of large terms, and the
    rounded specific heats of the ASHRAE equation (1.006 kJ/(kg K) for air) weigh 2e-7 per kelvin of
    depression.
    """
    bulb = T - depression
    possible = np.array([humidity_left(t, b, p) for t, b, p in zip(T, bulb, P, strict=True)])
    possible &= np.abs(bulb - 273.16) > 0.1
    assert possible.sum() > 60
    t, b, p = T[possible], bulb[possible], P[possible]
    ideal = [
        psychrolib.GetHumRatioFromTWetBulb(x - 273.15, y - 273.15, z) for x, y, z in zip(t, b, p, strict=True)
    ]
    ours = humidity.from_wet_bulb(b, t, p, over="ice", real=False)
    np.testing.assert_allclose(ours, ideal, rtol=TOLERANCE, atol=2e-6)
    real = hygrometer_rows("W", t, p, "B", b)
    ours = humidity.from_wet_bulb(b, t, p, over="ice")
    np.testing.assert_allclose(ours, real, rtol=TOLERANCE, atol=2e-6)
    np.testing.assert_allclose(humidity.wet_bulb(ours, t, p, over="ice"), b, atol=1e-8)


def humidity_left(T: float, bulb: float, p: float) -> bool:
    """Whether air with this wet bulb holds at least a tenth of the vapour of saturation."""
    W = HAPropsSI("W", "T", bulb, "P", p, "R", 1.0)
    return W - 4.1e-4 * (T - bulb) > 0.1 * W


def hygrometer_rows(output: str, T: np.ndarray, p: np.ndarray, name: str, x: np.ndarray) -> list[float]:
    return [HAPropsSI(output, "T", t, "P", q, name, y) for t, q, y in zip(T, p, x, strict=True)]


def test_below_zero_the_surface_must_be_said() -> None:
    for call in (
        lambda: humidity.from_relative_humidity(0.5, 263.15, 1e5),
        lambda: humidity.from_wet_bulb(np.array([260.0, 280.0]), np.array([263.15, 285.0]), 1e5),
        lambda: humidity.relative_humidity(1e-3, 263.15, 1e5),
        lambda: humidity.wet_bulb(1e-3, 268.15, 1e5),
    ):
        with pytest.raises(InputError, match=r"below 0 degC.*over='water' or over='ice'"):
            call()
    over_water = humidity.from_relative_humidity(0.5, 263.15, 1e5, over="water")
    over_ice = humidity.from_relative_humidity(0.5, 263.15, 1e5, over="ice")
    # 286.4 and 259.9 Pa at saturation: 10.2 % (Murphy and Koop 2005, equations 7 and 10)
    assert over_water / over_ice == pytest.approx(1.102, abs=1e-3)
    with pytest.raises(InputError, match="neither 'water' nor 'ice'"):
        humidity.from_relative_humidity(0.5, 263.15, 1e5, over="snow")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: humidity.from_relative_humidity(1.02, 293.15, 1e5),
            "relative humidity 1.02 is outside 0 to 1",
        ),
        (lambda: humidity.from_relative_humidity(60.0, 293.15, 1e5), "relative humidity 60 "),
        (lambda: humidity.from_relative_humidity(0.6, 20.0, 1e5), "air temperature 20 K"),
        (lambda: humidity.from_wet_bulb(300.0, 293.15, 1e5), "6.85 K above the dry bulb"),
        (lambda: humidity.from_wet_bulb(283.15, 313.15, 1e5), "too far below the dry bulb"),
        (lambda: humidity.from_dew_point(15.0, 1e5), "dew point 15 K"),
        (lambda: humidity.from_frost_point(275.0, 1e5), "frost point 275 K"),
        (lambda: humidity.dew_point(-0.001, 1e5), "humidity ratio -0.001"),
        (lambda: humidity.frost_point(0.02, 1e5), "frost point"),
        (lambda: humidity.wet_bulb(0.03, 293.15, 1e5), "above saturation"),
        (lambda: humidity.from_dew_point(353.15, 4e4), "share of the vapour"),
        (lambda: humidity.from_relative_humidity(float("nan"), 293.15, 1e5), "relative humidity nan"),
    ],
)
def test_impossible_input_is_refused(call, message: str) -> None:
    with pytest.raises(RangeError, match=message):
        call()
