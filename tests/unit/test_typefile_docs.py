"""What the documentation says of type files holds: its example loads, its errors come, no key is missing."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest
from typer.testing import CliRunner

from spoolwright.cli.type_commands import app
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.crafts.typefile import base, channel, definition, limit, model, procedure
from spoolwright.sources.typefile import LoadedType, load_type

SECTIONS: dict[str, type[base.Record]] = {
    "Top level": model.TypeFile,
    "[type]": model.TypeHead,
    "[[document]]": model.Document,
    "[[module]]": model.Module,
    "[[station]]": model.Station,
    "[[channel]]": channel.Channel,
    "channel.uncertainty": channel.UncertaintyPart,
    "[[rating]]": model.Rating,
    "[[limit_set]]": limit.LimitSet,
    "[[limit]]": limit.Limit,
    "limit.curve": limit.LimitCurve,
    "limit.time_at": limit.TimeAt,
    "limit.exceptions": limit.LimitException,
    "window": base.Condition,
    "[[schedule]]": procedure.ScheduleItem,
    "[steady]": procedure.SteadyRule,
    "steady.criteria": procedure.Stabilisation,
    "[definitions.start]": definition.StartDefinition,
    "[definitions.acceleration], [definitions.deceleration]": definition.SlamDefinition,
    "[definitions.coast_down]": definition.CoastDownDefinition,
    "[correction]": procedure.Correction,
    "[[correction.laws]]": procedure.CorrectionLaw,
    "[[gate]]": procedure.Gate,
    "[[cell]]": procedure.Cell,
    "cell.factors": procedure.Factor,
    "cell.instruments": procedure.Instrument,
    "[data_plate]": model.DataPlate,
    "[oil]": model.Oil,
    "[data_sheet]": model.DataSheet,
}


@pytest.fixture(scope="module")
def guide(repository: Path) -> str:
    return (repository / "docs" / "how-to" / "write-a-type-file.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def blocks(guide: str) -> list[str]:
    return re.findall(r"```toml\n(.*?)```", guide, flags=re.S)


@pytest.fixture(scope="module")
def tarn(blocks: list[str], tmp_path_factory: pytest.TempPathFactory) -> LoadedType:
    path = tmp_path_factory.mktemp("tarn") / "tarn_420.toml"
    path.write_text(blocks[0], encoding="utf-8")
    return load_type(path)


def test_the_example_fills_what_no_data_sheet_gives(tarn: LoadedType) -> None:
    filled = {f.path for f in tarn.filled}
    assert {
        "compressor.air_flow",
        "compressor.map",
        "combustor.pressure_loss",
        "shafts.load_inertia",
    } <= filled
    assert "compressor.pressure_ratio" not in filled


@pytest.mark.parametrize(
    ("output", "expected"),
    [
        ("power", 420e3),
        ("gas_generator_speed", 47050.0),
        ("specific_fuel_consumption", 0.328 / 3.6e6),
        ("pressure_ratio", 8.4),
        ("torque", 634.6),
    ],
)
def test_the_example_model_meets_its_data_sheet(tarn: LoadedType, output: str, expected: float) -> None:
    """Solved at the sheet's MGT, 781 degC, the model must give back every other figure of the sheet."""
    s = solve(EngineModel(tarn.engine), tarn.engine.condition(), set_by="mgt", target=781 + 273.15)
    assert getattr(s, output) == pytest.approx(expected, rel=2e-4)


def test_the_second_example_extends_the_first(blocks: list[str], tmp_path: Path) -> None:
    path = tmp_path / "tarn_420.toml"
    path.write_text("\n".join(blocks), encoding="utf-8")
    assert load_type(path).engine.shafts.gas_generator_inertia == 0.0062


def test_the_mistakes_shown_are_those_that_come(
    guide: str, blocks: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = re.findall(r"```text\n(.*?)```", guide, flags=re.S)[0]
    text = blocks[0].replace('of = "ng"', 'of = "nng"').replace('420, unit = "kW" }', '430, unit = "kW" }', 1)
    (tmp_path / "tarn_420.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    output = CliRunner().invoke(app, ["check", "tarn_420.toml"]).output
    real = "\n".join(line.rstrip() for line in output.splitlines())
    assert textwrap.dedent(shown).strip() in real


@pytest.mark.parametrize("heading", SECTIONS)
def test_the_reference_tells_every_key_and_no_other(heading: str, repository: Path) -> None:
    page = (repository / "docs" / "reference" / "typefile.md").read_text(encoding="utf-8")
    section = re.split(rf"^#+ {re.escape(heading)}$", page, flags=re.M)[1]
    section = re.split(r"^#+ ", section, flags=re.M)[0]
    rows = re.findall(r"^\| `(\w+)`( •)? \|", section, flags=re.M)
    told = {name: bool(needed) for name, needed in rows}
    assert told == {name: f.is_required() for name, f in SECTIONS[heading].model_fields.items()}


def test_the_reference_tells_every_derived_quantity(repository: Path) -> None:
    page = (repository / "docs" / "reference" / "typefile.md").read_text(encoding="utf-8")
    assert [q for q in limit.DERIVED_QUANTITIES if f"`{q}`" not in page] == []
