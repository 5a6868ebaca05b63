"""Which format a file is in, told by its first bytes; the suffix only sharpens a message."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path
from typing import Final, Literal

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.notes import shown

Format = Literal["csv", "parquet", "arrow", "mdf4", "tdms"]

_SUFFIXES: Final[dict[str, Format]] = {
    ".parquet": "parquet", ".pq": "parquet", ".arrow": "arrow", ".arrows": "arrow", ".ipc": "arrow",
    ".mf4": "mdf4", ".mdf": "mdf4", ".tdms": "tdms", ".csv": "csv", ".tsv": "csv", ".txt": "csv",
    ".dat": "csv", ".asc": "csv",
}  # fmt: skip
_FOREIGN: Final[dict[bytes, str]] = {
    b"PK\x03\x04": "a zip archive or a spreadsheet; unpack it, or save the sheet as CSV",
    b"\x1f\x8b": "compressed with gzip; unpack it first",
    b"\x28\xb5\x2f\xfd": "compressed with zstd; unpack it first",
    b"BZh": "compressed with bzip2; unpack it first",
    b"\xfd7zXZ": "compressed with xz; unpack it first",
    b"7z\xbc\xaf": "a 7z archive; unpack it first",
    b"\xd0\xcf\x11\xe0": "an old office document; save the sheet as CSV",
    b"%PDF": "a PDF; export the recording as CSV, Parquet, MDF4 or TDMS",
    b"\x89HDF": "an HDF5 file; export the recording as CSV, Parquet, MDF4 or TDMS",
    b"\x89PNG": "a picture; give the recording",
    b"TDSh": "a TDMS index; give the .tdms file beside it",
    b"PARE": "an encrypted Parquet file; export it in clear",
}


def suffix_format(path: Path) -> Format | None:
    """The format that a file's suffix stands for."""
    return _SUFFIXES.get(path.suffix.lower())


def format_of(path: Path, limits: Limits) -> Format:
    """The format of a file.

    Raises
    ------
    InputError
        When it is missing, empty, too large, no plain file, or of no known format.
    """
    head = _first_bytes(path, limits)
    for magic, what in _FOREIGN.items():
        if head.startswith(magic):
            raise InputError(f"it is {what}.")
    found = _known(head)
    claimed = suffix_format(path)
    if found == "csv" and claimed not in ("csv", None):
        raise InputError(
            f"its name says {claimed}, its first bytes do not ({shown(head[:16].decode('latin-1'))}).",
            mend="It may be damaged or of another format: export it again.",
        )
    return found


def _first_bytes(path: Path, limits: Limits) -> bytes:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError("it is not a plain file.", mend="Give the path of a recording.")
        if status.st_size > limits.file_bytes:
            raise InputError(f"it has {status.st_size} bytes, the limit is {limits.file_bytes}.")
        with path.open("rb") as file:
            head = file.read(64)
    except OSError as error:
        raise InputError(
            f"it cannot be read: {error.strerror}.", mend="Check the path and rights."
        ) from error
    except ValueError as error:  # a NUL in the path
        raise InputError("the path is not valid.", mend="Check the path.") from error
    if not head:
        raise InputError("it is empty.", mend="Copy the recording again.")
    return head


def _known(head: bytes) -> Format:
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.startswith(b"ARROW1") or (head.startswith(b"\xff\xff\xff\xff") and len(head) >= 8):
        return "arrow"
    if head.startswith((b"MDF     ", b"UnFinMF ")):
        if head[8:9] != b"4":
            version = shown(head[8:16].decode("latin-1").strip(" \0"))
            raise InputError(f"it is MDF version {version}.", mend="Save it as MDF 4.")
        return "mdf4"
    if head.startswith(b"TDSm"):
        return "tdms"
    return "csv"


def sha256_of(path: Path) -> str:
    """Hash of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
