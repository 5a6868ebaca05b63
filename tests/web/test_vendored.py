"""Vendored web files are the vetted ones: SHA-256 (FIPS 180-4) of each, licences beside them, all shipped."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

import pytest

import spoolwright.web

WEB = Path(spoolwright.web.__file__).parent
FOLDERS = [WEB / "static" / "vendor", Path(__file__).parent / "vendor"]
OWN = {"CHECKSUMS", "README.md"}


@pytest.mark.parametrize("folder", FOLDERS, ids=["pages", "tests"])
def test_every_file_is_listed_and_unchanged(folder: Path) -> None:
    listed = {n: d for d, n in (line.split() for line in (folder / "CHECKSUMS").read_text().splitlines())}
    present = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
    assert listed == {n: d for n, d in present.items() if n not in OWN}


@pytest.mark.parametrize("folder", FOLDERS, ids=["pages", "tests"])
def test_licence_and_version_are_told(folder: Path) -> None:
    told = (folder / "README.md").read_text()
    for path in folder.iterdir():
        if path.name not in OWN:
            assert f"`{path.name}`" in told
    licences = [p.read_text() for p in folder.glob("*.LICENSE")]
    known = ("Zero-Clause BSD", "The MIT License", "Mozilla Public License")
    assert all(any(name in text[:200] for name in known) for text in licences)
    assert len(licences) == len({p.name.split(".")[0] for p in folder.glob("*.js")})


def test_pages_travel_with_the_package(repository: Path) -> None:
    """The build takes the whole package folder, so only what version control leaves out could be missing."""
    told = tomllib.loads((repository / "pyproject.toml").read_text())["tool"]["hatch"]["build"]
    assert told["targets"]["wheel"] == {"packages": ["src/spoolwright"]}
    ignored = (repository / ".gitignore").read_text().split()
    assert not {"*.html", "*.css", "*.js", "vendor/", "static/"} & set(ignored)
