"""What every test of pages may ask for: a shop with people who can sign in, a browser for each of them."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser as Chrome
from playwright.sync_api import sync_playwright

import spoolwright.web
from shop.fixtures import NOON, FilledShop, Place
from shop.fixtures import place as place
from shop.fixtures import shop as shop
from spoolwright.bootstrap.shop import open_shop
from spoolwright.sources.typefile import shipped_type
from spoolwright.web.app import create_app
from spoolwright.web.settings import Settings
from web.filled import Served, engines, serving
from web.staff import PASSWORD, STAFF, Browser


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """How a page looks does not depend on the database: tests in a browser run on SQLite alone."""
    twice = [i for i in items if i.get_closest_marker("browser") and "postgresql" in i.name]
    if twice:
        config.hook.pytest_deselected(items=twice)
        items[:] = [i for i in items if i not in twice]


@pytest.fixture
def now() -> datetime:
    """The moment in which the pages stand; a test may override it."""
    return NOON


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A staffed shop on SQLite, made once; each test works on its own copy."""
    folder = tmp_path_factory.mktemp("prepared") / "shop"
    shop = FilledShop(open_shop(None, folder))
    fill(shop)
    shop.shop.close()
    return folder


def fill(shop: FilledShop) -> None:
    """Adopt the demonstration type, hire the staff with PASSWORD, open visit W100."""
    shop.shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))
    for login, (name, role) in STAFF.items():
        shop.hire(login, name, role)
        shop.people.set_password(login, PASSWORD)
    shop.open_visit()


@pytest.fixture
def staffed(place: Place, prepared: Path) -> Iterator[FilledShop]:
    """The shop with one person of each role, each with PASSWORD, and visit W100 opened."""
    if place.url is None:
        shutil.copytree(prepared, place.folder)
    shop = FilledShop(place.open())
    if place.url is not None:
        fill(shop)
    yield shop
    shop.shop.close()


@pytest.fixture
def browser_of(staffed: FilledShop, now: datetime) -> Iterator[Callable[[str], Browser]]:
    """A signed-in browser of a person, by login."""
    app = create_app(staffed.shop, Settings(clock=lambda: now))
    opened: list[TestClient] = []

    def begin(login: str) -> Browser:
        client = TestClient(app, headers={"Origin": "http://testserver"})
        opened.append(client)
        browser = Browser(client)
        answer = browser.send("/sign-in", "/sign-in", login=login, password=PASSWORD)
        assert answer.status_code == 303, answer.text
        return browser

    yield begin
    for client in opened:
        client.close()


@pytest.fixture
def shop_client(browser_of: Callable[[str], Browser]) -> Browser:
    """The lead's browser."""
    return browser_of("lena")


@pytest.fixture
def templates() -> Path:
    """The folder of all templates."""
    return Path(spoolwright.web.__file__).parent / "templates"


@pytest.fixture(scope="session")
def served(prepared: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A filled shop behind a server, for browsers; tests that write use engines of their own."""
    folder = tmp_path_factory.mktemp("served") / "shop"
    shutil.copytree(prepared, folder)
    shop = FilledShop(open_shop(None, folder))
    engines(shop)
    with serving(shop) as running:
        yield running
    shop.shop.close()


@pytest.fixture(scope="module")
def chrome(chromium: str) -> Iterator[Chrome]:
    """A real browser."""
    with sync_playwright() as playwright:
        # A container has no user namespace for the sandbox; the pages opened here are our own.
        opened = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()
