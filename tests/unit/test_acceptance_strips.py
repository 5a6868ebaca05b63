"""Thinned traces keep every extreme and draw nothing across a silence."""

from __future__ import annotations

import numpy as np
import pytest
from planted_corrie import corrie, recorded, usual_script

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.run.strips import MOST, strips_of, thinned


def test_a_single_row_peak_anywhere_is_kept() -> None:
    rng = np.random.default_rng(1)
    time = np.arange(100_000) / 20.0
    for _ in range(50):
        x = rng.standard_normal(time.size)
        up, down = rng.integers(0, time.size, 2)
        x[up], x[down] = 50.0, -50.0
        t, y = thinned(time, x, MOST)
        assert t.size <= MOST
        assert np.all(np.diff(t) > 0.0)
        assert y[t == time[up]] == 50.0
        assert up == down or y[t == time[down]] == -50.0


def test_extremes_of_every_bin_are_those_of_all_its_rows() -> None:
    rng = np.random.default_rng(2)
    time, x = np.arange(9000.0), np.cumsum(rng.standard_normal(9000))
    t, y = thinned(time, x, 1500)
    for i in range(0, 9000, 12):  # 750 bins of 12 rows
        part = (t >= i) & (t < i + 12)
        assert y[part].min() == x[i : i + 12].min()
        assert y[part].max() == x[i : i + 12].max()


def test_few_rows_stay_as_they_are() -> None:
    t, y = thinned(np.arange(10.0), np.arange(10.0), 1500)
    assert t.size == y.size == 10


def test_values_stand_in_the_shown_unit_and_unknown_ones_as_none() -> None:
    time = np.arange(100.0)
    values = np.full(100, 1073.15)
    values[7] = np.nan
    recording = Recording(time, {"mgt": Series("mgt", values, "m", "degC", "K")}, None, "r", "0" * 64)
    (strip,) = strips_of(recording, corrie(), "1")
    assert strip.unit == "degC"
    assert strip.values[0] == pytest.approx(800.0)
    assert strip.values[7] is None


def test_a_silence_breaks_the_line() -> None:
    time = np.concatenate([np.arange(0.0, 50.0, 0.05), np.arange(90.0, 150.0, 0.05)])
    recording = Recording(
        time, {"ng": Series("ng", np.ones(time.size), "n", "rpm", "rpm")}, None, "r", "0" * 64
    )
    (strip,) = strips_of(recording, corrie(), "1")
    at = strip.values.index(None)
    assert 50.0 < strip.time_s[at] < 90.0


def test_rows_out_of_order_do_not_run_the_line_backwards() -> None:
    time = np.arange(5000.0)
    time[1000] = 1e9
    time[2000:] -= 50.0
    recording = Recording(time, {"ng": Series("ng", np.ones(5000), "n", "rpm", "rpm")}, None, "r", "0" * 64)
    (strip,) = strips_of(recording, corrie(), "1")
    assert all(a < b for a, b in zip(strip.time_s, strip.time_s[1:], strict=False))
    assert strip.time_s[-1] < 1e4


def test_a_whole_run_in_the_order_of_the_type_file_and_only_what_is_asked() -> None:
    recording = recorded(usual_script())
    strips = strips_of(recording, corrie(), "1")
    assert [s.channel for s in strips] == [c.id for c in corrie().channel if c.id in recording.series]
    assert max(len(s.values) for s in strips) <= MOST
    assert [s.channel for s in strips_of(recording, corrie(), "1", ("mgt", "ng"))] == ["ng", "mgt"]
