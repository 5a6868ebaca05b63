"""The shop's records as a whole: verified, backed up, restored, exported; on each database."""

from __future__ import annotations

import hashlib
import json
from concurrent.futures import ThreadPoolExecutor
from html.parser import HTMLParser
from pathlib import Path
from threading import Event
from typing import Any, ClassVar

import pytest
from sqlalchemy import text

from shop.fixtures import NOON, FilledShop, Place
from spoolwright.bootstrap.exporting import export_visit
from spoolwright.bootstrap.progress import silent
from spoolwright.bootstrap.verifying import Printed, verify
from spoolwright.crafts.visit.desk import signed
from spoolwright.crafts.visit.entry import Body, Calculation, Meaning, New
from spoolwright.crafts.visit.model import NoteTaken
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError, OutputError
from spoolwright.store.backup import Head, back_up, restore
from spoolwright.store.people import WrongPasswordError


class Squared(Body):
    """A number and its square, for this test."""

    kind: ClassVar[str] = "test_squared"

    calculation: Calculation


def squared(inputs: dict[str, Any], _read: Any) -> dict[str, Any]:
    return {"value": inputs["x"] ** 2, "verdict": "meets" if inputs["x"] < 10 else "does not meet"}


def stored(x: float, value: float, verdict: str = "meets", version: str = "1") -> New:
    result = {"value": value, "verdict": verdict}
    calculation = Calculation(name="squared", version=version, inputs={"x": x}, result=result)
    return New(f"visit/W100/squared/{x}/{version}", Squared(calculation=calculation), visit="W100")


@pytest.fixture
def filled(shop: FilledShop) -> FilledShop:
    """A visit with a signed note, its correction, and a file."""
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    shop.people.set_password("ada", "correct horse battery")
    shop.open_visit()
    desk = shop.desk("ada")
    photo = desk.attachments.keep(b"\xff\xd8 a photograph", "nick <1>.jpg", "image/jpeg")
    note = NoteTaken(text="Nick at 5 o'clock <b>", files=(photo,))
    new = New("visit/W100/note/1", note, visit="W100")
    desk.record(signed(new, desk, Meaning.DID, "I saw a nick.", Role.BUILDER))
    corrected = NoteTaken(text="Nick at 7 o'clock", files=(photo,))
    desk.record(New("visit/W100/note/1", corrected, visit="W100", after=1, reason="clock read wrongly"))
    return shop


def without_guards(shop: FilledShop, *statements: str) -> None:
    """Change rows as somebody with all rights in the database could."""
    with shop.shop.database.write() as connection:
        if shop.shop.database.is_sqlite:
            names = connection.scalars(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).all()
            guards = [f"DROP TRIGGER {name}" for name in names]
        else:
            guards = ["DROP TRIGGER entry_fixed ON entry", "DROP TRIGGER entry_at_end ON entry"]
        for statement in (*guards, *statements):
            connection.execute(text(statement))


def test_what_is_as_it_was_recorded_verifies(filled: FilledShop) -> None:
    found = filled.shop.verify()
    assert found.faults == []
    assert (found.seq, found.digest) == filled.records.head()
    assert found.signatures == 1
    assert found.attachments >= 2  # the photograph and the type file


CHANGES = [
    ("UPDATE entry SET author = 'eve' WHERE seq = 4", "its content does not give its digest"),
    ("DELETE FROM entry WHERE seq = 4", "record(s) 4 to 4 are missing"),
    ("UPDATE entry SET revision = 3 WHERE revision = 2", "does not follow the one before"),
    ("UPDATE entry SET previous = digest WHERE seq = 5", "it does not follow the record before it"),
    ("UPDATE entry SET body = '{}' WHERE kind = 'visit'", "cannot be read as 'visit'"),
]


@pytest.mark.parametrize(("change", "told"), CHANGES)
def test_a_changed_row_is_found_and_so_is_the_lifted_guard(
    filled: FilledShop, change: str, told: str
) -> None:
    without_guards(filled, change)
    faults = [str(f) for f in filled.shop.verify().faults]
    assert any(told in f for f in faults), faults
    assert any("guard 'entry_at_end' is gone" in f for f in faults), faults


def test_a_cut_end_is_found_against_a_printed_head_only(filled: FilledShop) -> None:
    seq, digest = filled.records.head()
    assert filled.shop.verify(Printed(digest, seq)).holds
    assert filled.shop.verify(Printed(digest)).holds
    assert not filled.shop.verify(Printed(digest, seq - 1)).holds
    without_guards(filled, f"DELETE FROM entry WHERE seq = {seq}")
    faults = [f.what for f in filled.shop.verify(Printed(digest, seq)).faults]
    assert any("the end of the records was cut off" in f for f in faults)
    assert not any("cut off" in f.what for f in filled.shop.verify().faults)
    with pytest.raises(InputError, match="64 digits"):
        filled.shop.verify(Printed("abc"))


def test_calculations_are_run_again(filled: FilledShop) -> None:
    """Squares by hand: 3² = 9, 4² = 16, 5² = 25, 12² = 144."""
    near = stored(5.0, 25.0 * (1 + 5e-10))
    news = [
        stored(3.0, 9.0),
        stored(4.0, 16.0 + 1e-7),
        near,
        stored(12.0, 144.0),
        stored(2.0, 4.0, version="0"),
    ]
    entries = filled.records.add(news, by="ada", at=NOON)
    found = verify(filled.shop.database, filled.attachments, recompute={("squared", "1"): squared})
    assert found.recomputed == 4
    assert found.not_recomputed == {"squared 0": 1}
    assert [f.seq for f in found.faults] == [entries[1].seq, entries[3].seq]
    assert "result.value is stored as 16.0000001, computed again it is 16.0" in found.faults[0].what
    assert "result.verdict is stored as 'meets'" in found.faults[1].what


def test_signatures_point_to_people_and_authorisations(filled: FilledShop) -> None:
    desk = filled.desk("ada")
    for n, change in enumerate(({"person": "eve"}, {"name": "Eve"}, {"authorisation": "F-9"})):
        new = signed(New(f"visit/W100/note/9{n}", NoteTaken(text="x"), visit="W100"), desk, Meaning.DID, "x")
        assert new.signature is not None
        forged = new.signature.model_copy(update=change)
        filled.records.add([New(new.subject, new.body, visit="W100", signature=forged)], by="ada", at=NOON)
    faults = " ".join(f.what for f in filled.shop.verify().faults)
    assert "'ada' recorded it with the signature of 'eve'" in faults
    assert "whom the shop did not know then" in faults
    assert "which was not the name of 'ada'" in faults
    assert "which 'ada' had not been given" in faults


def test_a_backup_restores_to_the_same_shop(filled: FilledShop, tmp_path: Path) -> None:
    head = back_up(filled.shop.database, filled.attachments, tmp_path / "backup", NOON, silent)
    assert (head.seq, head.digest) == filled.records.head()
    again = FilledShop(Place(None, tmp_path / "again").open())
    restore(tmp_path / "backup", again.shop.database, again.attachments, silent)
    assert list(again.records.rows()) == list(filled.records.rows())
    assert again.shop.verify(Printed(head.digest, head.seq)).holds
    assert again.people.check("ada", "correct horse battery", source="t", now=NOON).name == "Ada Lund"
    with pytest.raises(OutputError, match="has records already"):
        restore(tmp_path / "backup", again.shop.database, again.attachments, silent)
    with pytest.raises(OutputError, match="something already"):
        back_up(filled.shop.database, filled.attachments, tmp_path / "backup", NOON, silent)


def _backed_up(shop: FilledShop, out: Path) -> Head:
    return back_up(shop.shop.database, shop.attachments, out, NOON, silent)


def test_a_backup_made_while_people_work_is_one_moment(filled: FilledShop, tmp_path: Path) -> None:
    stop = Event()

    def work() -> int:
        done = 0
        while not stop.is_set():
            file = filled.attachments.keep(str(done).encode() * 500, "a.txt", "text/plain")
            new = New(f"visit/W100/note/busy/{done}", NoteTaken(text="x", files=(file,)), visit="W100")
            filled.records.add([new], by="ada", at=NOON)
            done += 1
        return done

    with ThreadPoolExecutor(1) as pool:
        working = pool.submit(work)
        try:
            heads = [_backed_up(filled, tmp_path / f"b{n}") for n in range(3)]
        finally:
            stop.set()
        assert working.result() > 0
    for n, head in enumerate(heads):
        again = FilledShop(Place(None, tmp_path / f"again{n}").open())
        restore(tmp_path / f"b{n}", again.shop.database, again.attachments, silent)
        assert again.shop.verify(Printed(head.digest, head.seq)).faults == []
        assert again.records.head() == (head.seq, head.digest)
        again.shop.close()
    assert filled.shop.verify(*(Printed(h.digest, h.seq) for h in heads)).faults == []


@pytest.mark.parametrize("file", ["entry.jsonl", "attachment.jsonl", "person_secret.jsonl", "attachments"])
def test_a_changed_backup_restores_nothing(filled: FilledShop, tmp_path: Path, file: str) -> None:
    backup = tmp_path / "backup"
    back_up(filled.shop.database, filled.attachments, backup, NOON, silent)
    path = backup / file
    if path.is_dir():
        path = next(p for p in path.rglob("*") if p.is_file())
    content = path.read_bytes()
    path.write_bytes(content.replace(b"a", b"b", 1))
    again = FilledShop(Place(None, tmp_path / "again").open())
    with pytest.raises(InputError):
        restore(backup, again.shop.database, again.attachments, silent)
    assert list(again.records.rows()) == []


class Text(HTMLParser):
    """Words and links of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value for name, value in attrs if name == "href" and value]


def test_an_export_is_read_without_the_program(filled: FilledShop, tmp_path: Path) -> None:
    out = export_visit(filled.shop, "W100", tmp_path / "out", NOON)
    page = Text()
    page.feed((out / "index.html").read_text(encoding="utf-8"))
    words = " ".join(" ".join(page.words).split())
    for told in (
        "Demonstration data, not approved", "engine C940-117", "Nick at 5 o'clock <b>", "Nick at 7 o'clock",
        "clock read wrongly", "I saw a nick.", "did this work", "Ada Lund", filled.records.head()[1],
        "person/ada/authorisation/FEW-ada-1", "type/corrie_940",
    ):  # fmt: skip
        assert told in words, told
    from urllib.parse import unquote

    files = [unquote(link) for link in page.links if link.startswith("files/")]
    assert (out / "files/nick _1_.jpg").read_bytes() == b"\xff\xd8 a photograph"
    assert "files/nick _1_.jpg" in files
    assert all((out / f).is_file() for f in files)
    for line in (out / "SHA256SUMS").read_text().splitlines():
        digest, name = line.split("  ", 1)
        assert hashlib.sha256((out / name).read_bytes()).hexdigest() == digest
    data = json.loads((out / "visit.json").read_text(encoding="utf-8"))
    assert [r["revision"] for r in data["records"] if r["subject"] == "visit/W100/note/1"] == [1, 2]


def test_another_visit_is_not_in_the_export(filled: FilledShop, tmp_path: Path) -> None:
    filled.open_visit("W200", "C940-222")
    out = export_visit(filled.shop, "W200", tmp_path / "out", NOON)
    assert "Nick" not in (out / "index.html").read_text(encoding="utf-8")
    with pytest.raises(InputError, match="no visit has the number 'W9'"):
        export_visit(filled.shop, "W9", tmp_path / "other", NOON)
    assert not (tmp_path / "other").exists()


def test_a_wrong_password_after_the_restore_is_wrong(filled: FilledShop) -> None:
    with pytest.raises(WrongPasswordError):
        filled.people.check("ada", "correct horse batter", source="t", now=NOON)
