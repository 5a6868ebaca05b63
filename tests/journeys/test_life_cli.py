"""Ledgers through the command line, with the table that the how-to page shows."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from command_line import called

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "check-ledgers.md"


def block(language: str) -> str:
    """The page's first block in a language."""
    found = re.search(rf"```{language}\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.S)
    assert found
    return found[1]


@pytest.fixture
def cards(tmp_path: Path) -> Path:
    path = tmp_path / "cards.csv"
    path.write_text(block("csv"), encoding="utf-8")
    return path


def test_the_pages_table_gives_the_pages_answer(cards: Path) -> None:
    answer = called("life", "check", cards, "--on", "2026-11-25", columns=200)
    assert answer.code == 2
    assert block("text").strip() in answer.out


def test_the_arithmetic_is_written_line_by_line(cards: Path, tmp_path: Path) -> None:
    """900 + 2,000 x 0.25 + 100 x 0.3 = 1,430 by table H-1 for utility."""
    out = tmp_path / "read.csv"
    called("life", "check", cards, "--out", out)
    rows = list(csv.DictReader(out.open(encoding="utf-8")))
    assert [(r["line"], r["measure"], r["total_from_birth"]) for r in rows] == [
        ("1", "hours", "1,200"),
        ("1", "cycles", "1,430"),
        ("2", "hours", "2,000"),
        ("2", "cycles", "2,130"),
    ]
    assert rows[1]["arithmetic"] == "0 + (900 full × 1 + 2,000 partial × 0.25 + 100 ground × 0.3) = 1,430"
    assert [bool(r["findings"]) for r in rows] == [False, False, True, False]


def test_a_proven_life_ends_with_zero_and_the_limit_of_the_day_counts(cards: Path) -> None:
    """11,500 cycles until 2026-02-15, 8,800 from the next day (lives.toml)."""
    cards.write_text(cards.read_text().replace(",1320,2120,", ",1200,2000,"))
    for day, limit in (("2026-02-15", "11,500"), ("2026-02-16", "8,800")):
        answer = called("life", "check", cards, "--on", day, columns=200)
        assert answer.code == 0 and f"2,130 of {limit} cycles" in answer.out


def test_mistakes_are_told_by_line(cards: Path) -> None:
    cards.write_text(cards.read_text().replace(",310.5,", ",310h,").replace("2017-01-02", "2 Jan 2017"))
    answer = called("life", "check", cards)
    assert answer.code == 4
    assert all(x in answer.err for x in ("line 3", "310h", "line 4", "2 Jan 2017", "1234:30"))


def test_a_recorded_start_and_stop_is_one_full_cycle(tmp_path: Path) -> None:
    run = tmp_path / "flight.csv"
    speeds = [0, 20000, 38650, 38650, 20000, 0]
    run.write_text("time [s],NG [rpm]\n" + "\n".join(f"{i},{v}" for i, v in enumerate(speeds)))
    answer = called("life", "count", run)
    assert answer.code == 0 and "compressor: 1.000 full cycles" in answer.out
    run.write_text("time [s],OAT [degC]\n0,15\n1,15\n")
    assert called("life", "count", run).code == 4
