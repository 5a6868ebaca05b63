"""The triggers that refuse to change or remove a record, as the newest form of the tables has them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from sqlalchemy import Connection, Index, Inspector, Integer, Table, UniqueConstraint, inspect, text

from spoolwright.store.tables import ATTACHMENT, ENTRY

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


def guards_of(dialect: str) -> tuple[str, ...]:
    """The statements that make the guards."""
    return _SQLITE if dialect == "sqlite" else _POSTGRESQL


def unguarded(connection: Connection) -> Iterator[str]:
    """Guards that are gone, or are not what they were."""
    for table in (ENTRY, ATTACHMENT):
        columns, key, sets = _form(inspect(connection), table)
        wanted = _wanted(table)
        if (columns, key) != wanted[:2] or not wanted[2] <= sets:
            yield f"its table '{table.name}' has not the form it was made in"
    dialect = connection.dialect.name
    found = dict(_found(connection, dialect))
    for statement in guards_of(dialect):
        name = _name(statement)
        if name not in found:
            yield f"its guard '{name}' is gone"
        elif found[name] is not None and found[name] != statement.strip():
            yield f"its guard '{name}' is not what it was"


Form = tuple[list[tuple[str, str, bool]], list[str], set[tuple[str | None, tuple[str, ...]]]]
"""Of a table: columns with type and whether they may be empty, its key, indexes and unique sets by name."""


def _form(known: Inspector, table: Table) -> Form:
    columns = [(c["name"], type(c["type"]).__name__, c["nullable"]) for c in known.get_columns(table.name)]
    key = known.get_pk_constraint(table.name)["constrained_columns"]
    sets = {(u["name"], tuple(u["column_names"])) for u in known.get_unique_constraints(table.name)}
    indexes = known.get_indexes(table.name)
    sets |= {(i["name"], tuple(c or "" for c in i["column_names"])) for i in indexes}
    return columns, key, sets


def _wanted(table: Table) -> Form:
    columns = [
        (c.name, "INTEGER" if isinstance(c.type, Integer) else "TEXT", bool(c.nullable))
        for c in table.columns
    ]
    sets: set[tuple[str | None, tuple[str, ...]]] = {
        (str(u.name), tuple(c.name for c in u.columns))
        for u in (*table.indexes, *table.constraints)
        if isinstance(u, Index | UniqueConstraint)
    }
    return columns, [c.name for c in table.primary_key], sets


def _name(statement: str) -> str:
    named = re.match(r"\s*CREATE (?:TRIGGER|FUNCTION) (\w+)(\(\))?", statement)
    assert named is not None
    return named[1] + (named[2] or "")


def _found(connection: Connection, dialect: str) -> Iterator[tuple[str, str | None]]:
    """Name and text of each trigger; PostgreSQL keeps no text of a trigger, but that of its function."""
    if dialect == "sqlite":
        asked = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        yield from ((row.name, row.sql) for row in connection.execute(text(asked)))
        return
    here = "current_schema()::regnamespace"
    triggers = f"""SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid
        WHERE relnamespace = {here} AND tgenabled IN ('O', 'A')"""
    yield from ((name, None) for name in connection.scalars(text(triggers)))
    functions = f"SELECT proname, prosrc FROM pg_proc WHERE pronamespace = {here}"
    for row in connection.execute(text(functions)):
        made = next((s for s in _POSTGRESQL if _name(s) == f"{row.proname}()"), None)
        if made is not None:
            yield f"{row.proname}()", made.strip() if row.prosrc == made.split("$$")[1] else row.prosrc
