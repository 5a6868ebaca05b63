"""Entries, attachments, people's secrets, sessions; the triggers that keep records as they are."""

import sqlalchemy as sa
from alembic import op

from spoolwright.store.guards import guards_of

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, _TEXT, nullable=False)


def upgrade() -> None:
    """Make everything."""
    _entries()
    op.create_table(
        "attachment",
        sa.Column("sha256", _TEXT, primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        _text("media_type"),
    )
    _people()
    for statement in guards_of(op.get_bind().dialect.name):
        op.execute(statement)


def _entries() -> None:
    op.create_table(
        "entry",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        _text("subject"),
        sa.Column("revision", sa.Integer, nullable=False),
        *(_text(n) for n in ("kind", "visit", "author", "at", "reason", "body", "signature")),
        *(_text(n) for n in ("previous", "digest")),
        sa.UniqueConstraint("subject", "revision", name="entry_subject_revision"),
    )
    op.create_index("entry_visit", "entry", ["visit", "seq"])
    op.create_index("entry_kind", "entry", ["kind", "seq"])


def _people() -> None:
    op.create_table("person_secret", sa.Column("login", _TEXT, primary_key=True), _text("hash"))
    op.create_table(
        "session",
        sa.Column("id_sha256", _TEXT, primary_key=True),
        *(_text(n) for n in ("login", "made_at", "seen_at", "expires_at")),
    )
    op.create_index("ix_session_login", "session", ["login"])
    op.create_table(
        "sign_in_try",
        sa.Column("id", sa.Integer, primary_key=True),
        *(_text(n) for n in ("login", "source", "at")),
    )
    op.create_index("ix_sign_in_try_at", "sign_in_try", ["at"])
