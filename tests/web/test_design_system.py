"""The design system as documented: pictures made here, tokens and shapes as the style sheet has them."""

from __future__ import annotations

import os
import re
import struct
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

import spoolwright.web
from web.filled import Served
from web.looking import signed_in

WEB = Path(spoolwright.web.__file__).parent
CSS = (WEB / "static" / "frame.css").read_text()
TABLET = {"viewport": {"width": 1024, "height": 768}}
WALL = {"viewport": {"width": 1920, "height": 1080}}


@pytest.fixture
def pictures(tmp_path: Path, repository: Path) -> Path:
    """Where pictures go: into the documentation when that is asked for."""
    return repository / "docs" / "images" if "SPOOLWRIGHT_IMAGES" in os.environ else tmp_path


def taken(page: Page, folder: Path, name: str) -> tuple[int, int]:
    """A picture of the window; its size as its own head tells (ISO/IEC 15948, 11.2.2)."""
    page.wait_for_timeout(100)
    content = page.screenshot(path=folder / f"web-{name}.png")
    width, height = struct.unpack(">II", content[16:24])
    return width, height


@pytest.mark.browser
@pytest.mark.parametrize(
    ("name", "path", "light", "context"),
    [
        ("engines", "/", "", TABLET),
        ("engine", "/visit/W110", "", TABLET),
        ("wall", "/", "wall", WALL),
        ("booth", "/visit/W110", "booth", TABLET),
    ],
)
def test_pictures(
    chrome: Browser, served: Served, pictures: Path, name: str, path: str, light: str, context: dict[str, Any]
) -> None:
    with signed_in(chrome, served, color_scheme="light", **context) as page:
        page.context.add_cookies([{"name": "light", "value": light, "url": served.address}])
        page.goto(path)
        assert page.evaluate("document.documentElement.dataset.light ?? ''") == light
        assert taken(page, pictures, name) == tuple(context["viewport"].values())


@pytest.mark.browser
def test_picture_of_a_conflict(chrome: Browser, served: Served, pictures: Path) -> None:
    with signed_in(chrome, served, **TABLET) as first, signed_in(chrome, served, **TABLET) as second:
        for page, waits in ((first, "two seals"), (second, "the torquemeter")):
            page.goto("/visit/W107")
            page.locator("summary", has_text="Move it on").click()
            page.get_by_label("What it waits for").fill(waits)
        first.get_by_role("button", name="Record the stage").click()
        first.get_by_text("waits for two seals").first.wait_for()
        second.get_by_role("button", name="Record the stage").click()
        second.locator(".conflict").scroll_into_view_if_needed()
        second.evaluate("window.scrollTo(0, 0)")
        assert taken(second, pictures, "conflict") == (1024, 768)


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"(--\w[\w-]*): ([^;]+);", block))


def full(colour: str) -> str:
    """A colour with all six digits."""
    digits = colour.removeprefix("#")
    return "#" + (digits if len(digits) == 6 else "".join(2 * d for d in digits)).lower()


def test_documented_tokens_are_those_of_the_style_sheet(repository: Path) -> None:
    text = (repository / "docs/design-system.md").read_text()
    light = tokens(re.search(r"^:root \{(.*?)\}", CSS, re.M)[1])  # type: ignore[index]
    dark = tokens(re.search(r":root:not\(\[data-light\]\) \{(.*?)\}", CSS)[1])  # type: ignore[index]
    rows = re.findall(r"\| `(--\w+)` \| `(#\w+)` \| `(#\w+)` \|", text)
    assert len(rows) == 9
    for name, day, night in rows:
        assert (full(light[name]), full(dark[name])) == (day, night)
    for light_name, size, target in (("shop", "20px", "56px"), ("booth", "18px", "56px")):
        found = tokens(re.search(rf'^:root\[data-light="{light_name}"\] \{{(.*?)\}}', CSS, re.M)[1])  # type: ignore[index]
        assert (found["--size"], found["--target"]) == (size, target)


def test_documented_pictures_are_those_taken_here(repository: Path) -> None:
    text = (repository / "docs/design-system.md").read_text()
    named = set(re.findall(r"images/web-(\w+)\.png", text))
    assert named == {"engines", "engine", "wall", "booth", "conflict"}
    assert {p.stem for p in (repository / "docs/images").glob("web-*.png")} == {f"web-{n}" for n in named}


def test_documented_macros_exist(repository: Path) -> None:
    text = (repository / "docs/design-system.md").read_text()
    told = re.search(r"Macros \(import them.*?\): (.*?);", text, re.S)
    assert told
    macros = (WEB / "templates/frame/macros.html").read_text()
    assert [n for n in re.findall(r"`(\w+)`", told[1]) if f"macro {n}(" not in macros] == []
