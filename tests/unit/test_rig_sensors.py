"""Sensors of the rig against closed forms: first-order lag, propagation of shared parts (JCGM 100, F.1.2.3),
autocorrelation of an AR(1) process plus white noise (statsmodels as the estimator)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.tsa.stattools import acf

from spoolwright.crafts.typefile.model import Channel, TypeFile
from spoolwright.rig.draws import stream
from spoolwright.rig.sensors import drawn_errors, first_order_lag, noise, recorded_values
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.units import unit_of

DRAWS = 3000


@pytest.fixture(scope="module")
def known() -> TypeFile:
    return load_type(shipped_type()).type_file


def stated(channel: Channel, reading: float) -> float:
    """Standard uncertainty that the type file states [inner], worked out apart from the rig."""
    unit = unit_of(channel.unit, channel.dimension)
    shown = (reading - unit.offset) / unit.factor
    squares = [p.absolute**2 + (p.relative * shown) ** 2 for p in channel.uncertainty]
    return math.sqrt(sum(squares)) * unit.factor


def errors_at(known: TypeFile, readings: dict[str, float]) -> dict[str, np.ndarray]:
    draws = [drawn_errors(known.channel, stream(seed, "systematic")) for seed in range(DRAWS)]
    by_id = {c.id: c for c in known.channel}
    return {
        name: np.array([float(d.of(by_id[name], np.array(x), np.array(0.8))) for d in draws])
        for name, x in readings.items()
    }


def test_systematic_errors_have_the_stated_size(known: TypeFile) -> None:
    readings = {
        "p_amb": 1.0e5, "p2": 0.99e5, "ng": 38000.0, "torque": 1500.0, "dyno_torque": 1500.0, "mgt": 1090.0,
        "t3": 650.0, "p3": 1.15e6, "wf": 0.076, "t_amb": 290.0, "rh": 0.6, "vib_turbine": 6e-3,
    }  # fmt: skip
    errors = errors_at(known, readings)
    for channel in known.channel:
        if channel.id in readings:
            expected = stated(channel, readings[channel.id])
            # standard error of a standard deviation: 1 / sqrt(2 n); four of them
            assert errors[channel.id].std() == pytest.approx(expected, rel=4 / math.sqrt(2 * DRAWS)), (
                channel.id
            )
            assert abs(errors[channel.id].mean()) < 4 * expected / math.sqrt(DRAWS), channel.id


def test_shared_sources_share_their_draw(known: TypeFile) -> None:
    errors = errors_at(known, {"p_amb": 1e5, "p2": 1e5, "wf": 0.07, "qf": 9e-5, "torque": 1500.0})
    by_id = {c.id: c for c in known.channel}
    barometer = 12.0  # Pa in both channels
    expected = barometer**2 / (stated(by_id["p_amb"], 1e5) * stated(by_id["p2"], 1e5))
    assert np.corrcoef(errors["p_amb"], errors["p2"])[0, 1] == pytest.approx(expected, abs=0.02)
    assert abs(np.corrcoef(errors["p_amb"], errors["torque"])[0, 1]) < 4 / math.sqrt(DRAWS)
    bench = 0.0013**2 * 0.07 * 9e-5
    both = stated(by_id["wf"], 0.07) * stated(by_id["qf"], 9e-5)
    assert np.corrcoef(errors["wf"], errors["qf"])[0, 1] == pytest.approx(bench / both, abs=0.06)


def test_a_rectangular_part_stays_within_its_ends(known: TypeFile) -> None:
    error = errors_at(known, {"rh": 0.5})["rh"]
    end = 0.01 * math.sqrt(3.0)
    assert 0.95 * end < np.abs(error).max() <= end


def test_profile_error_has_its_size_at_every_load_and_turns_slowly(known: TypeFile) -> None:
    mgt = next(c for c in known.channel if c.id == "mgt")
    draws = [drawn_errors(known.channel, stream(s, "systematic")) for s in range(DRAWS)]
    low, high = (
        np.array([float(d.of(mgt, np.array(1000.0), np.array(load))) for d in draws]) for load in (0.4, 1.0)
    )
    for at in (low, high):
        assert at.std() == pytest.approx(stated(mgt, 1000.0), rel=4 / math.sqrt(2 * DRAWS))
    difference = (high - low).std()
    # only the profile part (1.5 K) turns: two unit vectors 60 degrees * 0.6 apart
    assert difference == pytest.approx(1.5 * 2.0 * math.sin(math.pi / 3 * 0.6 / 2), rel=0.1)


def test_lag_follows_the_exponential() -> None:
    step, tau = 0.05, 1.1
    time = np.arange(0, 8, step)
    response = first_order_lag(np.where(time > 0, 1.0, 0.0), step, tau)
    np.testing.assert_allclose(response, 1.0 - np.exp(-time / tau), atol=1e-12)


def test_noise_has_its_deviation_and_a_correlated_share() -> None:
    step, rows = 0.5, 60_000
    values = noise(rows, step, 2.0, stream(5, "noise"))
    assert values.std() == pytest.approx(2.0, rel=0.03)
    correlation = acf(values, nlags=2, fft=True)
    lowest, highest = 0.2 * math.exp(-step / 1.0), 0.6 * math.exp(-step / 4.0)
    assert lowest < correlation[1] < highest
    assert 0.05 < correlation[2] < correlation[1]


def test_instrument_range_and_resolution(known: TypeFile) -> None:
    channel = next(c for c in known.channel if c.id == "p3")
    rows = np.linspace(-1e6, 4e6, 500)
    none = drawn_errors([], stream(0, "none"))
    seen = recorded_values([channel], {"p3": rows}, np.zeros(500), 1.0, none, stream(0, "n"))["p3"]
    assert seen.min() == 0.0 and seen.max() == 2e6
    steps = seen / (2e6 / 65536)
    np.testing.assert_allclose(steps, np.rint(steps), atol=1e-6)
