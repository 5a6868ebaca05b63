"""The bench around the engine: humidity against psychrolib, else closed forms and stated spreads."""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest

from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.rig.bench import (
    Ambient,
    Dynamometer,
    date_in_calibration,
    dew_point,
    drawn_cell,
    drawn_fuel,
    drawn_weather,
    humidity_ratio,
    relative_humidity,
)
from spoolwright.rig.draws import stream
from spoolwright.rig.oil import kinematic_viscosity
from spoolwright.rig.vibration import Mode
from spoolwright.sources.typefile import load_type, shipped_type

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.fixture(scope="module")
def known() -> TypeFile:
    return load_type(shipped_type()).type_file


@pytest.mark.parametrize(
    ("celsius", "share", "pressure"), [(15, 0.6, 101325), (30, 0.9, 95000), (3, 0.95, 99000)]
)
def test_humidity_agrees_with_psychrolib(celsius: float, share: float, pressure: float) -> None:
    ratio = humidity_ratio(share, celsius + 273.15, pressure)
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromRelHum(celsius, share, pressure), rel=1e-4)
    back = relative_humidity(ratio, np.array([celsius + 273.15]), np.array([pressure]))
    assert back[0] == pytest.approx(share, rel=1e-9)
    dew = dew_point(ratio, np.array([float(pressure)]))[0] - 273.15
    assert dew == pytest.approx(psychrolib.GetTDewPointFromHumRatio(celsius, ratio, pressure), abs=0.02)


def test_weather_is_what_is_asked_and_drifts_slowly() -> None:
    asked = Ambient(temperature=291.0, pressure=9.9e4, relative_humidity=0.4, wind_speed=3.0)
    time = np.linspace(0.0, 5400.0, 500)
    drift = []
    for seed in range(200):
        weather = drawn_weather(asked, stream(seed, "weather"))
        assert weather.temperature_at(time)[0] == 291.0
        assert weather.pressure_at(time)[0] == 9.9e4
        drift.append(weather.temperature_at(time)[-1] - 291.0)
    assert 0.5 < np.std(drift) < 4.0
    drawn = [drawn_weather(Ambient(), stream(s, "weather")).temperature - 273.15 for s in range(400)]
    assert -10.0 <= min(drawn) < -8.0 and 33.0 < max(drawn) <= 35.0


def test_true_correlation_spreads_as_the_type_file_states(known: TypeFile) -> None:
    draws = [drawn_cell(known, "cell_1", stream(s, "cell")).factors for s in range(3000)]
    for factor in known.cell[0].factors:
        values = np.array([d[factor.quantity] for d in draws])
        assert values.mean() == pytest.approx(
            factor.factor, abs=4 * factor.standard_uncertainty / math.sqrt(3000)
        )
        assert values.std() == pytest.approx(factor.standard_uncertainty, rel=4 / math.sqrt(6000))
    with pytest.raises(InputError, match="cell_1"):
        drawn_cell(known, "cell_99", stream(0, "cell"))


def test_fuel_is_kerosene_and_its_sample_errs_as_stated() -> None:
    batches = [drawn_fuel(stream(s, "fuel"), 288.0) for s in range(2000)]
    heating = np.array([b.lower_heating_value for b in batches])
    # ASTM D1655: at least 42.8 MJ/kg, 775 to 840 kg/m3
    assert heating.min() > 42.8e6
    assert all(775 <= b.density <= 840 for b in batches)
    error = np.array([b.sampled_heating_value for b in batches]) - heating
    assert error.std() == pytest.approx(batches[0].heating_value_uncertainty, rel=4 / math.sqrt(4000))


def test_water_brake_follows_the_square_of_speed() -> None:
    brake = Dynamometer(torque=2500.0, speed=5840.0)
    assert brake.load(0.5, 5840.0) == pytest.approx(4.0 * brake.load(0.5, 2920.0))
    filling = brake.filling_for(1500.0, 5700.0)
    assert brake.load(filling, 5700.0) == pytest.approx(1500.0)


def test_day_of_the_run_is_in_every_calibration(known: TypeFile) -> None:
    for cell in known.cell:
        day = date_in_calibration(cell)
        assert cell.correlated_on <= day <= cell.correlation_due_on
        assert all(i.calibrated_on <= day <= i.due_on for i in cell.instruments)


def test_oil_thins_as_walther_says() -> None:
    at = kinematic_viscosity(np.array([313.15, 373.15, 353.15]))
    np.testing.assert_allclose(at[:2], [25.0, 5.0], rtol=1e-9)
    assert 5.0 < at[2] < 10.0


def test_resonance_amplifies_by_one_over_twice_the_damping() -> None:
    # response of a damped oscillator to unbalance: r^2 / sqrt((1 - r^2)^2 + (2 z r)^2)
    mode = Mode(0.5, 0.05)
    assert mode.response(np.array([0.5]))[0] == pytest.approx(1.0 / (2 * 0.05))
    assert mode.response(np.array([50.0]))[0] == pytest.approx(1.0, rel=1e-3)
