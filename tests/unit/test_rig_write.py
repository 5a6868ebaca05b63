"""Files of a run: every format reads back, the sheet is one that the reader of run sheets takes, the truth
is JSON.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from spoolwright.cli.rig_commands import app
from spoolwright.crafts.testcell.run_sheet import Adjustment
from spoolwright.errors import OutputError
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import DEMONSTRATION, RigRun
from spoolwright.rig.write import SUFFIX, sheet_text, units_for, write_run
from spoolwright.sources.reading import read_recording
from spoolwright.sources.runsheet import read_run_sheet
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import unit_of


@pytest.fixture(scope="module")
def loaded() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def run(loaded: LoadedType) -> RigRun:
    return next(
        quick_runs(loaded.type_file, loaded.engine, 1, seed=21, options=QuickOptions(hold_seconds=60))
    )


@pytest.mark.parametrize("format", SUFFIX)
def test_every_format_reads_back(loaded: LoadedType, run: RigRun, tmp_path: Path, format: str) -> None:
    written = write_run(run, tmp_path, "run", format)
    back = read_recording(written.recording, loaded.type_file.channel)
    assert set(back.series) == set(run.recording.series)
    assert back.notes == ()
    assert back.started_at == run.recording.started_at
    assert back.attributes["note"] == DEMONSTRATION
    for channel in loaded.type_file.channel:
        if channel.id in back.series:
            step = 5.1e-5 * unit_of(channel.unit, channel.dimension).factor  # four decimals in CSV
            np.testing.assert_allclose(back[channel.id], run.recording[channel.id], atol=step, rtol=1e-12)


def test_sheet_reads_back_as_it_was(loaded: LoadedType, run: RigRun, tmp_path: Path) -> None:
    adjusted = run.sheet.model_copy(
        update={"adjustment": (Adjustment(at_s=12.5, kind="idle", text='set "up"\nagain', by="A. B."),)}
    )
    for sheet in (run.sheet, adjusted):
        file = tmp_path / "x.run.toml"
        file.write_text(sheet_text(sheet), encoding="utf-8")
        assert read_run_sheet(file, loaded.type_file) == sheet


def test_truth_is_plain_json(run: RigRun, tmp_path: Path) -> None:
    truth = json.loads(write_run(run, tmp_path, "run").truth.read_text())
    assert truth["note"] == DEMONSTRATION
    assert truth["standard_day"]["take_off"]["power_at_rated_mgt"] == pytest.approx(
        run.truth.standard_day["take_off"]["power_at_rated_mgt"]
    )
    assert truth["serial"] == run.sheet.engine.serial
    assert set(truth["condition_factors"]) >= {"compressor_flow", "power_turbine_area"}


def test_units_can_be_chosen(loaded: LoadedType) -> None:
    second = units_for(loaded.type_file, "second")
    assert (second["torque"], second["mgt"], second["ng"]) == ("lbf ft", "degF", "rpm")
    assert units_for(loaded.type_file, "inner")["mgt"] == "K"


def test_a_folder_that_cannot_be_made_is_told(run: RigRun, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError):
        write_run(run, tmp_path / "taken", "run")


def test_presets_and_faults_are_listed() -> None:
    shown = CliRunner().invoke(app, ["presets"])
    assert shown.exit_code == 0
    assert (
        "thin-margin" in shown.output and "compressor_fouling" in shown.output and "swapped" in shown.output
    )


def test_record_from_the_command_line(loaded: LoadedType, tmp_path: Path) -> None:
    arguments = [
        "record",
        "--preset",
        "data-faults",
        "--out",
        str(tmp_path),
        "--rate",
        "2",
        "--format",
        "parquet",
    ]
    shown = CliRunner().invoke(app, [*arguments, "--units", "second", "--name", "x", "--ambient", "t=9,fog"])
    assert shown.exit_code == 0, shown.output
    back = read_recording(tmp_path / "x.parquet", loaded.type_file.channel)
    assert back.series["torque"].entered_unit == "lbf ft"
    assert back["ng"].max() < 7000.0 < back["np"].max()  # swapped
    assert 25e2 < np.median(back["p_amb"]) < 1e5  # inHg under another label
    sheet = read_run_sheet(tmp_path / "x.run.toml", loaded.type_file)
    assert sheet.cell.precipitation == "fog"
    assert back["t_amb"][0] == pytest.approx(282.15, abs=1.5)
