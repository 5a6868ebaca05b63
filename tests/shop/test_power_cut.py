"""The simulated disk keeps what was flushed; of the rest nothing, all or a part (POSIX.1-2017, fsync)."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from shop.power_cut import SECTOR, Asked, Disk


class Draw(random.Random):
    """Draws that always keep the same share of what waits."""

    def __init__(self, share: float) -> None:
        super().__init__(1)
        self.share = share

    def choice(self, seq):  # type: ignore[no-untyped-def]
        return self.share


def asked(
    kind: str, inode: int = 0, path: str = "", data: bytes = b"", at: int = 0, second: str = ""
) -> Asked:
    return Asked(kind, inode, at, path, second, data)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "disk").mkdir()
    (tmp_path / "disk" / "old").write_bytes(b"flushed long ago")
    return tmp_path / "disk"


def left(disk: Disk, tmp_path: Path, share: float) -> dict[str, bytes]:
    """Names and contents after the power failed with this share of what waited on the disk."""
    into = tmp_path / f"left-{share}"
    into.mkdir(parents=True)
    disk.cut(into, Draw(share))
    return {str(p.relative_to(into)): p.read_bytes() for p in into.rglob("*") if p.is_file()}


def test_a_flushed_file_needs_its_folder_flushed_too(root: Path, tmp_path: Path) -> None:
    disk = Disk(root)
    file = str(root / "new")
    for one in (asked("C", 7, file), asked("W", 7, data=b"abc"), asked("F", 7, file)):
        disk.take(one)
    assert left(disk, tmp_path / "before", 0.0) == {"old": b"flushed long ago"}
    disk.take(asked("F", 1, str(root)))
    assert left(disk, tmp_path / "after", 0.0) == {"old": b"flushed long ago", "new": b"abc"}


def test_an_unflushed_write_may_be_there_by_sectors(root: Path, tmp_path: Path) -> None:
    disk = Disk(root)
    inode = (root / "old").stat().st_ino
    disk.take(asked("T", inode, at=0))
    disk.take(asked("W", inode, data=b"x" * 20 * SECTOR))
    content = left(disk, tmp_path, 0.5)["old"]
    sectors = {content[n : n + SECTOR] for n in range(SECTOR, len(content), SECTOR)}
    assert sectors == {b"x" * SECTOR, bytes(SECTOR)}
    assert left(disk, tmp_path, 0.0)["old"] == b"flushed long ago"
    assert left(disk, tmp_path, 1.0)["old"] == b"x" * 20 * SECTOR


def test_a_rename_waits_for_its_folder(root: Path, tmp_path: Path) -> None:
    disk = Disk(root)
    disk.take(asked("R", path=str(root / "old"), second=str(root / "renamed")))
    assert left(disk, tmp_path, 0.0) == {"old": b"flushed long ago"}
    assert left(disk, tmp_path, 1.0) == {"renamed": b"flushed long ago"}


def test_a_file_in_a_folder_whose_own_name_is_not_flushed_is_lost(root: Path, tmp_path: Path) -> None:
    disk = Disk(root)
    folder, file = str(root / "sub"), str(root / "sub" / "f")
    for one in (
        asked("M", path=folder), asked("C", 8, file), asked("W", 8, data=b"abc"), asked("F", 8, file),
        asked("F", 9, folder),
    ):  # fmt: skip
        disk.take(one)
    assert "sub/f" not in left(disk, tmp_path, 0.0)
    disk.take(asked("F", 1, str(root)))
    assert left(disk, tmp_path, 1.0)["sub/f"] == b"abc"


def test_a_removed_file_comes_back_until_its_folder_is_flushed(root: Path, tmp_path: Path) -> None:
    disk = Disk(root)
    disk.take(asked("U", path=str(root / "old")))
    assert left(disk, tmp_path, 0.0) == {"old": b"flushed long ago"}
    disk.take(asked("F", 1, str(root)))
    assert left(disk, tmp_path, 0.5) == {}
