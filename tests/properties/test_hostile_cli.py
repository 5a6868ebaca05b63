"""Whatever is handed to the program, the answer is a sentence and an exit code: never a traceback, never 70,
never a hang, never unbounded memory.

SPOOLWRIGHT_FUZZ sets how much is tried: `make prove` tries much more than `make test`.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from command_line import called
from spoolwright.sources.runsheet import sheet_beside
from spoolwright.sources.typefile import shipped_type

HERE = Path(__file__).parent
VISITS = max(int(os.environ.get("SPOOLWRIGHT_FUZZ", "500")) // 12, 40)


def driven(script: str, *words: object, within: Path, timeout: float) -> dict[str, Any]:
    """Run in an empty folder: "no name" means the folder one stands in."""
    done = subprocess.run(
        [sys.executable, "-X", "faulthandler", str(HERE / script), *map(str, words)],
        capture_output=True, text=True, timeout=timeout, check=False, cwd=within,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    return dict(json.loads(done.stdout))


def test_hostile_visits(hot_section: Path, tmp_path: Path) -> None:
    told = driven(
        "hostile_fuzzer.py", hot_section, 0, VISITS, tmp_path, within=tmp_path, timeout=120 + 10 * VISITS
    )
    assert told["problems"] == []
    assert sum(told["ends"].values()) == VISITS
    assert {"cannot_tell", "InputError"} <= set(told["ends"])
    assert told["slowest"] < 60
    assert told["memory"] < 2**30


@pytest.fixture(scope="module")
def calls(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Every hostile thing in the place of every file that the command line takes, and what came of it."""
    empty = tmp_path_factory.mktemp("empty")
    return driven(
        "hostile_calls.py", hot_section, tmp_path_factory.mktemp("calls"), within=empty, timeout=300
    )


FITS = {
    ("empty", "assess --channel-map"), ("blank lines", "assess --channel-map"),  # a map of nothing
    ("one row", "assess RUN"), ("one row", "diagnose RUN"), ("one row", "sheet new"),  # a short recording
}  # fmt: skip


def test_hostile_files_are_refused_with_a_sentence(calls: dict[str, Any]) -> None:
    assert len(calls["answers"]) > 350
    for a in calls["answers"]:
        if (a["thing"], a["place"]) in FITS:
            assert (a["code"], a["err"]) in ((0, ""), (10, ""), (11, "")), a
        elif a["place"] in ("sheet check", "type check"):
            assert a["code"] == 4 and a["err"], a
        else:
            assert 2 <= a["code"] <= 6 and a["err"].startswith("spoolwright: "), a


def test_hostile_files_are_answered_in_time_with_few_plain_words(calls: dict[str, Any]) -> None:
    assert calls["memory"] < 2**30
    for a in calls["answers"]:
        assert a["seconds"] < 20, a
        assert a["controls"] in ([], ["\n"]), a
        assert a["said"] < 30_000, a
        assert "Traceback" not in a["err"], a


def test_a_recording_without_a_text_for_a_name_is_reported(hot_section: Path, tmp_path: Path) -> None:
    """File names are bytes: one that is no UTF-8 is no reason to lose a result."""
    run = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\x1b[31m.parquet"))
    shutil.copyfile(hot_section, run)
    shutil.copyfile(sheet_beside(hot_section), sheet_beside(run))
    paths = {k: tmp_path / f"out.{k}" for k in ("json", "html", "pdf")}
    words = ["assess", run, "--type", shipped_type(), *(w for k, p in paths.items() for w in (f"--{k}", p))]
    answer = called(*words)
    assert (answer.code, answer.err) == (10, "")
    assert json.loads(paths["json"].read_text(encoding="utf-8"))["runs"][0]["file"] == "?\x1b[31m.parquet"
    assert all(p.stat().st_size for p in paths.values())
