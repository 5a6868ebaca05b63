"""A shop of 5,000 visits and 100,000 records, made once and kept in build/bench."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.crafts.life.model import PartBorn, PartUsed, Reading
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet, VisitOpened, WorkEvent
from spoolwright.crafts.visit.parts import PartFitted, part_subject
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role
from spoolwright.sources.typefile import shipped_type

VISITS, OPEN, RECORDS = 5_000, 60, 100_000
PASSWORD = "a bench password"
USERS = 50
FOLDER = Path(__file__).resolve().parent.parent / "build" / "bench" / "web_shop"
BEGAN = date(2012, 1, 2)


def prepared(folder: Path = FOLDER) -> Path:
    """The folder of the shop; made when it is not there, or was made for other numbers."""
    mark = folder / "made.json"
    wanted = {"visits": VISITS, "open": OPEN, "records": RECORDS}
    if mark.exists() and json.loads(mark.read_text()) == wanted:
        return folder
    shutil.rmtree(folder, ignore_errors=True)
    shop = open_shop(None, folder)
    fill(shop)
    shop.close()
    mark.write_text(json.dumps(wanted))
    return folder


def fill(shop: Shop) -> None:
    """People, then visits in batches of a hundred, then notes until there are enough records."""
    at = datetime(2012, 1, 1, tzinfo=UTC)
    shop.types.adopt(shipped_type(), by="set-up", at=at)
    for n in range(USERS):
        login, role = f"user{n:02d}", (Role.LEAD, Role.BUILDER, Role.INSPECTOR, Role.RECORDS)[n % 4]
        shop.people.add(PersonKnown(login=login, name=f"User {n:02d}", roles=(role,)), at=at)
        given = AuthorisationGiven(login=login, number=f"A-{n}", role=role, expires_on=date(2035, 1, 1))
        shop.people.authorise(given, at=at)
        shop.people.set_password(login, PASSWORD)
    limited = [k for k in shop.types.of("corrie_940").shop.part if k.life_limited][:6]
    for start in range(0, VISITS, 100):
        news = [new for n in range(start, start + 100) for new in visit_records(n, limited)]
        shop.records.add(news, by="user03", at=at + timedelta(days=start))
    short = RECORDS - shop.records.head()[0]
    for start in range(0, short, 1000):
        news = [note(n) for n in range(start, min(start + 1000, short))]
        shop.records.add(news, by="user01", at=datetime(2026, 1, 1, tzinfo=UTC))


def visit_records(n: int, limited: list[PartKind]) -> Iterator[New]:
    """A visit with its stage, two events, and the parts of its engine with their lives."""
    number, serial = f"W{n:05d}", f"B-{n % 3000:05d}"
    on = BEGAN + timedelta(days=n)
    opened = VisitOpened(
        number=number,
        engine_serial=serial,
        type_id="corrie_940",
        customer=f"Operator {n % 40}",
        reason_for_removal="time between overhauls reached",
        received_on=on,
        promised_on=on + timedelta(days=60),
        time_since_new_h=1000.0 + n,
    )
    stages = list(Stage)
    stage = stages[n % 10] if n >= VISITS - OPEN else Stage.SHIPPED
    yield New(f"visit/{number}", opened, visit=number)
    yield New(f"visit/{number}/stage", StageSet(stage=stage, waits_for="two seals"), visit=number)
    for kind in limited[: 6 if n >= VISITS - OPEN else 5]:
        yield from part_records(kind, serial, f"{n:05d}", number, on)


def part_records(kind: PartKind, engine: str, serial: str, visit: str, on: date) -> Iterator[New]:
    """Where a part is, its birth, one line of its ledger."""
    under = part_subject(kind.part_number, serial)
    fit = PartFitted(
        part=kind.id,
        part_number=kind.part_number,
        serial=serial,
        module=kind.module,
        engine_serial=engine,
        on=on,
    )
    yield New(f"{under}/fit", fit, visit=visit)
    yield New(f"{under}/birth", PartBorn(part_number=kind.part_number, serial=serial, document="Form 1"))
    used = PartUsed(
        part_number=kind.part_number,
        serial=serial,
        line=1,
        ended="still fitted",
        engine_serial=engine,
        on=on - timedelta(days=900),
        part_on=Reading(hours="0", cycles="0", starts="0"),
        part_off=Reading(hours="1200", cycles="900", starts="950"),
    )
    yield New(f"{under}/use/0001", used)


def note(n: int) -> New:
    """A note or an event of an open visit or a late one, in turn."""
    number = f"W{VISITS - 1 - n % 400:05d}"
    if n % 3:
        return New(
            f"visit/{number}/note/{n:06d}", NoteTaken(text=f"remark {n} on the compressor"), visit=number
        )
    event = WorkEvent(what="removed_for_access", item="compressor", module="compressor")
    return New(f"visit/{number}/event/{n:06d}", event, visit=number)
