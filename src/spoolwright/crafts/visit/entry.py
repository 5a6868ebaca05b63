"""Entries: what people record. Append-only; a correction is a new revision of the same subject.

A body says what was recorded; an entry adds who, when, which revision, and where in the hash chain it stands.
The store keeps exactly the bytes of `canonical`; they are what is hashed and signed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, ClassVar, Generic, Protocol, TypeVar

from spoolwright.crafts.typefile.base import Record
from spoolwright.errors import SpoolwrightError

KINDS: dict[str, type[Body]] = {}
"""Every kind of body that is imported, by its name; `bootstrap` imports all crafts' models."""


class Body(Record):
    """What a record says. A subclass names its `kind`, once and for good; later fields get a default."""

    kind: ClassVar[str] = ""

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        super().__pydantic_init_subclass__(**kwargs)
        if cls.kind:
            if KINDS.setdefault(cls.kind, cls).__qualname__ != cls.__qualname__:
                raise TypeError(f"two bodies are called '{cls.kind}'")
            KINDS[cls.kind] = cls


B_co = TypeVar("B_co", bound=Body, covariant=True)
B = TypeVar("B", bound=Body)


class Meaning(StrEnum):
    """What a signature says about what is signed."""

    DID = "did this work"
    CHECKED = "checked it independently"
    ACCEPTED = "accepted it"
    ACKNOWLEDGED = "acknowledged it"
    RELEASED = "released it"
    CORRECTED = "corrected the record"


class Signature(Record):
    """A person's deliberate act: password given again over exactly the text that was shown."""

    person: str
    name: str
    meaning: Meaning
    shown: str
    authorisation: str = ""


@dataclass(frozen=True)
class New:
    """A record to be written.

    `after` is the revision of the subject that the writer saw, 0 for a new subject: the store refuses the
    record when somebody else wrote in between. `reason` says why a record is corrected.
    """

    subject: str
    body: Body
    visit: str = ""
    after: int = 0
    reason: str = ""
    signature: Signature | None = None


@dataclass(frozen=True)
class Entry(Generic[B_co]):
    """A record as it stands in the store."""

    seq: int
    subject: str
    revision: int
    visit: str
    body: B_co
    author: str
    at: datetime
    reason: str
    signature: Signature | None
    digest: str

    @property
    def kind(self) -> str:
        return self.body.kind


class ConflictError(SpoolwrightError):
    """Somebody else recorded the same subject in between; both are told, nothing is lost."""

    exit_code = 7

    def __init__(self, yours: New, theirs: Entry[Body]) -> None:
        self.yours, self.theirs = yours, theirs
        super().__init__(
            f"{theirs.author} recorded '{theirs.subject}' at {theirs.at:%H:%M} UTC, after you had opened it.",
            mend="Look at both, then record yours as a correction if it still holds.",
        )


class Records(Protocol):
    """Where entries are kept."""

    def add(self, news: Sequence[New], *, by: str, at: datetime) -> list[Entry[Body]]:
        """Write all or none, each at the end of the chain.

        Raises
        ------
        ConflictError
            A subject has another revision than the writer saw.
        """
        ...

    def current(self, *kinds: type[B], visit: str | None = None, under: str | None = None) -> list[Entry[B]]:
        """The newest revision of each subject, oldest first; of a visit, or under a subject's prefix."""
        ...

    def history(self, subject: str) -> list[Entry[Body]]:
        """Every revision of a subject, first to last."""
        ...


class Attachments(Protocol):
    """Files by their content's hash."""

    def keep(self, content: bytes, name: str, media_type: str) -> Attachment:
        """Write a file so that it survives a power cut; the same content is kept once."""
        ...

    def read(self, sha256: str) -> bytes: ...


class Attachment(Record):
    """A file that belongs to a record."""

    sha256: str
    name: str
    media_type: str
    size: int


class Calculation(Record):
    """A stored calculation: what `verify` runs again. `inputs` and `result` are plain JSON values."""

    name: str
    version: str
    inputs: dict[str, Any]
    result: dict[str, Any]


Recompute = Callable[[dict[str, Any], Callable[[str], bytes]], dict[str, Any]]
"""A calculation that can be run again: from its inputs and a reader of attachments by hash, to its result."""


def canonical(value: Any) -> bytes:
    """The bytes of a JSON value that are hashed and kept."""
    return json.dumps(
        value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    ).encode()
