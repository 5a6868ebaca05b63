"""A plateau at an extreme told apart: planted in made readings, and in rig runs of fixed seeds."""

from __future__ import annotations

import numpy as np
import pytest
from doubtful_runs import doubts, known, runs, spoilt

from spoolwright.core.reduction.doubt.plateau import leaps_back, out_of_step
from spoolwright.rig.day import _gusts
from spoolwright.rig.draws import stream
from spoolwright.rig.sensors import drawn_errors, recorded_values

BINS = 300
NOISE = 0.5


def engine(seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Ten levels up and down again: one reading and five others that rise with it, each in its own way."""
    g = np.random.default_rng(seed)
    load = np.repeat([1, 2, 3, 4, 5, 6, 5, 4, 3, 2], BINS // 10).astype(float)
    others = np.stack([load, 3.0 * load, load**1.5, np.sqrt(load), -load]).T * 20.0
    x = 50.0 + 10.0 * load + 0.2 * g.standard_normal(BINS)
    return x, others + 0.2 * g.standard_normal(others.shape)


def judged(x: np.ndarray, plateau: np.ndarray, value: float, others: np.ndarray) -> bool:
    """With the same noise everywhere."""
    return out_of_step(x, plateau, value, NOISE, others, np.full(others.shape[1], NOISE))


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("level", [3, 4, 5])
def test_a_reading_that_stands_while_the_engine_comes_down_is_not_cut_off(level: int, side: float) -> None:
    x, others = engine()
    at = level * BINS // 10
    x[at:] = x[: at + 1].max() + 0.1
    plateau = np.arange(BINS) >= at
    assert judged(side * x, plateau, side * x[at], others)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("cut", [75.0, 85.0, 95.0, 105.0])
def test_a_reading_cut_off_is_never_called_stuck(cut: float, side: float) -> None:
    for seed in range(20):
        x, others = engine(seed)
        cut_off = np.minimum(x, cut)
        assert not judged(side * cut_off, cut_off == cut, side * cut, others)


def test_a_load_never_seen_below_the_plateau_tells_nothing() -> None:
    """It stands from the third level on, and the engine never comes below the second: no contradiction."""
    x, others = engine()
    x[60:] = x.max() + 0.1
    assert not judged(x, np.arange(BINS) >= 60, x[60], others)


def test_without_readings_that_go_with_it_nothing_is_told() -> None:
    x, _ = engine()
    x[150:] = x.max()
    others = np.random.default_rng(3).standard_normal((BINS, 5))
    assert not judged(x, np.arange(BINS) >= 150, x[150], others)
    assert not judged(x, np.arange(BINS) >= 4, x[150], engine()[1])  # hardly anything outside the plateau


def test_a_leap_is_told_from_a_slope_and_from_noise() -> None:
    g = np.random.default_rng(4)
    assert leaps_back(90.0 + g.standard_normal(20), 100.0, 1.0)
    assert not leaps_back(99.0 + g.standard_normal(20), 100.0, 1.0)
    assert not leaps_back(99.0 - 3.0 * np.arange(20) + g.standard_normal(20), 100.0, 1.0)
    assert not leaps_back(np.full(6, 90.0), 100.0, 1.0)  # too few rows to tell


def moment_of_highest(channel: str, low: float, high: float) -> int:
    """Time at which a sound reading first is higher than ever before, within a stretch of the run."""
    x = runs()[0].recording[channel]
    rows = [t for t in range(int(low), int(high)) if x[t] > x[:t].max()]
    return rows[-1]


@pytest.mark.parametrize("channel", ["qf", "ng", "t3", "mgt"])
def test_a_channel_that_sticks_on_its_way_up_is_named_stuck(channel: str) -> None:
    at = moment_of_highest(channel, 500, 700)
    found = [f for f in doubts(spoilt(runs()[0], f"stuck:{channel}@{at}"), runs()[0].sheet) if f.bars_use]
    assert [(f.kind, f.channels) for f in found] == [("stuck", (channel,))]
    assert found[0].from_s == pytest.approx(at)


def test_a_slow_channel_that_leaps_back_was_stuck() -> None:
    run = runs()[0]
    x = run.recording["t_oil"]
    at = int(np.argmax(x))
    line = f"stuck:t_oil@{at}-{at + 200}"
    found = [f for f in doubts(spoilt(run, line), run.sheet) if f.bars_use]
    assert [(f.kind, f.channels) for f in found] == [("stuck", ("t_oil",))]


def test_the_rig_reads_a_direction_round_the_seam() -> None:
    """Expected: the angle between what is written and what is true, on the circle, is noise alone."""
    vane = next(c for c in known().channel if c.id == "wind_from")
    assert vane.turns and not any(c.turns for c in known().channel if c.id != "wind_from")
    g = stream(5, "vane")
    true = np.full(5000, 179.0)
    written = recorded_values([vane], {"wind_from": true}, np.ones(5000), 1.0, drawn_errors([], g), g)
    x = written["wind_from"]
    off = np.angle(np.exp(1j * np.radians(x - true)), deg=True)
    assert x.min() < -170.0 and x.max() > 170.0 and np.count_nonzero(np.abs(x) == 180.0) < 10
    assert np.std(off) == pytest.approx(vane.noise, rel=0.1)
    assert np.abs(off).max() < 6.0 * vane.noise


def test_wind_starts_as_it_goes_on() -> None:
    """The first row of the gusts scatters by their stated deviation, whatever the rate."""
    first = [_gusts(100.0, 6.0, 4, 0.05, np.random.default_rng(k))[0] - 100.0 for k in range(400)]
    assert np.std(first) == pytest.approx(6.0, rel=0.15)  # 400 draws: 3.5 % standard error
