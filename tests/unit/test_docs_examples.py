"""What the how-to pages show works: run sheets read, commands are understood, code runs, codes agree.

Expected values come from definitions outside the project (units: NIST SP 811, appendix B; Celsius: SI
brochure) or from the other side of the same statement (a page against the code it speaks of).
"""

from __future__ import annotations

import inspect
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer.main
from documentation import DOCS, ROOT, blocks, page, table
from typer.testing import CliRunner

from spoolwright import errors
from spoolwright.cli import assess_commands, diagnose_commands, main
from spoolwright.core.cycle import jax_batch
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.causes import module_causes
from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.core.reduction.baseline import baseline_from_dict
from spoolwright.crafts.testcell import run_sheet
from spoolwright.crafts.testcell.diagnosis.words import SCALE
from spoolwright.crafts.testcell.run.run_data import run_data
from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.quick import quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.priors import read_priors
from spoolwright.sources.runsheet import read_run_sheet
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import to_inner

PSI = 6894.757293168  # Pa, pound-force per square inch (NIST SP 811, appendix B.8)
PAGES = sorted([ROOT / "README.md", *(DOCS / "how-to").glob("*.md"), *(DOCS / "tutorial").glob("*.md")])


@pytest.fixture(scope="module")
def corrie() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def toml() -> dict[str, str]:
    sheet, corrections = blocks(page("how-to/assess-a-run.md"), "toml")
    return {"sheet": sheet, "corrections": corrections}


def sheet_of(text: str, folder: Path, type_file: TypeFile) -> run_sheet.RunSheet:
    path = folder / "run-1.run.toml"
    path.write_text(text, encoding="utf-8")
    return read_run_sheet(path, type_file)


# the run sheet


def test_the_run_sheet_reads(toml: dict[str, str], tmp_path: Path, corrie: LoadedType) -> None:
    sheet = sheet_of(toml["sheet"], tmp_path, corrie.type_file)
    assert sheet.engine.serial == "FW-0007"
    assert sheet.fuel is not None
    assert to_inner(sheet.fuel.lower_heating_value.value, sheet.fuel.lower_heating_value.unit) == 43.12e6


def test_the_run_sheet_names_a_configuration_and_trim_class_of_the_type(
    toml: dict[str, str], tmp_path: Path, corrie: LoadedType
) -> None:
    sheet, known = sheet_of(toml["sheet"], tmp_path, corrie.type_file), corrie.type_file
    cell = next(c for c in known.cell if c.id == sheet.cell.cell)
    assert sheet.cell.configuration == cell.configuration
    assert known.data_plate is not None
    assert sheet.engine.mgt_trim_class in known.data_plate.mgt_trim_classes
    kinds = {kind for item in known.schedule for kind in item.repeat_after}
    assert {a.kind for a in sheet.adjustment} <= kinds


@pytest.mark.parametrize(
    "record",
    [
        run_sheet.RunSheet,
        run_sheet.Engine,
        run_sheet.CellState,
        run_sheet.FuelSample,
        run_sheet.OilAccount,
        run_sheet.Adjustment,
        run_sheet.CheckDone,
        run_sheet.SignedCorrection,
    ],
)
def test_no_key_of_a_run_sheet_is_left_untold(record: type[Record], toml: dict[str, str]) -> None:
    told = set(re.findall(r"^(?:# )?(?:\[+)?(\w+)", toml["sheet"] + toml["corrections"], flags=re.M))
    assert set(record.model_fields) - told - {"remark"} == set()


def test_every_kind_of_correction_is_told(toml: dict[str, str]) -> None:
    kinds = set(run_sheet.SignedCorrection.model_fields["kind"].annotation.__args__)  # type: ignore[union-attr]
    text = page("how-to/assess-a-run.md")
    assert {k for k in kinds if f'"{k}"' not in text and f"`{k}`" not in text} == set()


def recorded(corrie: TypeFile, **values: list[float]) -> Recording:
    units = {"ng": "rpm", "np": "rpm", "p_oil": "Pa", "t_amb": "K", "vib_exhaust": "m/s"}
    labels = {c.id: c.unit for c in corrie.channel}
    series = {k: Series(k, np.array(v), k, labels[k], units[k]) for k, v in values.items()}
    return Recording(np.array([900.0, 2700.0]), series, None, "a.csv", "0")


def test_the_signed_corrections_do_what_the_page_says(
    toml: dict[str, str], tmp_path: Path, corrie: LoadedType
) -> None:
    sheet = sheet_of(toml["sheet"] + toml["corrections"], tmp_path, corrie.type_file)
    assert {c.id: c.unit for c in corrie.type_file.channel}["p_oil"] == "kPag"
    given = recorded(
        corrie.type_file,
        ng=[6000.0, 6000.0],
        np=[41000.0, 40000.0],
        p_oil=[60e3, 61e3],  # 60 and 61 in the file, read as kPa by its label
        t_amb=[290.0, 291.0],
        vib_exhaust=[0.01, 0.02],
    )
    data = run_data(corrie.type_file, sheet, given)
    assert data.values("ng").tolist() == [41000.0, 40000.0]
    assert data.values("np").tolist() == [6000.0, 6000.0]
    assert data.values("p_oil") == pytest.approx([60 * PSI, 61 * PSI], rel=1e-12)
    assert data.values("t_amb") == pytest.approx([289.4, 291.0], rel=1e-12)
    assert np.isnan(data.values("vib_exhaust")).all()
    assert data.values_as_recorded("p_oil").tolist() == [60e3, 61e3]


@pytest.mark.parametrize(("unit", "height"), [("m", 1000.0), ("altitude_m", 1000.0), ("ft", 1000.0 / 0.3048)])
def test_an_altitude_recorded_as_pressure_may_be_signed_for(
    unit: str, height: float, toml: dict[str, str], tmp_path: Path, corrie: LoadedType
) -> None:
    """ISO 2533:1975, table 5: 89874.6 Pa at 1000 m of geopotential height."""
    one = toml["corrections"].split("[[correction]]")[2]
    one = one.replace('"p_oil"', '"p_amb"').replace('"psig"', f'"{unit}"', 1)
    sheet = sheet_of(f"{toml['sheet']}\n[[correction]]{one}", tmp_path, corrie.type_file)
    label = next(c.unit for c in corrie.type_file.channel if c.id == "p_amb")
    series = {"p_amb": Series("p_amb", np.array([to_inner(height, label)]), "p_amb", label, "Pa")}
    given = Recording(np.array([0.0]), series, None, "a.csv", "0")
    corrected = run_data(corrie.type_file, sheet, given).values("p_amb")
    assert corrected == pytest.approx([89874.6], abs=0.05)


# commands


def commands() -> list[tuple[str, list[str]]]:
    out = []
    for path in PAGES:
        for block in blocks(path.read_text(encoding="utf-8"), "sh"):
            for line in block.splitlines():
                words = shlex.split(line, comments=True)
                if words and words[0].endswith("spoolwright"):
                    out.append((path.name, words[1:]))
    return out


def command_of(words: list[str]) -> tuple[Any, Any, list[str]]:
    """The command that words name, its parent's context, and the words left over."""
    command: Any = typer.main.get_command(main.app)
    context = None
    while hasattr(command, "commands"):
        context = command.context_class(command, parent=context, info_name=command.name)
        assert words[0] in command.commands, f"there is no command {words[0]}"
        command, words = command.commands[words[0]], words[1:]
    return command, context, words


@pytest.mark.parametrize(("where", "words"), commands(), ids=lambda x: x if isinstance(x, str) else x[0])
def test_every_command_that_is_shown_is_understood(where: str, words: list[str]) -> None:
    if words == ["--help"]:
        return
    command, parent, rest = command_of(words)
    context = command.make_context(command.name, [w.replace("…", "") for w in rest], parent=parent)
    assert context.args == [], where


def test_a_command_with_a_wrong_option_is_not_understood() -> None:
    command, parent, rest = command_of(["assess", "a.csv", "--typ", "b.toml"])
    with pytest.raises(Exception, match="--typ"):
        command.make_context(command.name, rest, parent=parent)


def test_every_option_of_assess_is_told() -> None:
    options = {o for p in command_of(["assess"])[0].params for o in p.opts if o.startswith("--")}
    text = page("how-to/assess-a-run.md")
    assert {o for o in options if o not in text} == set()


def exit_codes() -> set[int]:
    tree, codes = [errors.SpoolwrightError], set()
    while tree:
        tree += (kind := tree.pop()).__subclasses__()
        if kind.__module__ in ("spoolwright.errors", "spoolwright.sources.extras"):
            codes.add(kind.exit_code)  # those of the shop's records are no command's that reads a run
    codes.discard(errors.SpoolwrightError.exit_code)  # never raised itself
    wrong_call = CliRunner().invoke(main.app, ["assess"]).exit_code
    ends = {wrong_call, main.INTERNAL_ERROR, main.INTERRUPTED, main.BROKEN_PIPE}
    return codes | ends | set(assess_commands.EXIT_BY_OUTCOME.values())


def test_the_exit_codes_told_are_those_there_are() -> None:
    told = {int(row[0]) for row in table(page("how-to/assess-a-run.md"), "exit code")}
    assert told == exit_codes()


# Python


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, corrie: LoadedType) -> Path:
    """A folder with the type file, a run, and two accepted runs of other engines."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "corrie_940.toml").write_bytes(Path(shipped_type()).read_bytes())
    one, *accepted = quick_runs(corrie.type_file, corrie.engine, 3, seed=40)
    write_run(one, folder, "run-1")
    for i, run in enumerate(accepted):
        write_run(run, folder / "accepted", f"run-{i}")
    return folder


def assessed(words: list[str]) -> int:
    """Exit code of the program's own entry point."""
    return subprocess.run(
        [sys.executable, "-c", "from spoolwright.cli.main import run; run()", *words]
    ).returncode


def test_the_first_assessment_shown_writes_its_reports(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(shop)
    words = next(w for name, w in commands() if name == "assess-a-run.md" and w[0] == "assess")
    assert assessed(words) in assess_commands.EXIT_BY_OUTCOME.values()
    assert json.loads((shop / "result.json").read_text(encoding="utf-8"))["runs"][0]["file"] == "run-1.csv"
    assert (shop / "report.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert (shop / "report.pdf").read_bytes().startswith(b"%PDF-")


def test_the_model_calibrates_as_the_page_shows(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(shop)
    calibrate, diagnose, assess, _ = (w for name, w in commands() if name == "calibrate-the-model.md")
    assert assessed(calibrate) == 0
    written = json.loads((shop / "corrie_940.baseline.json").read_text(encoding="utf-8"))
    rests = [(r["file"], len(r["sha256"])) for r in written["rests_on"]]
    assert rests == [("run-0.csv", 64), ("run-1.csv", 64)]
    baseline = baseline_from_dict(written["shape"])
    low, high = baseline.setting_range
    assert low < high
    assert all(np.isfinite(s.coefficients).all() and np.any(s.coefficients) for s in baseline.shapes.values())
    assert assessed(assess) in assess_commands.EXIT_BY_OUTCOME.values()
    assert "shape learnt from 2 runs of 2 engines" in (shop / "report.html").read_text(encoding="utf-8")
    assert assessed(diagnose) in diagnose_commands.EXIT_BY_OUTCOME.values()
    assert "2 accepted runs of 2 engines" in (shop / "why.html").read_text(encoding="utf-8")


def test_the_priors_that_are_shown_are_read(tmp_path: Path, corrie: LoadedType) -> None:
    (text,) = blocks(page("how-to/diagnose-a-run.md"), "toml")
    (tmp_path / "priors.toml").write_text(text, encoding="utf-8")
    read = read_priors(tmp_path / "priors.toml", [c.id for c in module_causes(corrie.engine)])
    assert (read.shares.healthy, read.weight[0].cause) == (0.6, "compressor_fouling")


def test_words_and_exit_codes_of_a_diagnosis_are_those_told() -> None:
    text = page("how-to/diagnose-a-run.md")
    codes = {int(row[2]) for row in table(text, "What it says")}
    assert codes == set(diagnose_commands.EXIT_BY_OUTCOME.values())
    words = re.search(r"\| probability \| words \|\n.*\n((?:\|.*\n)+)", text)
    assert words is not None
    told = [line.strip("|").split("|")[1].strip() for line in words[1].splitlines()]
    assert told == [word for _, word in SCALE]


def test_the_gpu_example_asks_what_the_solver_takes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With NumPy's solver in place of JAX's, whose compilation takes too long here; that they agree is tested
    in tests/reference/test_cycle_jax.py.
    """
    signature = inspect.signature(jax_batch.jax_solve)

    def by_numpy(*given: Any, **named: Any) -> dict[str, Any]:
        signature.bind(*given, **named)
        found = solve(*given, **named)
        return {**found.values, "residual": np.where(found.solved, 0.0, 1.0)}

    monkeypatch.setattr(jax_batch, "jax_solve", by_numpy)
    (code,) = blocks(page("how-to/gpu.md"), "python")
    exec(compile(code, "gpu.md", "exec"), {})
    assert capsys.readouterr().out.startswith("64 of 64 solved")
