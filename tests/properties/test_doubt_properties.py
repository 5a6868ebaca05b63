"""Whatever a recording holds, doubting it ends in findings and never in an error."""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.core.reduction.doubt.clock import clock_signs
from spoolwright.core.reduction.doubt.scan import scan_channel
from spoolwright.core.reduction.doubt.signs import ChannelRules
from spoolwright.core.reduction.trace import forward_rows
from spoolwright.crafts.testcell.doubt.find import find
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.run_sheet import CellState, Engine, RunSheet
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import INNER_UNIT, unit_of

SHEET = RunSheet(
    format=1,
    run="1",
    performed_on=date(2026, 9, 1),
    limit_set="overhauled",
    engine=Engine(serial="D00001"),
    cell=CellState(cell="cell_1", configuration="any", precipitation="none"),
)


@cache
def corrie() -> tuple[LoadedType, EngineModel]:
    """The demonstration type and its model."""
    loaded = load_type(shipped_type())
    return loaded, EngineModel(loaded.engine)


@st.composite
def clocks(draw: st.DrawFn) -> np.ndarray:
    """Stamps that run forward, stand still, leap back or are not numbers."""
    rows = draw(st.integers(0, 240))
    step = draw(st.sampled_from([0.05, 1.0, 10.0]))
    time = step * np.arange(rows, dtype=float)
    g = np.random.default_rng(draw(st.integers(0, 2**16)))
    for _ in range(draw(st.integers(0, 3))):
        if rows:
            at = int(g.integers(rows))
            what = g.integers(4)
            if what == 0:
                time[at:] -= g.uniform(0.0, 60.0)
            elif what == 1:
                time[at : at + 5] = time[at]
            else:
                time[at] = (np.nan, 1e12)[what - 2]
    return time


def column(g: np.random.Generator, rows: int, low: float, high: float) -> np.ndarray:
    """Noise, steps, a constant, huge numbers, not numbers: anything a column may hold."""
    middle = g.uniform(low, high) if g.random() < 0.7 else g.choice([0.0, -1e9, 1e30, 1e-30])
    x = np.full(rows, middle)
    if g.random() < 0.7:
        x = x + (high - low) * g.choice([1e-6, 0.01, 1.0]) * g.standard_normal(rows)
    if rows and g.random() < 0.5:
        x[int(g.integers(rows)) :] = g.uniform(low, high)
    if g.random() < 0.3:
        x[g.random(rows) < g.random()] = g.choice([np.nan, np.inf, -np.inf])
    return x


@st.composite
def recordings(draw: st.DrawFn) -> Recording:
    """A recording of any channels of the type under any label that its dimension allows."""
    loaded, _ = corrie()
    time = draw(clocks())
    g = np.random.default_rng(draw(st.integers(0, 2**16)))
    chosen = draw(st.lists(st.sampled_from(loaded.type_file.channel), unique_by=lambda c: c.id, max_size=30))
    series = {}
    for c in chosen:
        unit = unit_of(c.unit, c.dimension)
        low, high = (v * unit.factor + unit.offset for v in c.plausible)
        values = column(g, time.size, low, high)
        series[c.id] = Series(
            c.id, values, c.id, draw(st.sampled_from(["", c.unit])), INNER_UNIT[c.dimension]
        )
    return Recording(time, series, None, "any", "0" * 64)


@settings(max_examples=60)
@given(recordings())
def test_no_recording_is_too_odd_to_doubt(recording: Recording) -> None:
    loaded, model = corrie()
    with np.errstate(all="ignore"):
        found = find(recording, SHEET, loaded.type_file, model)
    for f in found:
        assert Finding.model_validate_json(f.model_dump_json()) == f
        assert f.text and f.mend
        assert f.probability is None or 0.0 <= f.probability <= 1.0


@settings(max_examples=150)
@given(clocks())
def test_signs_of_the_clock_stay_within_the_recording(time: np.ndarray) -> None:
    for s in clock_signs(time, forward_rows(time)):
        assert 0 <= s.first <= s.last < time.size


@settings(max_examples=150)
@given(st.integers(0, 2**20), st.integers(0, 400), st.floats(0.0, 5.0), st.booleans())
def test_signs_of_a_channel_stay_within_it(seed: int, rows: int, noise: float, digital: bool) -> None:
    g = np.random.default_rng(seed)
    x = column(g, rows, 0.0, 100.0)
    rules = ChannelRules((0.0, 100.0), (0.0, 90.0), noise, digital)
    resting = g.random(rows) < 0.5
    with np.errstate(all="ignore"):
        signs = scan_channel("x", x, rules, 0.1, resting)
    for s in signs:
        assert 0 <= s.first <= s.last < max(rows, 1)
        assert 0 <= s.rows <= max(rows, 1)


@settings(max_examples=60)
@given(st.integers(0, 2**20))
def test_white_noise_of_the_stated_size_is_sound(seed: int) -> None:
    g = np.random.default_rng(seed)
    x = 50.0 + 2.0 * g.standard_normal(3000)
    assert scan_channel("x", x, ChannelRules((0.0, 100.0), (0.0, 90.0), 2.0), 0.1) == []
