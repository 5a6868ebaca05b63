"""What a recording is too short, too coarse or too badly calibrated to show: never 'meets' on it.

Expected outcomes are plain arguments: that a level was never passed cannot be seen where nobody looked.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from judged_corrie import around
from planted_corrie import LIMIT_SET, corrie, of, sheet, usual, usual_contents

from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading
from spoolwright.crafts.testcell.rules.judging import steady_readings
from spoolwright.crafts.testcell.rules.verdict import judge
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.lookup import limits_of

RUN_LIMITS = ("mgt_red_line", "ng_red_line", "np_red_line", "torque_red_line", "oil_temperature_red_line")


def cut(rows: slice, recording: Recording | None = None) -> Recording:
    """Some rows of the usual run."""
    whole = recording or usual()[1]
    series = {n: replace(s, values=s.values[rows]) for n, s in whole.series.items()}
    return replace(whole, time=whole.time[rows], series=series)


def outcomes(found: RunContents, on: RunSheet | None = None) -> dict[str, set[str]]:
    """Outcomes by limit, of the run's own readings and its holds."""
    limits = limits_of(corrie(), LIMIT_SET)
    readings = [*found.readings, *steady_readings(found.points, limits, corrie(), on or sheet())]
    out: dict[str, set[str]] = {}
    for limit in limits:
        for r in readings:
            if limit.id == r.limit or (
                r.limit is None and (limit.quantity, limit.regime) == (r.quantity, r.regime)
            ):
                verdict = judge(limit, r, around())
                if verdict is not None:
                    out.setdefault(limit.id, set()).add(verdict.outcome)
    return out


def top() -> int:
    """A row in the middle of the hold of highest torque."""
    return int(np.argmax(usual()[1]["torque"]))


def test_the_whole_run_meets() -> None:
    found = outcomes(usual_contents())
    assert all(found[name] == {"meets"} for name in RUN_LIMITS)


@pytest.mark.parametrize("count", [1, 2, 10, 100])
def test_a_few_rows_meet_nothing(count: int) -> None:
    found = read_run(cut(slice(top(), top() + count)), sheet(), corrie())
    assert "meets" not in set().union(*outcomes(found).values())
    (mgt,) = of(found, "mgt", "run", "mgt_red_line")
    assert "60 s under power in 61 rows" in mgt.thin
    assert f"({count} row" in mgt.thin
    assert "at least one row a second" in mgt.mend


def test_an_engine_that_never_turned_meets_nothing() -> None:
    still = usual()[1].time < 25.0  # the starter comes on at 30.37 s
    found = read_run(cut(slice(0, int(still.sum()))), sheet(), corrie())
    assert "meets" not in set().union(*outcomes(found).values())


def test_one_row_beyond_a_red_line_is_enough_to_fail_it() -> None:
    one = cut(slice(top(), top() + 1))
    hot = replace(one.series["mgt"], values=np.array([1300.0]))  # red line 1005 degC = 1278 K
    found = read_run(replace(one, series={**one.series, "mgt": hot}), sheet(), corrie())
    assert outcomes(found)["mgt_red_line"] == {"does_not_meet"}


def test_rows_ten_seconds_apart_show_nothing_that_moves() -> None:
    step = round(10.0 / float(np.median(np.diff(usual()[1].time))))
    found = read_run(cut(slice(None, None, step)), sheet(), corrie())
    moving = [r for r in found.readings if r.regime in ("start", "transient", "run") and np.isfinite(r.value)]
    assert moving
    assert {r.quantity for r in moving if not r.thin} <= {"oil_consumption"}
    assert "rows are 10 s apart" in of(found, "mgt", "run", "mgt_red_line")[0].thin


def test_one_row_a_second_is_enough() -> None:
    step = round(1.0 / float(np.median(np.diff(usual()[1].time))))
    found = outcomes(read_run(cut(slice(None, None, step)), sheet(), corrie()))
    assert all(found[name] == {"meets"} for name in RUN_LIMITS)


def test_a_start_that_had_begun_before_the_recording_meets_no_limit_of_peaks() -> None:
    late = int(np.searchsorted(usual()[1].time, 48.0))  # the planted peak stands at 42 s
    found = read_run(cut(slice(late, None)), sheet(), corrie())
    result = outcomes(found)
    assert result["start_peak"] == result["start_time_at_mgt"] == {"cannot_tell"}
    assert outcomes(usual_contents())["start_peak"] == {"meets"}


def late_day(channel: str) -> tuple[date, set[str]]:
    """A day after an instrument was due, and every channel out of date on it."""
    due = {i.channel: i.due_on for i in corrie().cell[0].instruments}
    day = due[channel].replace(day=due[channel].day) + (date(2026, 1, 2) - date(2026, 1, 1))
    return day, {c for c, d in due.items() if d < day}


def test_an_instrument_past_its_date_shows_no_limit_met_and_fails_all_the_same() -> None:
    day, late = late_day("vib_turbine")
    on = sheet(performed_on=day)
    found = read_run(usual()[1], on, corrie())
    result = outcomes(found, on)
    assert "vib_turbine" in late
    assert {frozenset(v) for k, v in result.items() if k.startswith("vib_turbine")} == {
        frozenset({"cannot_tell"})
    }
    (shaking,) = [r for r in found.readings if r.limit == "vib_turbine_transient"]
    assert f"not in calibration on {day.isoformat()}: 'vib_turbine'" in shaking.thin
    beyond: ScalarReading = replace(shaking, value=0.030)  # limit 21.5 mm/s
    limit = next(x for x in limits_of(corrie(), LIMIT_SET) if x.id == "vib_turbine_transient")
    verdict = judge(limit, beyond, around())
    assert verdict is not None and verdict.outcome == "does_not_meet"
    for name in RUN_LIMITS:
        quantity = name.removesuffix("_red_line")
        if quantity in {c.id for c in corrie().channel} - late:
            assert result[name] == {"meets"}


def test_a_speed_that_stands_still_finds_no_idle_and_no_hold() -> None:
    """Stuck at idle speed, it would make an idle of the shut-down: oil pressure too low at 'idle'."""
    recording = usual()[1]
    stuck = replace(recording.series["ng"], values=np.full(recording.rows, 26260.0))
    finding = Finding(
        id="1.D1", run="1", kind="stuck", channels=("ng",), text="it is stuck", mend="Repair.", bars_use=True
    )
    found = read_run(
        replace(recording, series={**recording.series, "ng": stuck}), sheet(), corrie(), findings=[finding]
    )
    assert of(found, "p_oil", "idle")
    assert all(r.findings == ("1.D1",) for r in found.readings if r.regime == "idle")
    assert all(m.findings == ("1.D1",) for p in found.points for m in p.channels.values())
    assert of(found, "mgt", "run", "mgt_red_line")[0].findings == ()
