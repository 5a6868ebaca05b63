"""What every journey may ask for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright
from reported_run import Reported, no_doubts, reported_run
from visits import Demo, Result, assessed

from command_line import called
from spoolwright.bootstrap import visits


@pytest.fixture(scope="session")
def reported(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """A run recorded, assessed and reported once for all journeys."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(visits, "doubts", lambda kind: no_doubts)
        return reported_run(hot_section, tmp_path_factory.mktemp("reported"))


@pytest.fixture(scope="session")
def hot(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> Result:
    """The repaired engine short of power, assessed."""
    return assessed(hot_section, out=tmp_path_factory.mktemp("hot") / "out.json")


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """What `spoolwright demo` made of an engine whose vanes were reset in the cell."""
    folder = tmp_path_factory.mktemp("demo")
    return Demo(folder, called("demo", "--preset", "adjusted", "--no-shop", "--out", folder))


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as p:
        yield p


@pytest.fixture(scope="module")
def browser(playwright: Playwright, chromium: str) -> Iterator[Browser]:
    # A container has no user namespace for the sandbox; the pages opened here are our own.
    opened = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
    yield opened
    opened.close()
