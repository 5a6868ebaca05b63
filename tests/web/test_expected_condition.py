"""The expected condition of a visit: what of the inspection the forecast takes, what is told as missing."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.expected_condition import build_sheet_text, condition_of, forecasts_of, kept_sheet
from spoolwright.bootstrap.inspecting import record_words
from spoolwright.bootstrap.shop_testing import Testing
from spoolwright.crafts.inspection.dimensions import take_dimension
from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.reports.waterfall import waterfall
from spoolwright.sources.build_sheet import read_build_sheet
from spoolwright.sources.typefile import load_type, shipped_type
from web.staff import PASSWORD, Browser

ROTOR = "/visit/W100/inspection/axial_rotor_1"
ROOM = "/visit/W100/inspection/forecast"


def take(staffed: FilledShop, dimension: str, value: str, unit: str, place: str = "", u: str = "") -> None:
    folder = staffed.shop.folder("W100", NOON.date())
    words = {"dimension": dimension, "place": place, "value": value, "unit": unit, "uncertainty": u}
    take_dimension(staffed.desk("ines"), folder, words, after=0)


def sheet_of(staffed: FilledShop, tmp_path: Path) -> dict[str, object]:
    """The build sheet of the visit, which the forecast's own reader accepts."""
    desk, folder = staffed.desk("ines"), staffed.shop.folder("W100", NOON.date())
    condition = condition_of(desk, folder)
    assert condition is not None
    text = build_sheet_text(desk, folder, condition, "overhauled", "cell_1")
    (tmp_path / "sheet.toml").write_text(text)
    read_build_sheet(tmp_path / "sheet.toml", load_type(shipped_type()).type_file)
    return tomllib.loads(text)


def test_clearances_are_meaned_and_keep_their_uncertainty(staffed: FilledShop, tmp_path: Path) -> None:
    """Mean of 0.39 and 0.41 mm; an entered uncertainty holds, else the type's; inches become millimetres."""
    take(staffed, "r1_tip_clearance", "0.39", "mm", "6 o'clock", "0.03")
    take(staffed, "r1_tip_clearance", "0.41", "mm", "12 o'clock", "0.03")
    take(staffed, "b1_tip_clearance", "0.018", "in")
    sheet = sheet_of(staffed, tmp_path)
    rotor, turbine = sheet["clearance"]  # type: ignore[misc]
    assert rotor["gap"]["value"] == pytest.approx(0.40)
    assert rotor["standard_uncertainty"]["value"] == pytest.approx(0.03)
    assert turbine["gap"]["value"] == pytest.approx(0.018 * 25.4)
    assert turbine["standard_uncertainty"]["value"] == 0.02
    missing = " ".join(sheet["remark"])  # type: ignore[arg-type]
    assert "Throat area of the stage 1 nozzle: not measured" in missing
    assert "Axial compressor rotor, stage 1: not inspected" in missing


def test_blends_done_are_taken_by_the_exact_segment(
    staffed: FilledShop, browser_of: Callable[[str], Browser], tmp_path: Path
) -> None:
    """A blend 10 mm long and 1 mm deep takes 6.720 mm² (segment of a circle of 13 mm radius)."""
    row = {"part": "axial_rotor_1", "blade": "7", "zone": "le_tip", "damage": "nick", "unit": "mm",
           "depth": "0.9", "length": "2", "position": "30"}  # fmt: skip
    record_words(staffed.shop, "W100", "ines", [row], NOON)
    take(staffed, "r1_roughness", "1.9", "µm")
    assert "blend" not in sheet_of(staffed, tmp_path)
    ines = browser_of("ines")
    ines.send(ROTOR, f"{ROTOR}/views", view_1="blend")
    address = f"{ROTOR}/sign?decided_1=blend&reason_1="
    assert ines.send(address, f"{ROTOR}/accept", password=PASSWORD).status_code == 303
    planned = sheet_of(staffed, tmp_path)["blend"][0]["blended_area"]["value"]  # type: ignore[index]
    one = f"{ROTOR}/finding/1"
    sizes = {"unit": "mm", "depth": "1", "length": "10", "radius": "13", "password": PASSWORD}
    assert ines.send(one, f"{one}/blend", **sizes).status_code == 303
    done = sheet_of(staffed, tmp_path)["blend"][0]["blended_area"]["value"]  # type: ignore[index]
    assert done == pytest.approx(6.720, abs=5e-4)
    assert 0.0 < planned < done


def test_the_forecast_runs_from_the_page_and_shows_what_eats_most(
    staffed: FilledShop, browser_of: Callable[[str], Browser]
) -> None:
    ines = browser_of("ines")
    assert "Nothing is measured yet" in ines.get(ROOM).text
    take(staffed, "b1_tip_clearance", "0.50", "mm")
    take(staffed, "r1_tip_clearance", "0.29", "mm")
    assert "Not forecast yet" in ines.get(ROOM).text
    answer = ines.send(ROOM, ROOM, limit_set="overhauled", cell="cell_1")
    assert answer.status_code == 303, answer.text
    for _ in range(300):
        text = ines.get(ROOM).text
        if "the whole forecast" in text:
            break
        time.sleep(0.3)
    assert "Tip clearance, gas generator turbine stage 1 eats most" in text
    assert "of the newest records" in text
    take(staffed, "n1_area", "2118", "mm²")
    assert "More was recorded since" in ines.get(ROOM).text


def test_steps_of_the_waterfall_end_at_the_expected_margin(staffed: FilledShop) -> None:
    """Each step is as long as its finding's effect; the last ends where the forecast's margin is."""
    take(staffed, "b1_tip_clearance", "0.50", "mm")
    take(staffed, "r1_tip_clearance", "0.40", "mm")
    desk, folder = staffed.desk("ines"), staffed.shop.folder("W100", NOON.date())
    condition = condition_of(desk, folder)
    assert condition is not None
    sheet = kept_sheet(desk, folder, condition, "overhauled", "cell_1")
    job = Testing(staffed.shop, lambda: NOON).forecast(folder, "ines", sheet)
    while not job.over:
        time.sleep(0.2)
    made = forecasts_of(staffed.shop.folder("W100", NOON.date()))[-1]
    f = Forecast.model_validate_json(staffed.attachments.read(made.body.result.sha256))
    w = waterfall(f)
    assert w.steps[-1].end == pytest.approx(w.expected.end)
    limit = next(x for x in f.limits if x.name == w.limit)
    effects = {e.title: x.change.mean.value for e in f.eaten for x in e.effects if x.limit == limit.limit}
    times = w.expected.end / limit.margin.mean.value
    for step in w.steps:
        assert step.end - step.start == pytest.approx(times * effects[step.name])
