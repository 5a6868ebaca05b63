"""Brings a database to the newest form of the tables when the shop is opened."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from spoolwright.store.database import Database, StoreError

NEWEST = "0001"
"""The newest revision under `migrations/versions`; Alembic is loaded only where a database is older."""


def migrate(database: Database) -> None:
    """Make or renew the tables; a database of a newer version is left alone.

    Raises
    ------
    StoreError
        The database was written by a newer version.
    """
    with database.read() as connection:
        if revision_of(connection) == NEWEST:
            return
    with database.write() as connection:
        found = revision_of(connection)
        if found != NEWEST:  # nobody else did it in between
            _upgrade(connection, found)


def revision_of(connection: Connection) -> str | None:
    """The revision a database stands at, None for an empty one."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _upgrade(connection: Connection, found: str | None) -> None:
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        what = f"the records were written by a newer version of the program (form {found})."
        raise StoreError(what, mend="Open them with that version.")
    command.upgrade(config, "head")
