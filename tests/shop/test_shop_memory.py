"""The shop in memory keeps the contract that the store keeps."""

from __future__ import annotations

import json
from datetime import datetime

import pytest

from shop.memory import NOON, MemoryShop
from spoolwright.crafts.visit.entry import ConflictError, New
from spoolwright.crafts.visit.model import NoteTaken, VisitOpened
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError


def note(text: str, subject: str = "visit/W100/note/1", after: int = 0) -> New:
    return New(subject, NoteTaken(text=text), visit="W100", after=after)


def test_newest_revision_is_current_and_every_revision_stays() -> None:
    shop = MemoryShop()
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    desk = shop.desk("ada")
    desk.record(note("first"), note("other", "visit/W100/note/2"))
    desk.record(note("second", after=1))
    assert [e.body.text for e in shop.records.current(NoteTaken, visit="W100")] == ["second", "other"]
    assert [e.revision for e in shop.records.history("visit/W100/note/1")] == [1, 2]
    assert [e.seq for e in shop.records.current(NoteTaken)] == [5, 4]
    assert json.loads(shop.records.rows[2])["body"] == {"text": "first", "module": "", "files": []}


def test_a_batch_with_one_conflict_writes_nothing() -> None:
    shop = MemoryShop()
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    desk = shop.desk("ada")
    desk.record(note("theirs"))
    before = len(shop.records.rows)
    with pytest.raises(ConflictError) as caught:
        desk.record(note("new", "visit/W100/note/9"), note("mine"))
    assert caught.value.theirs.body == NoteTaken(text="theirs")
    assert caught.value.yours.body == NoteTaken(text="mine")
    assert len(shop.records.rows) == before
    assert shop.records.history("visit/W100/note/9") == []


def test_a_revision_nobody_wrote_and_a_time_without_zone_are_refused() -> None:
    shop = MemoryShop()
    with pytest.raises(InputError):
        shop.records.add([note("x", after=1)], by="ada", at=NOON)
    with pytest.raises(InputError):
        shop.records.add([note("x")], by="ada", at=datetime(2026, 5, 4))


def test_prefix_ends_at_a_slash_and_folder_holds_one_visit() -> None:
    shop = MemoryShop()
    shop.open_visit("W1")
    shop.open_visit("W10")
    assert [e.subject for e in shop.records.current(VisitOpened, under="visit/W1")] == ["visit/W1"]
    assert [e.body.number for e in shop.folder("W10").of(VisitOpened)] == ["W10"]


def test_an_authorisation_that_ran_out_entitles_to_nothing() -> None:
    shop = MemoryShop()
    shop.hire("ada", "Ada Lund", Role.BUILDER, until=NOON.date().replace(year=2025))
    with pytest.raises(NotEntitledError, match="no authorisation that is valid today"):
        shop.desk("ada").entitled(Role.BUILDER)


def test_the_same_file_is_kept_once() -> None:
    shop = MemoryShop()
    first = shop.attachments.keep(b"a photograph", "a.jpg", "image/jpeg")
    again = shop.attachments.keep(b"a photograph", "b.jpg", "image/jpeg")
    assert first.sha256 == again.sha256
    assert shop.attachments.files == {first.sha256: b"a photograph"}
    with pytest.raises(InputError):
        shop.attachments.read("0" * 64)
