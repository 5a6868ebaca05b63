"""The tables. `entry` and `attachment` are append-only: triggers refuse every change and every removal."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, MetaData, Table, Text, UniqueConstraint

_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
"""Compared byte by byte in both databases, so that a subject's prefix is a range."""

METADATA = MetaData()

ENTRY = Table(
    "entry",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("subject", _TEXT, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("kind", _TEXT, nullable=False),
    Column("visit", _TEXT, nullable=False),
    Column("author", _TEXT, nullable=False),
    Column("at", _TEXT, nullable=False),
    Column("reason", _TEXT, nullable=False),
    Column("body", _TEXT, nullable=False),
    Column("signature", _TEXT, nullable=False),
    Column("previous", _TEXT, nullable=False),
    Column("digest", _TEXT, nullable=False),
    UniqueConstraint("subject", "revision", name="entry_subject_revision"),
    Index("entry_visit", "visit", "seq"),
    Index("entry_kind", "kind", "seq"),
)

ATTACHMENT = Table(
    "attachment",
    METADATA,
    Column("sha256", _TEXT, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("media_type", _TEXT, nullable=False),
)

PERSON_SECRET = Table(
    "person_secret",
    METADATA,
    Column("login", _TEXT, primary_key=True),
    Column("hash", _TEXT, nullable=False),
)

SESSION = Table(
    "session",
    METADATA,
    Column("id_sha256", _TEXT, primary_key=True),
    Column("login", _TEXT, nullable=False, index=True),
    Column("made_at", _TEXT, nullable=False),
    Column("seen_at", _TEXT, nullable=False),
    Column("expires_at", _TEXT, nullable=False),
)

SIGN_IN_TRY = Table(
    "sign_in_try",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("login", _TEXT, nullable=False),
    Column("source", _TEXT, nullable=False),
    Column("at", _TEXT, nullable=False, index=True),
)
