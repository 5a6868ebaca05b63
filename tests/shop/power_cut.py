"""Power cuts: from a log of what was asked of the disk, what it may hold when the power fails at a moment.

Before a flush returns nothing is promised: of each write that was not flushed, any of its sectors may be on
the disk or not; of the creations, renames and removals of a folder that was not flushed, a first part may be.
Only the order of a folder's own changes is taken as kept (a journalling file system keeps it); a file's flush
does not flush its name. This is harsher than common file systems, and what POSIX fsync leaves open.
"""

from __future__ import annotations

import os
import random
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
_HEAD = struct.Struct("=cQQIII")
HERE = Path(__file__).resolve().parent


def absent() -> str | None:
    """Why power cannot be cut here."""
    if not sys.platform.startswith("linux"):
        return "the disk log needs Linux"
    if shutil.which("cc") is None:
        return "there is no C compiler cc (Debian: apt install gcc libc6-dev)"
    return None


def build(folder: Path) -> Path:
    """Compile the disk log."""
    library = folder / "disk_log.so"
    source = HERE / "disk_log.c"
    subprocess.run(["cc", "-O2", "-shared", "-fPIC", "-o", str(library), str(source)], check=True)
    return library


@dataclass(frozen=True)
class Asked:
    """Something that was asked of the disk."""

    kind: str
    inode: int
    offset: int
    path: str
    second: str
    data: bytes


def read_log(path: Path) -> list[Asked]:
    """Everything that was asked, in order."""
    log, at, asked = path.read_bytes(), 0, []
    while at < len(log):
        kind, inode, offset, *sizes = _HEAD.unpack_from(log, at)
        at += _HEAD.size
        parts = []
        for size in sizes:
            parts.append(log[at : at + size])
            at += size
        asked.append(Asked(kind.decode(), inode, offset, parts[0].decode(), parts[1].decode(), parts[2]))
    return asked


@dataclass
class File:
    """A file's flushed content, and what was asked since: (place, data), data None for a new length."""

    flushed: bytearray = field(default_factory=bytearray)
    waiting: list[tuple[int, bytes | None]] = field(default_factory=list)

    def flush(self) -> None:
        for place, data in self.waiting:
            _put(self.flushed, place, data)
        self.waiting.clear()

    def after_cut(self, draw: random.Random, kept: float) -> bytes:
        content = bytearray(self.flushed)
        for place, data in self.waiting:
            if data is None:
                if draw.random() < kept:
                    _put(content, place, None)
                continue
            for start, piece in _sectors(place, data):
                if draw.random() < kept:
                    _put(content, start, piece)
        return bytes(content)


def _put(content: bytearray, place: int, data: bytes | None) -> None:
    if data is None:
        del content[place:]
    content.extend(bytes(max(0, place - len(content))))
    if data is not None:
        content[place : place + len(data)] = data


def _sectors(place: int, data: bytes) -> Iterator[tuple[int, bytes]]:
    start = place
    while start < place + len(data):
        end = min((start // SECTOR + 1) * SECTOR, place + len(data))
        yield start, data[start - place : end - place]
        start = end


class Disk:
    """A folder on a disk: what is flushed, and what waits. Starts from a folder that is wholly flushed."""

    def __init__(self, folder: Path) -> None:
        self.root = folder
        self.files: dict[int, File] = {}  # by the inode's number, for as long as it means this file
        self.names: dict[str, File | None] = {}  # None: a folder
        self.waiting: dict[str, list[Asked | tuple[str, File]]] = {}
        self.now: dict[str, File | None] = {}
        for path in sorted(folder.rglob("*")):
            file = None if path.is_dir() else File(bytearray(path.read_bytes()))
            if file is not None:
                self.files[path.stat().st_ino] = file
            self.names[str(path)] = file
        self.now = dict(self.names)

    def take(self, asked: Asked) -> None:
        """What happens next."""
        match asked.kind:
            case "C":
                self.files[asked.inode] = File()
                self._name(asked.path, (asked.path, self.files[asked.inode]))
            case "W":
                self.files[asked.inode].waiting.append((asked.offset, asked.data))
            case "T":
                self.files[asked.inode].waiting.append((asked.offset, None))
            case "F" if asked.path == str(self.root) or self.now.get(asked.path, 0) is None:
                for change in self.waiting.pop(asked.path, []):
                    _rename(self.names, change)
            case "F":
                self.files[asked.inode].flush()
            case "R" | "U" | "M":
                self._name(asked.second or asked.path, asked)

    def _name(self, path: str, change: Asked | tuple[str, File]) -> None:
        self.waiting.setdefault(str(Path(path).parent), []).append(change)
        _rename(self.now, change)

    def cut(self, into: Path, draw: random.Random) -> None:
        """Write into a new folder what may be left: of what waits nothing, all, or a part that is drawn."""
        kept = draw.choice((0.0, 0.0, 0.5, 0.9, 1.0))
        names = dict(self.names)
        for waiting in self.waiting.values():
            count = {0.0: 0, 1.0: len(waiting)}.get(kept, draw.randint(0, len(waiting)))
            for change in waiting[:count]:
                _rename(names, change)
        for path, file in sorted(names.items()):
            target = into / Path(path).relative_to(self.root)
            if not self._has_folder(path, names) or path.endswith("-shm"):
                continue  # its folder's own name is not on the disk; shared memory is no part of it
            if file is None:
                target.mkdir(parents=True, exist_ok=True)
            else:
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(file.after_cut(draw, kept))

    def _has_folder(self, path: str, names: dict[str, File | None]) -> bool:
        return all(
            str(p) in names for p in Path(path).parents if p.is_relative_to(self.root) and p != self.root
        )


def _rename(names: dict[str, File | None], change: Asked | tuple[str, File]) -> None:
    if isinstance(change, tuple):
        names[change[0]] = change[1]
    elif change.kind == "M":
        names[change.path] = None
    elif change.kind == "U":
        names.pop(change.path, None)
    elif change.path in names:
        names[change.second] = names.pop(change.path)


def record(
    folder: Path, library: Path, log: Path, writers: int, batches: int, seed: int, *, sync: bool
) -> None:
    """Let writers work on a shop under the disk log until each has signed so many batches."""
    environment = {
        **os.environ, "LD_PRELOAD": str(library), "DISK_LOG_ROOT": str(folder), "DISK_LOG": str(log),
        "PYTHONPATH": os.pathsep.join([str(HERE.parent), os.environ.get("PYTHONPATH", "")]),
    }  # fmt: skip
    command = [sys.executable, __file__, str(folder), str(batches), "sync" if sync else "nosync"]
    running = [
        subprocess.Popen([*command, str(seed * 100 + n)], env=environment) for n in range(1, writers + 1)
    ]
    ended = [process.wait() for process in running]
    if any(ended):
        raise RuntimeError(f"a writer ended with {ended}")


@dataclass
class Cuts:
    """What the power cuts showed."""

    cuts: int = 0
    dropped: int = 0
    told: int = 0
    checkpoints: int = 0
    broken: list[str] = field(default_factory=list)

    def add(self, other: Cuts) -> None:
        self.cuts += other.cuts
        self.dropped += other.dropped
        self.told += other.told
        self.checkpoints += other.checkpoints
        self.broken += other.broken


def cut_at_random(
    work: Path, library: Path, cuts: int, seed: int, *, batches: int = 60, sync: bool = True
) -> Cuts:
    """Record three writers once, cut the power at so many random moments, open each time what is left."""
    from shop.writers import begin

    folder, log, draw = work / "shop", work / "log", random.Random(seed)
    begin(None, folder)
    disk = Disk(folder)
    record(folder, library, log, 3, batches, seed, sync=sync)
    asked, found = read_log(log), Cuts()
    found.checkpoints = sum(a.kind == "F" and a.path.endswith("/shop.sqlite") for a in asked)
    moments = sorted(draw.sample(range(1, len(asked) + 1), cuts))
    told: set[str] = set()
    taken = 0
    for number, moment in enumerate(moments):
        for one in asked[taken:moment]:
            disk.take(one)
            if one.kind == "W" and one.data.startswith(b"told "):
                told.add(one.data.decode().split()[1])
        taken = moment
        left = work / f"left-{number}"
        left.mkdir()
        disk.cut(left, draw)
        found.cuts += 1
        found.told += len(told)
        found.dropped += sum(len(f.waiting) for f in disk.files.values())
        found.broken += [f"cut {number} at {moment}: {what}" for what in broken_after(left, told)]
        shutil.rmtree(left)
    return found


def broken_after(folder: Path, told: set[str]) -> list[str]:
    """What is wrong with a shop that is opened after the power came back."""
    from shop.writers import broken_promises
    from spoolwright.bootstrap.shop import open_shop
    from spoolwright.errors import SpoolwrightError

    try:
        shop = open_shop(None, folder)
        broken = broken_promises(shop, told)
        shop.close()
    except SpoolwrightError as error:
        return [str(error)]
    return broken


def _write(folder: Path, batches: int, sync: bool, seed: int) -> None:
    """A writer under the disk log; tells through a file there, so that telling has its place in the log."""
    from sqlalchemy import event

    from shop.writers import write_batches
    from spoolwright.bootstrap.shop import open_shop

    shop = open_shop(None, folder)
    if not sync:  # the negative control: what the store would be without its flushes
        shop.database.engine.dispose()
        event.listen(
            shop.database.engine, "connect", lambda c, _: c.execute("PRAGMA synchronous=OFF"), insert=False
        )
    telling = os.open(folder / f"told-{seed}", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    write_batches(shop, f"p{seed}", random.Random(seed), lambda b: _tell(telling, b), batches)
    shop.close()


def _tell(number: int, batch: str) -> None:
    os.write(number, f"told {batch}\n".encode())


if __name__ == "__main__":
    _write(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "sync", int(sys.argv[4]))
