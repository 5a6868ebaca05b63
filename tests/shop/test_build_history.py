"""The shop's own builds as a history: sheet and run in their order, from which the rules are learnt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shop.fixtures import NOON
from shop.test_shop_testing import Bench, Recorded
from shop.test_shop_testing import bench as bench
from shop.test_shop_testing import recorded as recorded
from spoolwright import bootstrap
from spoolwright.bootstrap.build_history import builds_of, write_history
from spoolwright.crafts.testcell.visit.model import LookTaken, RunDisposed, RunForecast, RunsAssessed
from spoolwright.crafts.testcell.visit.service import dispose, store_forecast, take_look
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.entry import Attachment, Calculation
from spoolwright.errors import InputError
from spoolwright.sources.typefile import shipped_type

SHEET = """format = 1
limit_set = "overhauled"
cell = "cell_1"
prepared_on = 2026-05-04
engine = {{ serial = "D00064", visit = "V-D00064" }}
stages = {{ compressor = 3, gas_generator_turbine = 2, power_turbine = 2 }}
[[clearance]]
module = "gas_generator_turbine"
stage = 1
gap = {{ value = {gap}, unit = "mm" }}
nominal_gap = {{ value = 0.36, unit = "mm" }}
standard_uncertainty = {{ value = 0.02, unit = "mm" }}
span = {{ value = 42.0, unit = "mm" }}
"""


def forecast(bench: Bench, gap: str) -> Attachment:
    """A forecast as it is kept; only its sheet matters here."""
    desk = bench.shop.desk("tom", NOON)
    sheet = desk.attachments.keep(SHEET.format(gap=gap).encode(), "build.toml", "text/plain")
    result = desk.attachments.keep(b"{}", "forecast.json", "application/json")
    kept = Calculation(name="none", version="0", inputs={}, result={})
    made = RunForecast(sheet=sheet, answer="likely", passing_all=0.9, result=result, calculation=kept)
    store_forecast(desk, "V-D00064", made)
    return sheet


def test_a_build_and_its_first_decided_run_are_learnt_from(
    bench: Bench, recorded: dict[str, Recorded], tmp_path: Path
) -> None:
    bench.visit("D00064", "V-D00064")
    with pytest.raises(InputError, match="no visit of type"):
        write_history(bench.shop, "corrie_940", "cell_1", tmp_path / "none")
    forecast(bench, "0.50")
    newest = forecast(bench, "0.37")
    bench.attach("V-D00064", recorded["sound"])
    bench.wait(bench.testing.assess(bench.folder("V-D00064"), "tom"))
    assert builds_of(bench.shop, "corrie_940") == [], "nobody has decided on the run yet"
    desk = bench.shop.desk("tom", NOON)
    (assessed,) = bench.folder("V-D00064").of(RunsAssessed)
    take_look(desk, "V-D00064", LookTaken(assessment=assessed.subject, view="meets", words="steady, cool"))
    runs = standing(bench.folder("V-D00064")).undecided
    made = RunDisposed(assessment=assessed.subject, runs=runs, decision="accepted")
    dispose(desk, bench.folder("V-D00064"), made)
    forecast(bench, "0.60")  # after the run: another build
    (build,) = write_history(bench.shop, "corrie_940", "cell_1", tmp_path / "builds")
    assert (build.visit, build.decision) == ("V-D00064", "accepted")
    assert (tmp_path / "builds/V-D00064.build.toml").read_bytes() == bench.shop.attachments.read(
        newest.sha256
    )
    rules = tmp_path / "rules.json"
    bootstrap.forecast_learn(tmp_path / "builds/history.toml", shipped_type(), rules)
    assert json.loads(rules.read_text())["rests_on"] == ["D00064 V-D00064"]
