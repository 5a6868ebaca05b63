"""Kept results: never other than what is read anew, whatever was recorded in between."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap import shop as shop_module
from spoolwright.bootstrap.shop_crafts import by_folder
from spoolwright.crafts.visit.entry import New, Records
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet, WorkEvent
from spoolwright.crafts.visit.people import Role

TODAY = NOON.date()


def _reader(folder: Folder, records: Records) -> list[OpenItem]:
    """Reads its visit, a part outside it, the history of another, and one kind of the whole shop."""
    part = records.current(NoteTaken, under="part/940-1")
    past = records.history("engine/E1/mark")
    whole = records.current(WorkEvent)
    own = folder.of(NoteTaken)
    text = f"{len(own)} {[e.seq for e in part]} {[e.seq for e in past]} {[e.seq for e in whole]}"
    return [OpenItem("test", text, "/", Role.LEAD)]


@pytest.mark.parametrize("seed", range(6))
def test_kept_items_equal_items_read_anew(
    shop: FilledShop, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    monkeypatch.setattr(shop_module, "OPEN_ITEMS", (_reader,))
    visits = [shop.open_visit(f"W{n}", f"C940-{n:03d}") for n in range(3)]
    choose, after = random.Random(seed), dict[str, int]()
    for n in range(60):
        subject, visit, body = choose.choice(
            [
                (f"visit/W{n % 3}/note/{n}", f"W{n % 3}", NoteTaken(text="n")),
                (f"part/940-1/S{n % 4}/note", "", NoteTaken(text=str(n))),
                (f"part/940-2/S{n}/note", "", NoteTaken(text="elsewhere")),
                ("engine/E1/mark", "", NoteTaken(text=str(n))),
                (f"visit/W{n % 3}/event/{n}", f"W{n % 3}", WorkEvent(what="adjusted", item="idle")),
                ("part/940-4/S1/where", f"W{n % 3}", NoteTaken(text=str(n))),  # it moves from visit to visit
                (f"visit/W{n % 3}/stage", f"W{n % 3}", StageSet(stage=Stage.BUILD, waits_for=str(n))),
            ]
        )
        new = New(subject, body, visit=visit, after=after.get(subject, 0), reason="again")
        shop.records.add([new], by="ada", at=NOON)
        after[subject] = new.after + 1
        if choose.random() < 0.6:
            asked = choose.sample(visits, choose.randint(1, 3))
            kept = shop.shop.open_items_of(asked, TODAY)
            anew = {v: _reader(shop.shop.folder(v, TODAY), shop.records) for v in asked}
            assert kept == anew


def test_what_bears_on_nothing_leaves_results_kept(shop: FilledShop, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []

    def counting(folder: Folder) -> list[OpenItem]:
        read.append(folder.visit)
        return []

    monkeypatch.setattr(shop_module, "OPEN_ITEMS", (by_folder(counting),))
    first, second = shop.open_visit("W1", "C940-001"), shop.open_visit("W2", "C940-002")
    shop.shop.open_items_of([first, second], TODAY)
    shop.records.add([New("part/940-9/S1", NoteTaken(text="x"))], by="ada", at=NOON)
    shop.records.add([New("visit/W2/note/1", NoteTaken(text="x"), visit="W2")], by="ada", at=NOON)
    shop.shop.open_items_of([first, second], TODAY)
    assert read == ["W1", "W2", "W2"]
    shop.shop.open_items_of([first], TODAY + timedelta(days=1))
    assert read == ["W1", "W2", "W2", "W1"]
