"""Folders, lists and addresses of recordings."""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

import pytest

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.places import Placed, as_placed, fetched, hashes_at, listed, sheet_address

RESULTS = "batch.json"


def made(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())


def names(found: list[Placed]) -> list[str]:
    return [p.name for p in found]


def test_a_folder_gives_its_recordings_and_those_of_folders_in_it(tmp_path: Path) -> None:
    made(
        tmp_path,
        "b.parquet",
        "b.run.toml",
        "b.json",
        "2027/a.csv",
        "2027/may/c.mf4",
        ".hidden.csv",
        ".x/d.csv",
    )
    found = listed(str(tmp_path), results=RESULTS)
    assert names(found) == ["2027/a.csv", "2027/may/c.mf4", "b.parquet"]
    assert Path(found[0].place).read_text() == "2027/a.csv"


@pytest.mark.skipif(sys.platform != "linux", reason="names are text there")
def test_names_that_are_no_text_are_listed_apart(tmp_path: Path) -> None:
    for raw in (b"\xfe.csv", b"\xff.csv"):
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + raw)).write_bytes(raw)
    found = listed(str(tmp_path), results=RESULTS)
    assert names(found) == [r"\udcfe.csv", r"\udcff.csv"]
    assert [Path(p.place).read_bytes() for p in found] == [b"\xfe.csv", b"\xff.csv"]


def test_a_text_file_is_a_recording_only_with_its_run_sheet(tmp_path: Path) -> None:
    made(tmp_path, "notes.txt", "run.txt", "run.run.toml")
    assert names(listed(str(tmp_path), results=RESULTS)) == ["run.txt"]


def test_results_lying_in_the_folder_are_no_recordings(tmp_path: Path) -> None:
    made(tmp_path, "a.csv", f"out/{RESULTS}", "out/diagnoses.parquet", "out/parts/part-000000.parquet")
    assert names(listed(str(tmp_path), results=RESULTS)) == ["a.csv"]


def test_a_list_names_paths_from_its_own_folder_and_addresses(tmp_path: Path) -> None:
    text = "# May\n\nruns/a.csv\ns3://shop/b.parquet\nruns/a.csv\n/c.csv\n"
    (tmp_path / "list.txt").write_text(text)
    assert listed(str(tmp_path / "list.txt"), results=RESULTS) == [
        Placed("/c.csv", "/c.csv"),
        Placed("runs/a.csv", f"{tmp_path}/runs/a.csv"),
        Placed("s3://shop/b.parquet", "s3://shop/b.parquet"),
    ]


def test_a_recording_is_not_taken_for_a_list(tmp_path: Path) -> None:
    made(tmp_path, "run.csv", "run.run.toml")
    with pytest.raises(InputError, match="a recording, not a list"):
        listed(str(tmp_path / "run.csv"), results=RESULTS)


@pytest.mark.parametrize("kind", ["absent", "empty", "binary"])
def test_what_holds_no_recording_is_told(tmp_path: Path, kind: str) -> None:
    where = tmp_path / "x"
    if kind == "empty":
        where.mkdir()
    elif kind == "binary":
        where.write_bytes(b"\xff\xfe\x00")
    told = {"absent": "cannot be read", "empty": "no recording", "binary": "no UTF-8 text"}[kind]
    with pytest.raises(InputError, match=told):
        listed(str(where), results=RESULTS)


def test_a_store_is_listed_and_read_like_a_folder(tmp_path: Path) -> None:
    made(tmp_path, "2027/a.csv", "2027/a.run.toml", "b.parquet")
    address = tmp_path.as_uri()
    found = listed(address, results=RESULTS)
    assert found == [
        Placed("2027/a.csv", f"{address}/2027/a.csv"),
        Placed("b.parquet", f"{address}/b.parquet"),
    ]
    with fetched(found[0].place) as (path, sheet):
        assert (path.name, path.read_text(), sheet.read_text()) == ("a.csv", "2027/a.csv", "2027/a.run.toml")
        assert path.parent != tmp_path / "2027"
        assert (
            as_placed(f"{sheet}: a mistake", found[0].place, path) == f"{address}/2027/a.run.toml: a mistake"
        )
    assert not path.exists()
    with fetched(found[1].place) as (_, sheet):
        assert not sheet.exists()
    assert hashes_at(found[0].place) == hashes_at(str(tmp_path / "2027/a.csv"))
    assert hashes_at(found[0].place)[0] == hashlib.sha256(b"2027/a.csv").hexdigest()


def test_what_cannot_be_fetched_is_told_with_its_address(tmp_path: Path) -> None:
    missing = (tmp_path / "a.csv").as_uri()
    with pytest.raises(InputError, match=r"file://.*there is no such file"), fetched(missing):
        pass
    with (
        pytest.raises(InputError, match=r"nosuch://x/a.csv: it cannot be fetched"),
        fetched("nosuch://x/a.csv"),
    ):
        pass
    with pytest.raises(InputError, match="there is nothing there"):
        listed((tmp_path / "none").as_uri(), results=RESULTS)
    assert hashes_at(missing) == ("", "")


def test_a_file_over_the_limit_is_not_fetched(tmp_path: Path) -> None:
    made(tmp_path, "a.csv")
    address = (tmp_path / "a.csv").as_uri()
    with (
        pytest.raises(InputError, match="it has 5 bytes, the limit is 4"),
        fetched(address, Limits(file_bytes=4)),
    ):
        pass


def test_the_sheet_lies_beside_its_recording_in_a_store_too() -> None:
    assert sheet_address("s3://shop/2027/run.1.parquet") == "s3://shop/2027/run.1.run.toml"
