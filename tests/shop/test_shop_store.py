"""The store keeps what the shop in memory keeps, on each database, and refuses every change."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from shop.fixtures import NOON, FilledShop, Place
from spoolwright.crafts.visit.desk import signed
from spoolwright.crafts.visit.entry import Body, ConflictError, Meaning, New
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.store.attachments import MissingAttachmentError
from spoolwright.store.database import StoreError


def note(words: str, subject: str = "visit/W100/note/1", after: int = 0) -> New:
    return New(subject, NoteTaken(text=words), visit="W100", after=after)


def test_newest_revision_is_current_and_every_revision_stays(shop: FilledShop) -> None:
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    desk = shop.desk("ada")
    desk.record(note("first"), note("other", "visit/W100/note/2"))
    desk.record(note("second", after=1))
    assert [e.body.text for e in shop.records.current(NoteTaken, visit="W100")] == ["second", "other"]
    assert [e.revision for e in shop.records.history("visit/W100/note/1")] == [1, 2]
    assert [e.author for e in shop.records.history("visit/W100/note/1")] == ["ada", "ada"]


def test_what_is_read_from_disk_is_what_was_handed_back(shop: FilledShop, place: Place) -> None:
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    desk = shop.desk("ada")
    new = signed(note("5 µm – “Ä”\t\\ \x00 \U0001f527 '\""), desk, Meaning.DID, "I did it.", Role.BUILDER)
    written = desk.record(new)
    again = place.open()
    assert again.records.history("visit/W100/note/1") == written
    assert written[0].signature is not None
    assert written[0].signature.authorisation == "FEW-ada-1"
    again.close()


def test_a_conflict_tells_both_and_writes_nothing_of_the_batch(shop: FilledShop) -> None:
    shop.records.add([note("theirs")], by="ada", at=NOON)
    before = shop.records.head()
    with pytest.raises(ConflictError) as caught:
        shop.records.add([note("new", "visit/W100/note/9"), note("mine")], by="ben", at=NOON)
    assert caught.value.theirs.body == NoteTaken(text="theirs")
    assert caught.value.yours.body == NoteTaken(text="mine")
    assert shop.records.head() == before


@pytest.mark.parametrize("subject", ["", "/a", "a/", "a//b", "visit/ W1", "visit/W1\n", "x" * 301])
def test_what_cannot_name_a_record_is_refused(shop: FilledShop, subject: str) -> None:
    with pytest.raises(InputError, match="cannot name a record"):
        shop.records.add([note("x", subject)], by="ada", at=NOON)


def test_what_cannot_be_stored_is_refused(shop: FilledShop) -> None:
    with pytest.raises(InputError, match="a character that is none"):
        shop.records.add([note("\ud800")], by="ada", at=NOON)
    with pytest.raises(InputError, match="tells no zone"):
        shop.records.add([note("x")], by="ada", at=datetime(2026, 5, 4))
    with pytest.raises(InputError, match="nothing is recorded there"):
        shop.records.add([note("x", after=1)], by="ada", at=NOON)


def test_a_prefix_ends_at_a_slash(shop: FilledShop) -> None:
    shop.open_visit("W1")
    shop.open_visit("W10")
    assert [e.subject for e in shop.records.current(VisitOpened, under="visit/W1")] == ["visit/W1"]
    assert len(shop.records.current(VisitOpened, under="visit")) == 2
    assert len(shop.records.current(Body, visit="W10")) == 1


def test_every_digest_is_the_hash_of_its_row_and_the_one_before(shop: FilledShop) -> None:
    """Against a digest built here from the description in the design: SHA-256 over the canonical row."""
    shop.open_visit()
    shop.records.add([note("a"), note("b", "visit/W100/note/2")], by="ada", at=NOON)
    previous = "0" * 64
    for row in shop.records.rows():
        digest = row.pop("digest")
        assert row["previous"] == previous
        plain = json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        assert digest == hashlib.sha256(plain).hexdigest()
        previous = digest
    assert shop.records.head() == (row["seq"], previous)


REST = "kind, visit, author, at, reason, body, signature"
REFUSED = [
    "UPDATE entry SET author = 'eve' WHERE seq = 1",
    "UPDATE entry SET at = at WHERE seq = 1",
    "DELETE FROM entry WHERE seq = (SELECT max(seq) FROM entry)",
    "DELETE FROM attachment",
    "UPDATE attachment SET size = size + 1",
    f"INSERT INTO entry SELECT seq + 7, subject, revision + 1, {REST}, digest, previous"
    " FROM entry WHERE seq = 1",
    f"INSERT INTO entry SELECT seq + 1, subject, revision, {REST}, 'x', digest"
    " FROM entry ORDER BY seq DESC LIMIT 1",
]


@pytest.mark.parametrize("statement", REFUSED)
def test_the_database_refuses_a_change(shop: FilledShop, statement: str) -> None:
    shop.open_visit()
    head = shop.records.head()
    with pytest.raises((StoreError, DBAPIError)), shop.shop.database.write() as connection:
        connection.execute(text(statement))
    assert shop.records.head() == head


def test_sqlite_refuses_to_replace_a_row(tmp_path: Path) -> None:
    shop = FilledShop(Place(None, tmp_path).open())
    shop.open_visit()
    replacing = f"INSERT OR REPLACE INTO entry SELECT seq, subject, revision, {REST}, 'x', digest FROM entry"
    with sqlite3.connect(tmp_path / "shop.sqlite") as raw:
        with pytest.raises(sqlite3.IntegrityError, match="end of the chain"):
            raw.execute(replacing)
        assert raw.execute("SELECT count(*) FROM entry").fetchone() == (1,)


def test_many_writers_lose_nothing(shop: FilledShop, place: Place) -> None:
    def write(n: int) -> None:
        shop.records.add([note(f"{n}", f"visit/W100/note/{n}")], by="ada", at=NOON)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(write, range(80)))
    assert sorted(int(e.body.text) for e in shop.records.current(NoteTaken)) == list(range(80))
    assert [row["seq"] for row in shop.records.rows()] == list(range(1, shop.records.head()[0] + 1))


def test_attachments_are_kept_once_and_proven(shop: FilledShop) -> None:
    first = shop.attachments.keep(b"a photograph", "a.jpg", "image/jpeg")
    again = shop.attachments.keep(b"a photograph", "b.jpg", "image/jpeg")
    assert first.sha256 == again.sha256 == hashlib.sha256(b"a photograph").hexdigest()
    assert shop.attachments.read(first.sha256) == b"a photograph"
    shop.attachments.path_of(first.sha256).write_bytes(b"a photogaph.")
    with pytest.raises(MissingAttachmentError, match="has been changed"):
        shop.attachments.read(first.sha256)
    with pytest.raises(MissingAttachmentError, match="is not there"):
        shop.attachments.read("0" * 64)
    with pytest.raises(MissingAttachmentError, match="no hash"):
        shop.attachments.read("../../etc/passwd")


def test_board_and_folder_follow_what_is_recorded(shop: FilledShop) -> None:
    shop.open_visit("W1", "C940-001")
    shop.open_visit("W2", "C940-002")
    stage = New("visit/W1/stage", StageSet(stage=Stage.SHIPPED), visit="W1")
    assert [v.number for v in shop.shop.visits()] == ["W1", "W2"]
    folder = shop.shop.folder("W2", NOON.date())
    assert shop.shop.folder("W2", NOON.date()) is folder
    shop.records.add([stage], by="lead", at=NOON)
    assert [v.number for v in shop.shop.visits()] == ["W2"]
    assert [v.stage for v in shop.shop.visits(open_only=False)] == [Stage.SHIPPED, Stage.RECEIVING]
    shop.records.add([New("part/940-1/S1", NoteTaken(text="x"), visit="")], by="lead", at=NOON)
    assert shop.shop.folder("W2", NOON.date()) is folder
    shop.records.add([New("part/940-1/S1", NoteTaken(text="y"), visit="W2", after=1)], by="lead", at=NOON)
    assert shop.shop.folder("W2", NOON.date()) is not folder
    shop.records.add([New("visit/W2/note/1", NoteTaken(text="x"), visit="W2")], by="lead", at=NOON)
    assert shop.shop.folder("W2", NOON.date()) is not folder
    assert shop.shop.folder("W2", NOON.date()).kind.type_file.type.id == "corrie_940"
