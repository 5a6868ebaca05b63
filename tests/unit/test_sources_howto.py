"""The page on recordings says what is so: its examples are read as they stand there."""

import re
from pathlib import Path

import pytest

from spoolwright import units
from spoolwright.errors import InputError
from spoolwright.sources.channelmap import read_channel_map
from spoolwright.sources.limits import Limits
from spoolwright.sources.typefile import load_type, shipped_type

PAGE = (Path(__file__).resolve().parents[2] / "docs/how-to/recordings.md").read_text(encoding="utf-8")


def example(kind: str) -> str:
    return re.search(rf"```{kind}\n(.*?)```", PAGE, flags=re.S)[1]


def test_header_and_snippet(tmp_path, monkeypatch):
    (tmp_path / "run.csv").write_text(example("text"))
    monkeypatch.chdir(tmp_path)
    scope = {}
    exec(example("python"), scope)
    recording = scope["recording"]
    assert sorted(recording.series) == ["mgt", "ng", "p_oil"]
    assert recording.attributes["engine_serial"] == "C940-0017"
    assert recording.started_at.isoformat() == "2026-03-01T10:00:00+00:00"
    assert recording.notes == ()


def test_channel_map(tmp_path):
    (tmp_path / "map.toml").write_text(example("toml"))
    known = load_type(shipped_type()).type_file
    names = read_channel_map(tmp_path / "map.toml")
    assert {entry.channel for entry in names.entries.values()} <= {channel.id for channel in known.channel}
    assert names.time_zone == "+01:00"


def test_units_that_are_said_to_be_refused_are_and_those_to_write_instead_are_not():
    row = next(line for line in PAGE.splitlines() if "each is two units" in line)
    refused, instead = row.split("refused")
    for text in re.findall(r"`([^`]+)`", refused):
        with pytest.raises(InputError):
            units.unit_named(text)
    assert [units.unit_named(text).name for text in re.findall(r"`([^`]+)`", instead)]


def test_limits_are_the_stated_ones():
    limits = Limits()
    assert f"{limits.file_bytes // 2**30} GiB" in PAGE
    assert f"{limits.columns:,} columns" in PAGE
    assert f"{limits.line_bytes // 2**20} MiB" in PAGE
    assert f"{limits.values // 10**6} million values" in PAGE
    assert limits.values // (2 * 3600 * 20) // 10 * 10 == 340  # channels of two hours at 20 Hz
