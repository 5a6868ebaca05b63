"""Sister engines from records: what a visit used, in the form in which sisters are looked for."""

from __future__ import annotations

from datetime import date

from spoolwright.crafts.testcell.visit.history import (
    UsedOn,
    VisitSeen,
    cells_used,
    parts_of,
    shop_history,
    sisters_in,
)
from spoolwright.crafts.testcell.visit.model import RunAttached
from spoolwright.crafts.visit.entry import Attachment
from spoolwright.sources.typefile import load_type, shipped_type

KNOWN = load_type(shipped_type()).type_file
FILE = Attachment(sha256="0" * 64, name="x", media_type="", size=1)
VISITS = [
    VisitSeen("A", "V1", date(2026, 3, 1)),
    VisitSeen("B", "V2", None),
    VisitSeen("C", "V3", date(2026, 5, 1)),
]


def run(performed_on: date, cell: str = "cell_1") -> RunAttached:
    return RunAttached(
        run="1", performed_on=performed_on, limit_set="overhauled", cell=cell, recording=FILE, sheet=FILE
    )


def test_modules_of_the_type_file_hold_the_parts_that_causes_name() -> None:
    assert parts_of("hot_section", KNOWN) == ("combustor", "gas_generator_turbine")
    assert parts_of("power_turbine", KNOWN) == ("power_turbine", "exhaust")
    assert parts_of("reduction_gearbox", KNOWN) == ("gearbox",)


def test_a_lot_of_the_module_makes_sisters_and_one_of_another_module_does_not() -> None:
    used = [
        UsedOn("V1", "lot", "940-1 lot 7", "hot_section"),
        UsedOn("V2", "lot", "940-1 lot 7", "hot_section"),
        UsedOn("V3", "lot", "940-9 lot 7", "compressor"),
        UsedOn("V2", "lot", "940-9 lot 7", "compressor"),
    ]
    history = shop_history(VISITS, used, KNOWN)
    found = sisters_in(history, "V2", "module", "gas_generator_turbine")
    assert [s.engine for s in found] == ["A"]
    assert "gas generator turbine lot 940-1 lot 7" in found[0].text
    assert [s.engine for s in sisters_in(history, "V2", "module", "compressor")] == ["C"]
    assert sisters_in(history, "V2", "module", "gearbox") == ()


def test_a_cell_makes_sisters_of_a_wrong_reading_within_its_calibration_alone() -> None:
    """Cell 1's instruments are calibrated from 11 Feb to 21 Jul 2026: runs on either side are not alike."""
    used = [
        *cells_used("V1", [run(date(2026, 2, 20))], KNOWN),
        *cells_used("V2", [run(date(2026, 8, 3))], KNOWN),
        *cells_used("V3", [run(date(2026, 8, 9))], KNOWN),
    ]
    assert [u.calibrated_on for u in used] == [date(2026, 2, 14), date(2026, 7, 21), date(2026, 7, 21)]
    history = shop_history(VISITS, used, KNOWN)
    assert [s.engine for s in sisters_in(history, "V2", "reading", "torque")] == ["C"]
    assert sisters_in(history, "V2", "module", "compressor") == ()
