"""A kept result is what reading anew would give, whoever records, also when a subject moves elsewhere."""

from __future__ import annotations

import random

from shop.fixtures import NOON, FilledShop, Place
from spoolwright.bootstrap.freshness import Fresh, News
from spoolwright.crafts.visit.entry import Body, New, Records
from spoolwright.crafts.visit.model import NoteTaken, StageSet, VisitOpened

TODAY = NOON.date()


def ask(key: str, records: Records) -> str:
    """One question of each sort."""
    answers = {
        "visit": lambda: records.current(Body, visit="W1"),
        "notes of a visit": lambda: records.current(NoteTaken, visit="W2"),
        "kind": lambda: records.current(NoteTaken),
        "other kinds": lambda: records.current(StageSet, VisitOpened),
        "under": lambda: records.current(Body, under="part/P1"),
        "under, of a visit": lambda: records.current(NoteTaken, under="part/P1/S1/", visit="W1"),
        "history": lambda: records.history("part/P2/S2/life"),
    }
    return repr([(e.seq, e.subject, e.body) for e in answers[key]()])


QUESTIONS = (
    "visit", "notes of a visit", "kind", "other kinds", "under", "under, of a visit", "history",
)  # fmt: skip


def test_kept_results_are_those_that_reading_anew_gives(shop: FilledShop, place: Place) -> None:
    """Random entries by this shop and another beside it; every answer against a plain reading each time."""
    draw, other = random.Random(3), place.open()
    kept: Fresh[str] = Fresh(News(shop.records), 100)
    subjects = [f"visit/{v}/note/{n}" for v in ("W1", "W2") for n in range(2)]
    subjects += [f"part/{p}/{s}/life" for p in ("P1", "P2", "P10") for s in ("S1", "S2")]
    for n in range(60):
        records = draw.choice((shop.records, other.records))
        subject = draw.choice(subjects)
        body = draw.choice((NoteTaken(text=str(n)), StageSet(stage="build", waits_for=str(n))))
        new = New(subject, body, visit=draw.choice(("W1", "W2", "")), after=len(records.history(subject)))
        records.add([new], by="a", at=NOON)
        for key in QUESTIONS:
            assert kept.get(key, TODAY, ask) == ask(key, shop.records), key
    other.close()


def test_a_result_is_made_again_only_when_it_must(shop: FilledShop) -> None:
    shop.open_visit("W1")
    shop.open_visit("W2")
    kept: Fresh[int] = Fresh(News(shop.records), 100)
    made = []

    def make(key: str, records: Records) -> int:
        made.append(key)
        return len(records.current(Body, visit=key))

    assert kept.get("W1", TODAY, make) == 1
    shop.records.add([New("visit/W2/note/1", NoteTaken(text="x"), visit="W2")], by="a", at=NOON)
    assert (kept.get("W1", TODAY, make), made) == (1, ["W1"])
    shop.records.add([New("visit/W1/note/1", NoteTaken(text="x"), visit="W1")], by="a", at=NOON)
    assert (kept.get("W1", TODAY, make), kept.get("W1", TODAY, make), made) == (2, 2, ["W1", "W1"])
