"""The hash chain: each entry's digest covers everything in it and the digest of the entry before."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from spoolwright.crafts.visit.entry import canonical
from spoolwright.errors import InputError

BEGINNING = "0" * 64
"""What stands before the first entry."""

HASHED = (
    "seq", "subject", "revision", "kind", "visit", "author", "at", "reason", "body", "signature", "previous",
)  # fmt: skip


def digest_of(row: Mapping[str, Any]) -> str:
    """The digest of a row, computed from its columns alone."""
    return hashlib.sha256(canonical({name: row[name] for name in HASHED})).hexdigest()


def time_text(at: datetime) -> str:
    """A moment as it is stored: UTC, always with microseconds, so that texts sort as times."""
    if at.tzinfo is None:
        raise InputError(f"the time {at.isoformat()} tells no zone.", mend="Give it in UTC.")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def time_of(text: str) -> datetime:
    """The moment of a stored text."""
    return datetime.fromisoformat(text)
