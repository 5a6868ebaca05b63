"""Where many recordings lie: a folder, or a list of paths and of addresses in an object store.

An address is anything with `://` that Arrow can open (`s3://`, `gs://`, `abfs://`, `hdfs://`, `file://`); the
store's own settings on this machine say who may read there. One recording at a time is fetched.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Any

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.plainfile import read_whole
from spoolwright.sources.runsheet import SUFFIX, sheet_beside
from spoolwright.sources.sniff import sha256_of, suffix_format

LARGEST_LIST = 200_000_000
"""Bytes of a list of recordings."""
_BLOCK = 1 << 20
_TEXT = (".txt", ".dat", ".asc")
"""Endings of many things: a recording only where a run sheet lies beside it."""


@dataclass(frozen=True)
class Placed:
    """A recording: its name in results, and the path or address to read it from."""

    name: str
    place: str


def listed(where: str, *, results: str) -> list[Placed]:
    """Recordings of a folder, with all folders in it, or of a list file; by name, each once.

    `results` is the name of the file that marks a folder of results: nothing in such a folder is a recording.

    Raises
    ------
    InputError
        There is no such folder or file, it cannot be read, or holds no recording.
    """
    if is_address(where):
        found = _listed_in_store(where)
    elif os.path.isdir(where):
        names = _walked(Path(where), results)
        found = [Placed(_name(n), os.path.join(where, n)) for n in _recordings(names)]
    elif os.path.isfile(where) and sheet_beside(Path(where)).is_file():
        raise InputError(
            "this is a recording, not a list of them.",
            where=where,
            mend="Give its folder, or a list that names it.",
        )
    else:
        lines = _lines(read_whole(Path(where), "list of recordings", LARGEST_LIST), where)
        folder = os.path.dirname(where)
        found = [Placed(n, n if is_address(n) else os.path.join(folder, n)) for n in lines]
    if not found:
        raise InputError(
            "it holds no recording.", where=where, mend="Give a folder of recordings, or a list of them."
        )
    return sorted({p.name: p for p in found}.values(), key=lambda p: p.name)


def _name(path: str) -> str:
    """A path as text: bytes of a name that are no text stay told apart."""
    return path.encode(errors="backslashreplace").decode()


def is_address(text: str) -> bool:
    """Whether a text is an address rather than a path."""
    return "://" in text


def _walked(folder: Path, results: str) -> Iterator[str]:
    for place, folders, names in os.walk(folder):
        if results in names:
            folders.clear()
            continue
        folders[:] = [f for f in folders if not f.startswith(".")]
        for name in names:
            if not name.startswith("."):
                yield os.path.relpath(os.path.join(place, name), folder)


def _recordings(names: Iterable[str]) -> list[str]:
    """Those of a folder's files that are recordings, by their endings."""
    every = set(names)
    out = []
    for name in every:
        if suffix_format(Path(name)) is None:
            continue
        if not name.lower().endswith(_TEXT) or str(sheet_beside(Path(name))) in every:
            out.append(name)
    return out


def _lines(data: bytes, where: str) -> list[str]:
    try:
        lines = [line.strip() for line in data.decode("utf-8-sig").splitlines()]
    except UnicodeDecodeError as error:
        raise InputError(
            "this is not a list of recordings: it is no UTF-8 text.",
            where=where,
            mend="Write one path or address a line.",
        ) from error
    return [line for line in lines if line and not line.startswith("#")]


def _listed_in_store(address: str) -> list[Placed]:
    from pyarrow import fs

    with _told(address):
        store, path = fs.FileSystem.from_uri(address)
        info = store.get_file_info(path)
        if info.type == fs.FileType.NotFound:
            raise InputError("there is nothing there.", where=address, mend="Check the address.")
        if info.type == fs.FileType.File:
            with store.open_input_stream(path) as file:
                lines = _lines(file.read(LARGEST_LIST), address)
            folder = address.rsplit("/", 1)[0]
            return [Placed(n, n if is_address(n) else f"{folder}/{n}") for n in lines]
        inside = store.get_file_info(fs.FileSelector(path, recursive=True))
    root = path.rstrip("/")
    names = [i.path[len(root) + 1 :] for i in inside if i.type == fs.FileType.File]
    return [Placed(n, f"{address.rstrip('/')}/{n}") for n in _recordings(names)]


@contextmanager
def _told(address: str) -> Iterator[None]:
    """What a store answers, as an error with its place."""
    import pyarrow as pa

    try:
        yield
    except (pa.ArrowException, OSError, ImportError, NotImplementedError) as error:
        first = (str(error).splitlines() or [type(error).__name__])[0][:300]
        raise InputError(
            f"it cannot be fetched: {first}.",
            where=address,
            mend="Check the address and the rights to read it.",
        ) from error


@contextmanager
def fetched(place: str, limits: Limits | None = None) -> Iterator[tuple[Path, Path]]:
    """A recording and the place of its run sheet as files, for as long as the context lasts.

    Raises
    ------
    InputError
        The recording cannot be fetched. A run sheet that is missing is not: reading it will tell.
    """
    if not is_address(place):
        yield Path(place), sheet_beside(Path(place))
        return
    with tempfile.TemporaryDirectory(prefix="spoolwright-") as folder:
        path = Path(folder) / PurePosixPath(place).name
        _fetch(place, path, limits or Limits(), needed=True)
        _fetch(sheet_address(place), sheet_beside(path), limits or Limits(), needed=False)
        yield path, sheet_beside(path)


def as_placed(text: str, place: str, path: Path) -> str:
    """A message about a fetched recording that names the address, not where its copy lay."""
    return text.replace(str(path.parent), place.rsplit("/", 1)[0]) if is_address(place) else text


def sheet_address(address: str) -> str:
    """Address of the run sheet beside a recording."""
    name = PurePosixPath(address).name
    stem = name.removesuffix(PurePosixPath(name).suffix)
    return f"{address[: len(address) - len(name)]}{stem}{SUFFIX}"


def _fetch(address: str, to: Path, limits: Limits, *, needed: bool) -> None:
    from pyarrow import fs

    with _told(address):
        store, path = fs.FileSystem.from_uri(address)
        info = store.get_file_info(path)
        if info.type != fs.FileType.File:
            if not needed:
                return
            raise InputError("there is no such file.", where=address, mend="Check the address.")
        if info.size is not None and info.size > limits.file_bytes:
            raise InputError(f"it has {info.size} bytes, the limit is {limits.file_bytes}.", where=address)
        with store.open_input_stream(path) as source, to.open("wb") as target:
            shutil.copyfileobj(source, target, _BLOCK)


def hashes_at(place: str) -> tuple[str, str]:
    """SHA-256 of a recording and of its run sheet; empty for one that cannot be read."""
    if not is_address(place):
        return _hash_of(Path(place)), _hash_of(sheet_beside(Path(place)))
    return _hash_in_store(place), _hash_in_store(sheet_address(place))


def _hash_of(path: Path) -> str:
    try:
        return sha256_of(path) if path.is_file() else ""
    except (OSError, ValueError):
        return ""


def _hash_in_store(address: str) -> str:
    from pyarrow import fs

    try:
        with _told(address):
            store, path = fs.FileSystem.from_uri(address)
            if store.get_file_info(path).type != fs.FileType.File:
                return ""
            with store.open_input_stream(path) as file:
                return _digest(file)
    except InputError:
        return ""


def _digest(file: IO[bytes] | Any) -> str:
    found = hashlib.sha256()
    while block := file.read(_BLOCK):
        found.update(block)
    return found.hexdigest()
