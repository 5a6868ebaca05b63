"""The written pages, as tests read them."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def blocks(text: str, language: str) -> list[str]:
    return [textwrap.dedent(b) for b in re.findall(rf"```{language}\n(.*?)```", text, flags=re.S)]


def table(text: str, heading: str) -> list[list[str]]:
    """Rows of the first table under a heading, cells stripped."""
    part = re.split(rf"^#+ .*{heading}.*$", text, flags=re.M)[1]
    rows = re.search(r"(?:^\|.*\n)+", part, flags=re.M)
    assert rows is not None
    lines = rows[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
