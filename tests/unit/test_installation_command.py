"""`spoolwright installation check` from files to exit code."""

from __future__ import annotations

import csv
import shutil
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from spoolwright.cli.main import app
from spoolwright.rig.aircraft import aircraft_checks, checks_csv
from spoolwright.rig.quick import quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.shop_part import load_shop_part, shop_folder
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench run, the operator's checks, and a copy of the type without its shop part."""
    place = tmp_path_factory.mktemp("installed")
    (run,) = quick_runs(LOADED.type_file, LOADED.engine, 1, seed=64)
    write_run(run, place, "run-1", "parquet")
    manual = load_shop_part(shop_folder(shipped_type())).shop.power_check
    assert manual is not None
    hours = [3.0, 28, 55, 77, 103, 130]
    made = aircraft_checks(run.truth.day.engine, manual, date(2026, 6, 1), hours, 64)
    (place / "checks.csv").write_text(checks_csv(made))
    shutil.copy(shipped_type(), place / "alone.toml")
    return place


def called(*words: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["installation", "check", *map(str, words)])
    told = result.output if result.exception is None else f"{result.output}{result.exception}"
    return result.exit_code, told


def test_checks_are_told_and_written(folder: Path) -> None:
    out = folder / "told.csv"
    code, told = called(
        folder / "checks.csv", "--run", folder / "run-1.parquet", "--type", shipped_type(), "--out", out
    )
    with out.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 6 and {r["used"] for r in rows} == {"yes"}
    manual = {r["manual"] for r in rows}
    assert code == (10 if "does not meet" in manual else 11 if "cannot tell" in manual else 0)
    assert told.index("The rule: Tarn 3") < told.index("Margin")
    for r in rows:
        expected, limit = float(r["expected_torque"]), float(r["manual_limit"])
        assert 900 < expected < 1250 and 600 < limit <= 828


def test_without_the_manual_nothing_is_compared(folder: Path) -> None:
    code, told = called(
        folder / "checks.csv", "--run", folder / "run-1.parquet", "--type", folder / "alone.toml"
    )
    assert code != 0 and "has no power check of the aircraft" in told


def test_a_fault_of_the_table_is_told_before_the_run_is_read(folder: Path) -> None:
    bad = folder / "bad.csv"
    bad.write_text((folder / "checks.csv").read_text().replace("ng [rpm]", "ng"))
    code, told = called(bad, "--run", folder / "missing.parquet", "--type", shipped_type())
    assert code != 0 and "column 'ng' does not state its unit" in told
