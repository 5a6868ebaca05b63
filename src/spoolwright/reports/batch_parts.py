"""The results of a batch on disk, so that it can be killed at any moment and go on.

A folder of results holds `batch.json`, which tells what all rows rest on; `parts/`, a Parquet file for each
chunk of runs, which appears whole or not at all; and at the end `diagnoses.parquet`, all rows in one file.
The keys of the rows are the manifest: what has its row in a part is done, and no second record can disagree.
"""

from __future__ import annotations

import json
import os
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from spoolwright.errors import InputError, OutputError
from spoolwright.reports.batch_rows import Row, schema

HEAD, PARTS, WHOLE, LOCK = "batch.json", "parts", "diagnoses.parquet", ".lock"
FORMAT = "spoolwright-diagnoses-1"


class Parts:
    """The chunks of one batch in a folder of results."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @classmethod
    @contextmanager
    def opened(cls, folder: Path, rests_on: dict[str, str], *, resume: bool) -> Iterator[Parts]:
        """A folder of results, new or gone on with; no second batch can write into it meanwhile.

        Raises
        ------
        OutputError
            It cannot be made, another batch writes into it, or it holds results already and `resume` is not
            asked for.
        InputError
            It holds results that rest on another type file, baseline or program.
        """
        with _written(folder):
            (folder / PARTS).mkdir(parents=True, exist_ok=True)
        with _locked(folder):
            out = cls(folder)
            out._begin({"format": FORMAT, **rests_on}, resume)
            yield out

    def _begin(self, head: dict[str, str], resume: bool) -> None:
        known = self._head()
        if known is None:
            if (self.folder / WHOLE).exists() or self._files():
                raise _taken(self.folder, "Choose another folder.")
            with _written(self.folder):
                _replace(self.folder / HEAD, (json.dumps(head, indent=1) + "\n").encode())
            return
        if not resume:
            raise _taken(self.folder, "Go on with it (--resume), or choose another folder.")
        _check_same(known, head, self.folder)
        for torn in (self.folder / PARTS).glob("*.tmp"):
            torn.unlink(missing_ok=True)

    def _head(self) -> dict[str, Any] | None:
        try:
            found = json.loads((self.folder / HEAD).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        except (OSError, ValueError) as error:
            raise InputError(
                "it cannot be read as the head of a batch.",
                where=str(self.folder / HEAD),
                mend="Choose another folder for the results.",
            ) from error
        return found if isinstance(found, dict) else {}

    def _files(self) -> list[Path]:
        return sorted((self.folder / PARTS).glob("part-*.parquet"))

    def _read(self, path: Path, columns: Sequence[str] | None = None) -> Any:
        import pyarrow as pa
        from pyarrow import parquet

        try:
            # no map of the file: a part may be rewritten while its table lives
            return parquet.read_table(path, columns=columns, memory_map=False, partitioning=None)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise InputError(
                "this part of the results is damaged.",
                where=str(path),
                mend="Remove it and go on (--resume): its runs are then diagnosed again.",
            ) from error

    def keys(self) -> dict[str, str]:
        """Recording to the key of its row, for every row there is."""
        out: dict[str, str] = {}
        for path in self._files():
            table = self._read(path, ["recording", "key"])
            out.update(zip(table["recording"].to_pylist(), table["key"].to_pylist(), strict=True))
        return out

    def drop(self, names: Collection[str]) -> None:
        """Remove the rows of recordings that are to be diagnosed again."""
        import pyarrow as pa
        from pyarrow import compute

        if not names:
            return
        stale = pa.array(sorted(names), pa.string())
        for path in self._files():
            table = self._read(path)
            kept = table.filter(compute.invert(compute.is_in(table["recording"], value_set=stale)))
            if kept.num_rows == 0:
                path.unlink()
            elif kept.num_rows < table.num_rows:
                self._write(kept, path)

    def add(self, rows: Sequence[Row]) -> None:
        """Write the rows of a chunk as the next part."""
        import pyarrow as pa

        last = self._files()[-1:]
        number = int(last[0].stem.removeprefix("part-")) + 1 if last else 0
        self._write(
            pa.Table.from_pylist(list(rows), schema()), self.folder / PARTS / f"part-{number:06d}.parquet"
        )

    def finish(self) -> Path:
        """Put all rows into one file, by name of the recording; gives its path."""
        import pyarrow as pa

        tables = [self._read(p) for p in self._files()]
        whole = pa.concat_tables(tables) if tables else schema().empty_table()
        path = self.folder / WHOLE
        self._write(whole.sort_by("recording"), path)
        return path

    def _write(self, table: Any, path: Path) -> None:
        from pyarrow import BufferOutputStream, parquet

        buffer = BufferOutputStream()
        parquet.write_table(table, buffer, compression="zstd")
        with _written(path):
            _replace(path, buffer.getvalue())


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Keep a second batch out of the folder; the lock ends with the process, however it ends."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    with _written(folder):
        file = open(folder / LOCK, "wb")  # noqa: SIM115 - closed below
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise OutputError(
                "another batch is writing into this folder.",
                where=str(folder),
                mend="Wait for it, or choose another folder.",
            ) from error
        yield


def _replace(path: Path, data: Any) -> None:
    """Write a file so that a kill or a power cut leaves the old one or the whole new one."""
    part = path.with_name(f"{path.name}.tmp")
    with part.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)


@contextmanager
def _written(where: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"the results cannot be written: {error.strerror or error}.",
            where=str(where),
            mend="Make room or see to the rights, then go on (--resume).",
        ) from error


def _taken(folder: Path, mend: str) -> OutputError:
    return OutputError("this folder holds results already.", where=str(folder), mend=mend)


def _check_same(known: dict[str, Any], wanted: dict[str, str], folder: Path) -> None:
    for key, now in wanted.items():
        if known.get(key) != now:
            name = key.removesuffix("_sha256").replace("_", " ")
            raise InputError(
                f"its results rest on another {name} ({known.get(key) or 'none'}, now {now or 'none'}).",
                where=str(folder),
                mend="Choose another folder for new results; rows of the two are never mixed.",
            )
