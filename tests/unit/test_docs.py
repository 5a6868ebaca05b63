"""The documentation holds together: links lead somewhere, commands exist, no page is out of reach."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])
WRITTEN = [page for page in PAGES if page.parent.name != "reference"]


def links(page: Path) -> list[Path]:
    """Files that a page links to, web addresses and anchors left out."""
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.S)
    targets = (target.split("#")[0] for target in re.findall(r"\]\(([^)\s]+)\)", text))
    return [(page.parent / target).resolve() for target in targets if target and "://" not in target]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    assert [str(target) for target in links(page) if not target.exists()] == []


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_that_are_told_exist(page: Path) -> None:
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.M))
    told = set(re.findall(r"(?:^|`)make ([a-z]+)", page.read_text(encoding="utf-8"), flags=re.M))
    assert told - targets == set()


def test_every_page_can_be_reached_from_the_readme() -> None:
    seen: set[Path] = set()
    waiting = [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        if page not in seen and page.suffix == ".md":
            seen.add(page)
            waiting += links(page)
    assert [
        str(page.relative_to(ROOT / "docs")) for page in PAGES if "docs" in page.parts and page not in seen
    ] == []
