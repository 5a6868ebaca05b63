"""`spoolwright type`: what it prints and how it exits."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from spoolwright.cli.type_commands import app
from spoolwright.errors import InputError, OutputError
from spoolwright.sources.typefile import shipped_type

RUN = CliRunner()
CORRIE = shipped_type().read_text(encoding="utf-8")


def test_a_good_file_is_summed_up() -> None:
    result = RUN.invoke(app, ["check", str(shipped_type())])
    assert result.exit_code == 0
    for told in ("no mistake", "not approved", "48  channels", "5 limit sets", "filled by the generic shape"):
        assert told in result.output


def test_filled_parameters_are_listed_on_demand() -> None:
    result = RUN.invoke(app, ["check", str(shipped_type()), "--fills"])
    assert "compressor.efficiency" in result.output and "usual level" in result.output


def test_mistakes_are_listed_with_line_and_mend(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(
        CORRIE.replace("noise = 6.0", "nose = 6.0").replace('"rpm"', '"rqm"', 1), encoding="utf-8"
    )
    result = RUN.invoke(app, ["check", str(path)])
    assert result.exit_code == 4
    line = CORRIE[: CORRIE.index("noise = 6.0")].count("\n") + 1
    assert f"line {line}" in result.output
    assert "2 mistakes" in result.output and "Did you mean 'noise'?" in result.output


def test_what_the_file_leaves_open_is_told(tmp_path: Path) -> None:
    start = CORRIE.index("[correction]")
    end = CORRIE.index("[[gate]]")
    text = (CORRIE[:start] + CORRIE[end:]).replace("corrected = true\n", "")
    path = tmp_path / "open.toml"
    path.write_text(text, encoding="utf-8")
    result = RUN.invoke(app, ["check", str(path)])
    assert result.exit_code == 0, result.output
    assert "No approved correction" in result.output


def test_a_missing_file_is_an_error_of_ours(tmp_path: Path) -> None:
    result = RUN.invoke(app, ["check", str(tmp_path / "none.toml")])
    assert isinstance(result.exception, InputError)
    assert "none.toml" in str(result.exception) and result.exception.exit_code == 4


def test_the_schema_comes_as_json(tmp_path: Path) -> None:
    assert json.loads(RUN.invoke(app, ["schema"]).output)["title"] == "Spoolwright type file"
    out = tmp_path / "schema.json"
    assert RUN.invoke(app, ["schema", "--out", str(out)]).exit_code == 0
    assert json.loads(out.read_text(encoding="utf-8"))["type"] == "object"


def test_a_schema_that_cannot_be_written_is_an_error_of_ours(tmp_path: Path) -> None:
    result = RUN.invoke(app, ["schema", "--out", str(tmp_path / "no" / "schema.json")])
    assert isinstance(result.exception, OutputError)


@pytest.mark.parametrize("word", ["check", "schema"])
def test_help_names_the_commands(word: str) -> None:
    assert word in RUN.invoke(app, ["--help"]).output
