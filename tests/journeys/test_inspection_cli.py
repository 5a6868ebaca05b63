"""Findings through the command line: judged from a table, recorded into a shop by table, words and line."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from command_line import called
from shop.fixtures import FilledShop
from shop.memory import demonstration_type
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.inspection.entering import finding_from, part_named, quick_words
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.visit.entry import canonical
from spoolwright.crafts.visit.people import Role
from spoolwright.sources.typefile import shipped_type

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "inspect.md"


def blocks(language: str) -> list[str]:
    """The how-to page's blocks in a language."""
    return re.findall(rf"```{language}\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.S)


TABLE = blocks("csv")[0]


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "findings.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "shop"
    shop = FilledShop(open_shop(None, folder))
    shop.shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))
    shop.hire("ines", "Ines Falk", Role.INSPECTOR)
    shop.open_visit()
    shop.shop.close()
    yield folder


def recorded(folder: Path) -> list[FindingRecorded]:
    shop = open_shop(None, folder)
    try:
        return [e.body for e in shop.records.current(FindingRecorded, visit="W100")]
    finally:
        shop.close()


def test_a_table_is_judged(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "proposed.csv"
    answer = called("inspection", "judge", table, "--type", shipped_type(), "--out", out)
    assert answer.code == 2, answer.err
    assert answer.out.startswith(blocks("text")[1])
    assert "3 of 4 meet limits as is or after a blend. A person decides." in answer.out
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["proposed"] for r in rows] == [
        "blend within limits", "meets limits as is", "outside limits", "meets limits as is",
    ]  # fmt: skip
    assert rows[0]["paragraph"] == "OM-940, 72-30, 5.2, b (2)"
    assert "depth after the blend 0.45 mm, at most 1.2 mm" in rows[0]["arithmetic"]


def test_the_pages_lines_are_findings() -> None:
    rotor, liner = (
        part_named(demonstration_type().shop.inspected_part, part)
        for part in ("axial_rotor_1", "combustion_liner")
    )
    lines = [line.partition("  ")[0] for line in blocks("text")[0].splitlines()]
    for line in lines:
        part = liner if line.startswith("c ") else rotor
        finding = finding_from({"unit": "mm"} | quick_words(line, part), part)
        assert finding.zone in {"le_tip", "le_root", "cooling"}


def test_mistakes_are_told_all_at_once(tmp_path: Path) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text(
        "part,blade,zone,damage,unit,depth\naxial_rotor_1,99,l3,n,mm,0.4\naxial_rotor_1,1,l3,x,mm,1,\n"
        "axial_rotor_1,1,l3,n,mm,about 1\n".replace("mm,1,\n", "mm,1\n"),
        encoding="utf-8",
    )
    answer = called("inspection", "judge", path)
    assert answer.code == 4
    for told in (
        "line 2",
        "'99' is not there",
        "line 3",
        "'x' is no kind of damage",
        "line 4",
        "is no length",
    ):
        assert told in answer.err, told


def test_the_same_record_by_table_words_and_line(place: Path, tmp_path: Path) -> None:
    one = tmp_path / "one.csv"
    one.write_text(
        "part,serial,blade,zone,damage,unit,depth,length\naxial_rotor_1,R1,7,l3,n,mm,0.40,2.1\n", "utf-8"
    )
    to = ("--visit", "W100", "--as", "ines", "--shop", place)
    start = ("--part", "axial_rotor_1", "--serial", "R1", "--unit", "mm")
    assert called("inspection", "record", one, *to).code == 0
    words = ("--blade", "8", "--zone", "le_tip", "--damage", "nick", "--depth", "0.40", "--length", "2.1")
    assert called("inspection", "record", *to, *start, *words).code == 0
    answer = called("inspection", "record", *to, *start, "--quick", "9 l3 n 0.40 2.1")
    assert (answer.code, answer.out.strip()) == (0, "1 recorded in visit W100.")
    bodies = recorded(place)
    assert [b.blade for b in bodies] == [7, 8, 9]
    assert len({canonical(b.model_copy(update={"blade": 1}).model_dump(mode="json")) for b in bodies}) == 1
    # the same again is refused, and nothing is recorded
    assert called("inspection", "record", one, *to).code == 4
    assert len(recorded(place)) == 3


def test_all_or_none(place: Path, table: Path) -> None:
    to = ("--visit", "W100", "--as", "ines", "--shop", place)
    twice = table.with_name("twice.csv")
    twice.write_text(TABLE + TABLE.splitlines()[1] + "\n", encoding="utf-8")
    answer = called("inspection", "record", twice, *to)
    assert answer.code == 4
    assert "exactly this is recorded as finding 1" in answer.err
    assert recorded(place) == []
    assert called("inspection", "record", table, *to).code == 0
    assert len(recorded(place)) == 4
