"""Attachments: files named by the hash of their content, on the disk before the record that needs them."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from sqlalchemy import insert, select

from spoolwright.crafts.visit.entry import Attachment
from spoolwright.errors import InputError, OutputError
from spoolwright.store.database import Database
from spoolwright.store.tables import ATTACHMENT


class MissingAttachmentError(InputError):
    """A file that a record names is not there, or is not what it was."""


class StoredAttachments:
    """Files in a folder, two letters of the hash a folder; a row for each in the database."""

    def __init__(self, database: Database, folder: Path) -> None:
        self._database, self.folder = database, folder

    def keep(self, content: bytes, name: str, media_type: str) -> Attachment:
        """Write a file so that it survives a power cut; the same content is kept once.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        self.put(sha256, content, name)
        row = {"sha256": sha256, "size": len(content), "media_type": media_type}
        with self._database.write() as connection:
            known = select(ATTACHMENT.c.sha256).where(ATTACHMENT.c.sha256 == sha256)
            if connection.scalar(known) is None:
                connection.execute(insert(ATTACHMENT), row)
        return Attachment(sha256=sha256, name=name, media_type=media_type, size=len(content))

    def put(self, sha256: str, content: bytes, name: str = "an attachment") -> None:
        """Write a content under its hash, the file alone.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        path = self.path_of(sha256)
        try:
            if not _is_whole(path, sha256):
                _write_file(path, content)
            # also for a file that another process has just written: it may not have come to this yet
            sync_folder(path.parent)
            sync_folder(path.parent.parent)
        except OSError as error:
            what = f"'{name}' cannot be kept: {error.strerror}."
            raise OutputError(what, mend="Make room or mend the rights, then attach it again.") from error

    def read(self, sha256: str) -> bytes:
        """The content, proven by its hash.

        Raises
        ------
        MissingAttachmentError
            There is no such file, or it is not what it was.
        """
        mend = "Run: spoolwright verify; take the file from a backup."
        try:
            content = self.path_of(sha256).read_bytes()
        except OSError as error:
            what = f"the attachment {sha256[:12]}… is not there ({error.strerror})."
            raise MissingAttachmentError(what, mend=mend) from error
        if hashlib.sha256(content).hexdigest() != sha256:
            raise MissingAttachmentError(f"the attachment {sha256[:12]}… has been changed.", mend=mend)
        return content

    def path_of(self, sha256: str) -> Path:
        """Where a content lies."""
        if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
            raise MissingAttachmentError(f"'{sha256[:80]}' is no hash of an attachment.")
        return self.folder / sha256[:2] / sha256


def _is_whole(path: Path, sha256: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except FileNotFoundError:
        return False


def _write_file(path: Path, content: bytes) -> None:
    """Temporary file, flushed to the disk, renamed: under its name it is whole or not there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    number, temporary = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    try:
        with os.fdopen(number, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def sync_folder(folder: Path) -> None:
    """Flush a folder's names to the disk, where the system can."""
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
