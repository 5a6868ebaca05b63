"""Entries, attachments, people's secrets, sessions; the triggers that keep records as they are."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
_ELSEWHERE = "substr(subject, 1, 6) <> 'visit/'"


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
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
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
    only = sa.text(_ELSEWHERE)
    op.create_index("entry_elsewhere", "entry", ["seq"], sqlite_where=only, postgresql_where=only)


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


_FIXED = "records are never changed or removed: write a correction"
_ORDER = "an entry goes to the end of the chain"
_SQLITE = (
    *(
        f"CREATE TRIGGER {table}_no_{what} BEFORE {what} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{_FIXED}'); END"
        for table in ("entry", "attachment")
        for what in ("update", "delete")
    ),
    # also what keeps INSERT OR REPLACE from removing a row
    f"""CREATE TRIGGER entry_at_end BEFORE INSERT ON entry
        WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entry)
          OR NEW.previous <> coalesce((SELECT digest FROM entry ORDER BY seq DESC LIMIT 1), '{"0" * 64}')
          OR NEW.revision <> (SELECT coalesce(max(revision), 0) + 1 FROM entry WHERE subject = NEW.subject)
        BEGIN SELECT RAISE(ABORT, '{_ORDER}'); END""",
    """CREATE TRIGGER attachment_once BEFORE INSERT ON attachment
        WHEN EXISTS (SELECT 1 FROM attachment WHERE sha256 = NEW.sha256)
        BEGIN SELECT RAISE(IGNORE); END""",
)
_POSTGRESQL = (
    f"""CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{_FIXED}'; END $$""",
    *(
        f"CREATE TRIGGER {table}_fixed BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        for table in ("entry", "attachment")
    ),
    f"""CREATE FUNCTION entry_at_end() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
        IF NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entry)
          OR NEW.previous <> coalesce((SELECT digest FROM entry ORDER BY seq DESC LIMIT 1), '{"0" * 64}')
          OR NEW.revision <> (SELECT coalesce(max(revision), 0) + 1 FROM entry WHERE subject = NEW.subject)
        THEN RAISE EXCEPTION '{_ORDER}'; END IF; RETURN NEW; END $$""",
    "CREATE TRIGGER entry_at_end BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION entry_at_end()",
)
