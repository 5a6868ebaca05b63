"""Fixtures of the shop on disk: what asks for `shop` runs on SQLite, and on PostgreSQL where there is one.

Another folder of tests takes them by importing them into its conftest: from shop.fixtures import place, shop.

SPOOLWRIGHT_TEST_POSTGRES holds the URL of a database in which a test may make schemas; each test has its own.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import pytest

from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role
from spoolwright.sources.typefile import shipped_type

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
POSTGRES = os.environ.get("SPOOLWRIGHT_TEST_POSTGRES", "")
_WITHOUT = "SPOOLWRIGHT_TEST_POSTGRES names no PostgreSQL (.ci/run starts one)"
BOTH = [
    pytest.param("sqlite", id="sqlite"),
    pytest.param("postgresql", id="postgresql", marks=pytest.mark.skipif(not POSTGRES, reason=_WITHOUT)),
]


@dataclass(frozen=True)
class Place:
    """Where a test's shop is: open it as often as wanted."""

    url: str | None
    folder: Path

    def open(self) -> Shop:
        return open_shop(self.url, self.folder)


@pytest.fixture(params=BOTH)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """An empty place for a shop, on each database."""
    if request.param == "sqlite":
        yield Place(None, tmp_path / "shop")
        return
    from sqlalchemy import create_engine, text

    schema = f"t{uuid.uuid4().hex}"
    plain = POSTGRES.replace("postgresql://", "postgresql+psycopg://", 1)
    engine = create_engine(plain)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    mark = "&" if "?" in POSTGRES else "?"
    yield Place(f"{POSTGRES}{mark}options=-csearch_path%3D{schema}", tmp_path / "shop")
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
    engine.dispose()


@pytest.fixture
def shop(place: Place) -> Iterator[FilledShop]:
    """A shop with the demonstration type adopted and nobody in it; `hire` and `open_visit` fill it."""
    if place.url is None:
        shutil.copytree(_begun(), place.folder)
    opened = FilledShop(place.open())
    if place.url is not None:
        _adopt(opened.shop)
    yield opened
    opened.shop.close()


def _adopt(shop: Shop) -> None:
    shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))


@cache
def _begun() -> Path:
    """A shop on SQLite as every test begins with, made once and copied: making tables takes half a second."""
    folder = Path(tempfile.mkdtemp(prefix="spoolwright-begun-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    shop = open_shop(None, folder / "shop")
    _adopt(shop)
    shop.close()
    return folder / "shop"


class FilledShop:
    """A shop on disk with the short cuts of the shop in memory (tests/shop/memory.py)."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.records, self.attachments = shop.records, shop.attachments
        self.types, self.people = shop.types, shop.people

    def hire(self, login: str, name: str, *roles: Role, until: date = date(2027, 12, 31)) -> None:
        """A person with an authorisation for each role, valid until a day."""
        long_ago = datetime(2020, 1, 1, tzinfo=UTC)
        self.people.add(PersonKnown(login=login, name=name, roles=roles), at=long_ago)
        for n, role in enumerate(roles, 1):
            number = f"FEW-{login}-{n}"
            given = AuthorisationGiven(login=login, number=number, role=role, expires_on=until)
            self.people.authorise(given, at=long_ago)

    def desk(self, login: str, now: datetime = NOON) -> Desk:
        """The desk of a person at a time."""
        return self.shop.desk(login, now)

    def open_visit(self, number: str = "W100", serial: str = "C940-117") -> str:
        """A visit of a Corrie 940; returns its number."""
        opened = VisitOpened(
            number=number,
            engine_serial=serial,
            type_id="corrie_940",
            customer="Holm Utility Helicopters",
            reason_for_removal="low power",
            received_on=NOON.date(),
        )
        new = New(f"visit/{number}", opened, visit=number)
        self.records.add([new], by="lead", at=datetime(2026, 5, 1, 7, 0, tzinfo=UTC))
        return number
