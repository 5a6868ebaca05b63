"""The commands on a shop, from set-up to proof, as docs/how-to/back-up.md tells them."""

from __future__ import annotations

import io
import re
import sqlite3
from pathlib import Path

import pytest

from command_line import Answer, called
from shop.fixtures import NOON
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.sources.typefile import shipped_type


def said(answer: Answer, code: int = 0) -> str:
    """What a command printed, blanks even, after it ended as it should."""
    assert answer.code == code, answer
    return " ".join((answer.out + answer.err).split())


def typed(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(text))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop with a lead, an authorisation, the demonstration type and a visit."""
    folder = tmp_path / "shop"
    typed(monkeypatch, "correct horse battery\n")
    words = ("--name", "Ada Lund", "--role", "lead", "--role", "certifying staff")
    assert "Ada Lund is lead, certifying staff." in said(
        called("person", "add", "ada", *words, "--shop", folder)
    )
    given = ("--number", "FEW-12", "--role", "lead", "--until", "2027-12-31")
    assert "until 2027-12-31 (FEW-12)" in said(called("person", "authorise", "ada", *given, "--shop", folder))
    assert "Corrie 940 is adopted" in said(called("adopt", shipped_type(), "--shop", folder))
    opened = open_shop(None, folder)
    body = VisitOpened(
        number="W100",
        engine_serial="C940-117",
        type_id="corrie_940",
        customer="Holm Utility Helicopters",
        reason_for_removal="low power",
        received_on=NOON.date(),
    )
    opened.desk("ada", NOON).record(New("visit/W100", body, visit="W100"))
    opened.close()
    return folder


def head(told: str) -> tuple[str, str]:
    found = re.search(r"Head of record (\d+): ([0-9a-f]{64})", told)
    assert found, told
    return found[1], found[2]


def test_verify_tells_the_head_and_holds_against_it(shop: Path) -> None:
    told = said(called("verify", "--shop", shop))
    assert "Everything is as it was recorded." in told
    seq, digest = head(told)
    assert "Everything" in said(called("verify", "--shop", shop, "--seq", seq, "--head", digest))
    wrong = said(called("verify", "--shop", shop, "--seq", 999, "--head", digest), 14)
    assert (
        f"the document names record 999, the last here is {seq}: the end of the records was cut off" in wrong
    )
    other = said(called("verify", "--shop", shop, "--head", "0" * 64), 14)
    assert "the records were written anew since" in other
    assert "--seq needs the --head" in said(called("verify", "--shop", shop, "--seq", seq), 2)


def test_a_changed_row_ends_verify_with_its_number(shop: Path) -> None:
    with sqlite3.connect(shop / "shop.sqlite") as raw:
        raw.execute("DROP TRIGGER entry_no_update")
        raw.execute("UPDATE entry SET reason = 'none' WHERE kind = 'visit'")
    told = said(called("verify", "--shop", shop), 14)
    assert "record 4: it is not what was recorded" in told
    assert "its guard 'entry_no_update' is gone" in told
    assert "2 faults found." in told


def test_backup_and_restore_keep_the_head_and_the_password(shop: Path, tmp_path: Path) -> None:
    backup, again = tmp_path / "backup", tmp_path / "again"
    made = head(said(called("backup", backup, "--shop", shop)))
    assert head(said(called("restore", backup, "--shop", again))) == made
    assert head(said(called("verify", "--shop", again))) == made
    opened = open_shop(None, again)
    assert opened.people.check("ada", "correct horse battery", source="t", now=NOON).login == "ada"
    opened.close()
    assert "never writes over" in said(called("restore", backup, "--shop", again), 6)
    assert "is no backup" in said(called("restore", again, "--shop", tmp_path / "third"), 4)


def test_export_names_the_page_to_open(shop: Path, tmp_path: Path) -> None:
    told = said(called("export", "W100", tmp_path / "out", "--shop", shop))
    assert "index.html" in told
    assert "C940-117" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "no visit has the number 'W9'" in said(called("export", "W9", tmp_path / "o2", "--shop", shop), 4)


def test_a_bad_password_records_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    typed(monkeypatch, "short\n")
    words = ("person", "add", "ben", "--name", "Ben", "--role", "builder", "--shop", tmp_path / "s")
    assert "10 to 200 characters" in said(called(*words), 4)
    opened = open_shop(None, tmp_path / "s")
    assert opened.people.everyone() == []
    opened.close()


def test_words_that_are_wrong_are_told(shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wrong = called("person", "add", "ben", "--name", "Ben", "--role", "boss", "--shop", shop)
    assert "'boss' is no role. Roles: lead, inspector" in said(wrong, 2)
    assert "there is no shop in this folder" in said(called("verify", "--shop", tmp_path / "none"), 4)
    url = ("--database", "mysql://x@y/z")
    assert "is no database for the shop's records" in said(called("verify", "--shop", shop, *url), 4)
    typed(monkeypatch, "a new pass phrase\n")
    assert "nobody here has the login 'eve'" in said(called("person", "password", "eve", "--shop", shop), 4)
    assert not (tmp_path / "none").exists()
