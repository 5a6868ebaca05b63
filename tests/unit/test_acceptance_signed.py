"""Signed corrections of recorded data: what they make of known values, and what they leave alone."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from planted_corrie import corrie

from spoolwright.core.gas.atmosphere import pressure_altitude
from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.run.signed import apply_corrections, corrected_channels
from spoolwright.crafts.testcell.run_sheet import SignedCorrection
from spoolwright.errors import InputError
from spoolwright.units import INNER_UNIT, to_inner

TIME = np.arange(10.0)


def recording(entered: str = "", **values: float) -> Recording:
    """Channels at constant inner values, entered in the type file's units or in `entered`."""
    channels = {c.id: c for c in corrie().channel}
    series = {
        k: Series(
            k, np.full(10, v), f"COLUMN {k}", entered or channels[k].unit, INNER_UNIT[channels[k].dimension]
        )
        for k, v in values.items()
    }
    return Recording(TIME, series, None, "r.csv", "0" * 64)


def signed(channel: str, kind: str, **given: Any) -> SignedCorrection:
    return SignedCorrection(
        channel=channel,
        kind=kind,  # type: ignore[arg-type]
        reason="found on the page",
        signed_by="A. Person",
        signed_at=datetime(2026, 9, 2, tzinfo=UTC),
        **given,
    )


def corrected(given: Recording, *corrections: SignedCorrection) -> Recording:
    return apply_corrections(given, corrections, corrie())


def test_a_swap_exchanges_values_and_the_names_they_came_under() -> None:
    given = recording(ng=5800.0, np=38000.0)
    out = corrected(given, signed("ng", "swap_with", other="np"))
    assert (out["ng"] == 38000.0).all()
    assert (out["np"] == 5800.0).all()
    assert out.series["ng"].entered_name == "COLUMN np"
    assert out.series["ng"].channel == "ng"
    assert (given["ng"] == 5800.0).all()
    assert corrected_channels([signed("ng", "swap_with", other="np")]) == {"ng", "np"}


def test_a_swap_for_a_time_leaves_the_rest() -> None:
    out = corrected(
        recording(ng=5800.0, np=38000.0), signed("ng", "swap_with", other="np", from_s=3.0, to_s=5.0)
    )
    assert out["ng"].tolist() == [5800.0] * 3 + [38000.0] * 3 + [5800.0] * 4


@pytest.mark.parametrize(
    ("channel", "written", "under", "unit", "true"),
    [
        ("torque", 1000.0, "N m", "lbf ft", 1355.8179483314),  # 1 lbf ft = 1.3558179483314 N m (NIST SP 811)
        ("mgt", 1500.0, "degC", "degF", (1500.0 - 32.0) / 1.8 + 273.15),
        ("p_amb", 14.5, "hPa", "psia", 14.5 * 6894.757293168),  # NIST SP 811
        ("ng", 97.0, "rpm", "%", 0.97 * 38650.0),  # full_scale of the type file
        ("wf", 500.0, "kg/h", "lb/h", 500.0 * 0.45359237 / 3600.0),
    ],
)  # fmt: skip
def test_another_unit_reads_the_same_numbers_anew(
    channel: str, written: float, under: str, unit: str, true: float
) -> None:
    given = recording(entered=under, **{channel: to_inner(written, under)})
    assert corrected(given, signed(channel, "unit_is", unit=unit))[channel] == pytest.approx(true, rel=1e-9)


@pytest.mark.parametrize(("unit", "metres"), [("m", 1.0), ("altitude_m", 1.0), ("ft", 0.3048)])
def test_a_pressure_altitude_becomes_a_pressure(unit: str, metres: float) -> None:
    given = recording(entered="hPa", p_amb=to_inner(500.0, "hPa"))  # 500 stands in the file
    out = corrected(given, signed("p_amb", "unit_is", unit=unit))
    # Standard atmosphere at 500 m: 95460.8 Pa (ISO 2533, to its printed digits).
    if metres == 1.0:
        assert out["p_amb"] == pytest.approx(95460.8, abs=0.06)
    assert pressure_altitude(float(out["p_amb"][0])) == pytest.approx(500.0 * metres, abs=1e-6)


def test_add_and_multiply_work_in_the_channels_unit() -> None:
    assert corrected(recording(mgt=1000.0), signed("mgt", "add", amount=-9.0))["mgt"] == pytest.approx(991.0)
    assert corrected(recording(p_amb=1e5), signed("p_amb", "add", amount=1.5))["p_amb"] == pytest.approx(
        100150.0
    )
    scaled = corrected(recording(mgt=273.15 + 800.0), signed("mgt", "multiply", amount=1.01))
    assert scaled["mgt"] == pytest.approx(273.15 + 808.0)


def test_rows_left_out_are_not_known() -> None:
    out = corrected(recording(mgt=1000.0), signed("mgt", "leave_out", from_s=2.0, to_s=2.0))
    assert np.isnan(out["mgt"]).tolist() == [False, False, True] + [False] * 7


def test_corrections_apply_in_the_order_of_the_sheet() -> None:
    out = corrected(
        recording(ng=5800.0, np=38000.0),
        signed("ng", "swap_with", other="np"),
        signed("ng", "multiply", amount=0.5),
    )
    assert (out["ng"] == 19000.0).all()


@pytest.mark.parametrize(
    ("correction", "told"),
    [
        (signed("torque", "add", amount=1.0), "was not recorded"),
        (signed("nothing", "add", amount=1.0), "is not in the type file"),
        (signed("ng", "add"), "gives no amount"),
        (signed("ng", "swap_with"), "names no other channel"),
        (signed("ng", "swap_with", other="mgt"), "cannot have been swapped"),
        (signed("ng", "unit_is"), "no unit is given"),
        (signed("ng", "unit_is", unit="degC"), "not of speed"),
    ],
)
def test_a_correction_that_cannot_be_made_is_a_mistake_of_the_sheet(
    correction: SignedCorrection, told: str
) -> None:
    with pytest.raises(InputError, match=told):
        corrected(recording(ng=5800.0, mgt=1000.0), correction)
