"""Many recordings diagnosed: whichever way they ran, killed in between or not, the rows are the same."""

from __future__ import annotations

import math
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pyarrow import parquet

from command_line import PROGRAM, called
from spoolwright.bootstrap.batch import crews, diagnose_all
from spoolwright.errors import InputError, OutputError
from spoolwright.reports.batch_parts import PARTS
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type

RUNS = 30
FAULTS = ({}, {"compressor_fouling": 3.0}, {"turbine_erosion": 3.0}, {}, {"bleed_leak": 3.0})

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kills processes with signals")


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty runs in two folders, and five that cannot be diagnosed."""
    folder = tmp_path_factory.mktemp("recordings")
    known = load_type(shipped_type())
    options = QuickOptions(faults=lambda i: FAULTS[i % len(FAULTS)])
    for i, run in enumerate(quick_runs(known.type_file, known.engine, RUNS, 4200, options)):
        write_run(run, folder / ("spring" if i < 20 else "autumn"), f"run-{i:02d}", "parquet")
    spring = folder / "spring"
    whole = (spring / "run-00.parquet").read_bytes()
    sheet = (spring / "run-00.run.toml").read_text()
    (spring / "cut-off.parquet").write_bytes(whole[:5000])
    (spring / "cut-off.run.toml").write_text(sheet)
    (spring / "empty.csv").touch()
    (spring / "empty.run.toml").write_text(sheet)
    (spring / "no-sheet.parquet").write_bytes(whole)
    (spring / "bad-sheet.parquet").write_bytes(whole)
    (spring / "bad-sheet.run.toml").write_text(sheet.replace("limit_set =", "limit_sett ="))
    (spring / "too-short.csv").write_text("time [s],ng [rpm]\n0,10\n1,10\n")
    (spring / "too-short.run.toml").write_text(sheet)
    return folder


BROKEN = {"cut-off.parquet", "empty.csv", "no-sheet.parquet", "bad-sheet.parquet"}
EVERY = RUNS + len(BROKEN) + 1


def table(path: Path) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = parquet.read_table(path).to_pylist()
    return rows


@pytest.fixture(scope="module")
def by_one(recordings: Path, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Rows as one process makes them, a recording after the other."""
    out = tmp_path_factory.mktemp("one")
    return table(diagnose_all(str(recordings), shipped_type(), out, processes=1).table)


def assert_same(found: Any, wanted: Any, where: str = "") -> None:
    """Equal words and choices, numbers to 1e-9 relative."""
    if isinstance(wanted, float) and isinstance(found, float):
        assert math.isclose(found, wanted, rel_tol=1e-9, abs_tol=1e-300), where
    elif isinstance(wanted, dict):
        assert found.keys() == wanted.keys(), where
        for key in wanted:
            assert_same(found[key], wanted[key], f"{where}/{key}")
    elif isinstance(wanted, list):
        assert len(found) == len(wanted), where
        for i, (one, other) in enumerate(zip(found, wanted, strict=True)):
            assert_same(one, other, f"{where}/{i}")
    else:
        assert found == wanted, where


def test_every_recording_has_one_row_and_a_broken_one_says_why(by_one: list[dict[str, Any]]) -> None:
    assert len(by_one) == len({r["recording"] for r in by_one}) == EVERY
    failed = {r["recording"].rsplit("/", 1)[1] for r in by_one if r["outcome"] == "error"}
    assert failed == BROKEN
    (short,) = (r for r in by_one if r["recording"] == "spring/too-short.csv")
    assert (short["outcome"], short["error"]) == ("cannot_tell", "")
    done = [r for r in by_one if r["outcome"] not in ("error", "cannot_tell")]
    assert len(done) == RUNS
    assert all(0.0 <= r["healthy"] <= 1.0 and r["causes"] and not r["error"] for r in done)
    assert len({r["key"] for r in by_one}) == len(by_one)


def test_a_broken_recording_gets_the_sentence_of_the_single_command(
    recordings: Path, by_one: list[dict[str, Any]]
) -> None:
    for name in BROKEN:
        row = next(r for r in by_one if r["recording"] == f"spring/{name}")
        alone = called("diagnose", recordings / "spring" / name, "--type", shipped_type())
        assert alone.code not in (0, 70), name
        assert " ".join(row["error"].split()) in " ".join(alone.err.split()), name
    short = next(r for r in by_one if r["recording"] == "spring/too-short.csv")
    alone = called("diagnose", recordings / "spring" / "too-short.csv", "--type", shipped_type())
    assert alone.code == 11 and short["sentence"] in " ".join(alone.out.split())


def test_two_processes_give_the_rows_of_one(
    recordings: Path, by_one: list[dict[str, Any]], tmp_path: Path
) -> None:
    done = diagnose_all(str(recordings), shipped_type(), tmp_path / "two", processes=2)
    assert (done.done, done.kept) == (EVERY, 0)
    assert_same(table(done.table), by_one)


@pytest.fixture
def scheduler() -> Iterator[str]:
    """A dask scheduler with two worker processes on this machine."""
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        yield cluster.scheduler_address


def test_a_scheduler_gives_the_rows_of_one_process(
    recordings: Path, by_one: list[dict[str, Any]], scheduler: str, tmp_path: Path
) -> None:
    done = diagnose_all(str(recordings), shipped_type(), tmp_path / "cluster", scheduler=scheduler)
    assert_same(table(done.table), by_one)


def test_a_scheduler_that_is_not_there_is_told(
    recordings: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    monkeypatch.setattr(crews, "_ANSWER_S", 1)
    with pytest.raises(InputError, match="no scheduler answers"):
        diagnose_all(str(recordings), shipped_type(), tmp_path, scheduler="tcp://127.0.0.1:9")


def test_results_among_the_recordings_are_refused(recordings: Path) -> None:
    before = sorted(recordings.rglob("*"))
    for out in (recordings, recordings.parent):
        with pytest.raises(OutputError, match="the recordings lie in it"):
            diagnose_all(str(recordings), shipped_type(), out, processes=1)
    assert sorted(recordings.rglob("*")) == before


def test_killed_it_goes_on_without_doing_twice_or_losing_what_was_done(
    recordings: Path, by_one: list[dict[str, Any]], tmp_path: Path
) -> None:
    out = tmp_path / "killed"
    words = ["diagnose-all", recordings, "--type", shipped_type(), "--out", out]
    with subprocess.Popen(
        [*PROGRAM, *map(str, words), "--processes", "2"], start_new_session=True
    ) as process:
        parts = _waited_for(out / PARTS, 3)
        os.kill(process.pid, signal.SIGKILL)
    _ended(process.pid)
    parts = sorted((out / PARTS).glob("part-*.parquet"))
    before = {p: (p.stat().st_ino, p.stat().st_mtime_ns) for p in parts}
    rows = sum(len(table(p)) for p in parts)
    assert 0 < rows < len(by_one)
    refused = called(*words)
    assert refused.code == 6 and "--resume" in refused.err
    again = called(*words, "--processes", "1", "--resume")
    assert again.code == 13, again.err
    assert f"{rows} were done before" in again.out
    assert {p: (p.stat().st_ino, p.stat().st_mtime_ns) for p in parts} == before
    assert_same(table(out / "diagnoses.parquet"), by_one)


def _waited_for(folder: Path, count: int) -> list[Path]:
    until = time.monotonic() + 120.0
    while time.monotonic() < until:
        found = sorted(folder.glob("part-*.parquet"))
        if len(found) >= count:
            return found
        time.sleep(0.02)
    raise AssertionError("no part was written in time")


def _ended(session: int) -> None:
    """Wait until no process of the killed batch is left: workers end with their parent."""
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        try:
            os.killpg(session, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    raise AssertionError("workers outlived the batch that was killed")


def test_a_worker_that_ends_costs_nothing_but_time(
    recordings: Path, by_one: list[dict[str, Any]], tmp_path: Path
) -> None:
    killed: list[int] = []

    def kill_one(what: str, share: float) -> None:
        children = multiprocessing.active_children()
        if not killed and children and share > 0.0:
            killed.append(children[0].pid or 0)
            os.kill(killed[0], signal.SIGKILL)

    done = diagnose_all(str(recordings / "autumn"), shipped_type(), tmp_path, processes=2, progress=kill_one)
    assert killed
    found = [{**r, "recording": f"autumn/{r['recording']}"} for r in table(done.table)]
    assert_same(found, [r for r in by_one if r["recording"].startswith("autumn/")])


def test_only_what_changed_is_diagnosed_again(recordings: Path, tmp_path: Path) -> None:
    folder = tmp_path / "few"
    folder.mkdir()
    for name in ("run-00", "run-01"):
        for ending in (".parquet", ".run.toml"):
            (folder / f"{name}{ending}").write_bytes((recordings / "spring" / f"{name}{ending}").read_bytes())
    out = tmp_path / "out"
    first = table(diagnose_all(str(folder), shipped_type(), out, processes=1).table)
    sheet = folder / "run-01.run.toml"
    sheet.write_text(sheet.read_text() + "\n# looked through once more\n")
    done = diagnose_all(str(folder), shipped_type(), out, processes=1, resume=True)
    assert (done.done, done.kept) == (1, 1)
    second = table(done.table)
    assert [a["key"] == b["key"] for a, b in zip(first, second, strict=True)] == [True, False]
    assert_same(
        [
            {**b, "key": a["key"], "run_sheet_sha256": a["run_sheet_sha256"]}
            for a, b in zip(first, second, strict=True)
        ],
        first,
    )


def test_addresses_give_the_rows_of_paths(
    recordings: Path, by_one: list[dict[str, Any]], tmp_path: Path
) -> None:
    names = ["run-20.parquet", "run-21.parquet"]
    (tmp_path / "list.txt").write_text("".join(f"{(recordings / 'autumn' / n).as_uri()}\n" for n in names))
    found = table(
        diagnose_all(str(tmp_path / "list.txt"), shipped_type(), tmp_path / "out", processes=1).table
    )
    wanted = [r for r in by_one if r["recording"] in [f"autumn/{n}" for n in names]]
    assert_same([{**r, "recording": f"autumn/{r['recording'].rsplit('/', 1)[1]}"} for r in found], wanted)
