"""Shipped third-party files are those that were vetted: SHA-256 (FIPS 180-4) of each against CHECKSUMS."""

from __future__ import annotations

import hashlib
from importlib.resources import files
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

ASSETS = Path(str(files("spoolwright"))) / "assets"
FONTS = sorted((ASSETS / "fonts").glob("*.ttf"))


def listed(folder: Path) -> dict[str, str]:
    """File name to checksum, as the folder's CHECKSUMS tells them."""
    lines = (folder / "CHECKSUMS").read_text(encoding="ascii").splitlines()
    return {name: digest for digest, name in (line.split(maxsplit=1) for line in lines)}


@pytest.mark.parametrize("folder", ["fonts"])
def test_every_file_is_listed_and_unchanged(folder: str) -> None:
    root = ASSETS / folder
    present = {
        p.relative_to(root).as_posix(): p for p in root.rglob("*") if p.is_file() and p.name != "CHECKSUMS"
    }
    expected = listed(root)
    assert expected.keys() == present.keys()
    assert {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in present.items()} == expected


@pytest.mark.parametrize("folder", ["fonts"])
def test_the_licence_travels_with_the_files(folder: str) -> None:
    texts = [
        p.read_text(encoding="utf-8") for p in (ASSETS / folder).iterdir() if p.name in ("OFL.txt", "LICENSE")
    ]
    assert len(texts) == 1
    assert "SIL OPEN FONT LICENSE Version 1.1" in texts[0] or "The MIT License (MIT)" in texts[0]


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.name)
def test_figures_are_tabular(path: Path) -> None:
    font = TTFont(path)
    glyphs = font.getBestCmap()
    assert len({font["hmtx"][glyphs[ord(c)]][0] for c in "0123456789+−±"}) == 1


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.name)
def test_the_signs_a_report_needs_are_there(path: Path) -> None:
    assert [c for c in "°·×−±≤≥√²³µθδηγΔΩ→–" if ord(c) not in TTFont(path).getBestCmap()] == []
