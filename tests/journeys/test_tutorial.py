"""The tutorial is true: its commands run, and print what the page says, its figures within reading."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from spoolwright.cli import main

NUMBER = re.compile(r"[+−]?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def text(repository: Path) -> str:
    return (repository / "docs/tutorial/index.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def blocks(text: str) -> dict[str, list[str]]:
    kinds = ("sh", "text", "toml")
    return {kind: re.findall(rf"```{kind}\n(.*?)```", text, flags=re.S) for kind in kinds}


def called(command: str, repository: Path) -> Result:
    words = shlex.split(command.replace("\\\n", " ").replace("src/", f"{repository}/src/"))[1:]
    result = CliRunner().invoke(main.app, words, env={"COLUMNS": "80"})
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def assert_printed(block: str, output: str) -> None:
    """Every line of a block was printed, in its order; a number may differ in what nobody would notice."""
    lines = iter(line.rstrip() for line in output.splitlines())
    for told in (line.rstrip() for line in block.splitlines()):
        if told and told != "…":
            assert any(_same(told, line) for line in lines), f"not printed, or not in this order: {told}"


def _same(told: str, line: str) -> bool:
    if NUMBER.sub("#", told) != NUMBER.sub("#", line):
        return False
    pairs = zip(NUMBER.findall(told), NUMBER.findall(line), strict=True)
    return all(
        float(b.replace("−", "-")) == pytest.approx(float(a.replace("−", "-")), rel=0.02, abs=0.1)
        for a, b in pairs
    )


def test_the_first_run(
    blocks: dict[str, list[str]], repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert blocks["sh"][0] == "make demo\n"
    makefile = (repository / "Makefile").read_text(encoding="utf-8")
    assert re.search(r"^demo:.*\n\t\$\(BIN\)/spoolwright demo$", makefile, flags=re.M)
    result = called("spoolwright demo", repository)
    assert result.exit_code == 0
    assert_printed(blocks["text"][0], result.output)
    for name in re.findall(r"demo-out/\S+", blocks["text"][0]):
        assert Path(name).is_file()


def test_doubts_and_signed_corrections(
    blocks: dict[str, list[str]], repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    _, doubt, again = blocks["sh"]
    assert_printed(blocks["text"][1], called(doubt, repository).output)
    sheet = Path("demo-faults/FG-3130-run-1.run.toml")
    sheet.write_text(sheet.read_text(encoding="utf-8") + "\n" + blocks["toml"][0], encoding="utf-8")
    result = called(again, repository)
    assert result.exit_code == 0
    assert_printed(blocks["text"][2], result.output)
