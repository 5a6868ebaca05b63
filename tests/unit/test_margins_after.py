"""Margins with a cause put right: a small slice of `tests/prove/margins.py`, and the line they are read off.

The truth of the slice is the rig's own standard-day performance, with the fault and without it. The line of
the data sheet's engine is checked against the engine model solved at the rating itself.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from diagnosed_corrie import LEARNT, baseline, corrie, kind, rig_runs
from scipy import stats

from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.calibrated import data_sheet_only
from spoolwright.crafts.testcell.diagnosis.rated_line import average_changes, average_line, read_off
from spoolwright.crafts.testcell.forecast.run_to_come import condition_at
from spoolwright.crafts.testcell.performance.basis import inner, performance_ratings
from spoolwright.rig.truth import standard_day

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "prove"))
import margins

ENGINES = 40


@pytest.fixture(scope="module")
def slice_() -> list[margins.Told]:
    return list(margins.told(baseline().calibrated, 10_000, ENGINES))


@pytest.mark.parametrize("when", [0, 1], ids=margins.WHEN)
def test_intervals_of_margins_hold_as_often_as_stated(slice_: list[margins.Told], when: int) -> None:
    """The caution for few engines makes the intervals wider, as told in the proof."""
    share = 1.0 - 2.0 * stats.norm.sf(margins.HOLD * np.sqrt(baseline().calibrated.caution))
    low, high = stats.binom.interval(0.999, ENGINES, share)
    for i, limit in enumerate(slice_[0].limits):
        held = sum(abs(e.out[i, when]) <= margins.HOLD for e in slice_)
        assert low <= held <= high, (limit, held)


def test_the_data_sheets_line_gives_what_the_model_gives_at_the_rating() -> None:
    """To a hundredth of the least uncertainty that a margin has, half a per cent."""
    basis = kind().basis
    for rating in performance_ratings(basis.type_file):
        condition = condition_at(basis, basis.model, rating)
        line = average_line(basis.model, data_sheet_only(), condition)
        power = solve(
            basis.model, condition, set_by="mgt", target=inner(rating.measured_gas_temperature)
        ).power
        at_power = solve(basis.model, condition, set_by="power", target=inner(rating.power))
        for quantity, expected in (
            ("power_at_rated_mgt", power),
            ("mgt_at_rated_power", at_power.measured_gas_temperature),
            ("sfc_at_rated_power", at_power.specific_fuel_consumption),
        ):
            value, _ = read_off(quantity, rating, line.logs)
            assert value == pytest.approx(float(np.squeeze(expected)), rel=5e-5), (rating.id, quantity)


def test_the_average_engine_performs_as_the_engines_learnt_from() -> None:
    """Mean of the rig's own standard-day truth of the engines in the history. Every run has instruments and
    cell of its own: power is stated to 0.6 %, the rest to 0.3 %, the mean of twelve runs so much better."""
    changes = average_changes(kind().basis, baseline().calibrated)
    runs = rig_runs(LEARNT, 61_000)
    sheet = standard_day(corrie().type_file, kind().basis.model, HEALTHY)
    for (rating, quantity), change in changes.items():
        true = np.mean([np.log(float(np.squeeze(r.truth.standard_day[rating][quantity]))) for r in runs])
        allowed = 3.0 * (0.006 if quantity == "power_at_rated_mgt" else 0.003) / np.sqrt(LEARNT)
        assert change == pytest.approx(true - np.log(float(np.squeeze(sheet[rating][quantity]))), abs=allowed)
