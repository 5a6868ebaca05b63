"""The database: SQLite by default, PostgreSQL by URL; one writer at a time, because the chain has one end."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from spoolwright.errors import InputError, MissingExtra, SpoolwrightError

_CHAIN_LOCK = 0x5700_1001
"""Key of PostgreSQL's advisory lock on the end of the chain."""
_BUSY_SECONDS = 30.0


class StoreError(SpoolwrightError):
    """The database could not be opened, read or written."""

    exit_code = 9


class Database:
    """Connections to the shop's database."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.is_sqlite = engine.dialect.name == "sqlite"
        self._writers = threading.Lock()  # threads queue here; SQLite's own waiting backs off and starves

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection for reading, one state of the records from first to last."""
        with _told("read"), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A connection that holds the end of the chain; all is kept on leaving, or nothing."""
        with _told("write"), self._writers, self.engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                if not self.is_sqlite:
                    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_CHAIN_LOCK})")
                yield connection

    def close(self) -> None:
        """Give every connection back."""
        self.engine.dispose()


@contextmanager
def _told(what: str) -> Iterator[None]:
    """What the database refuses, as a sentence."""
    try:
        yield
    except PoolTimeout as error:
        raise StoreError("too many ask the database at once.", mend="Try again in a moment.") from error
    except (DBAPIError, OperationalError) as error:
        reason = str(error.orig).strip().splitlines()[0] if error.orig and str(error.orig).strip() else "?"
        mend = "Nothing of it was recorded; try again." if what == "write" else "Try again."
        raise StoreError(f"the database cannot {what}: {reason}.", mend=mend) from error


def open_database(url: str | None, folder: Path) -> Database:
    """The database by its URL, or the file `shop.sqlite` in the folder.

    Raises
    ------
    InputError
        The URL is not one of SQLite or PostgreSQL.
    MissingExtra
        PostgreSQL is asked for and its driver is not installed.
    """
    address = _address(url, folder)
    if address.get_backend_name() == "sqlite":
        engine = create_engine(
            address, pool_size=16, max_overflow=16, connect_args={"timeout": _BUSY_SECONDS}
        )
        _speak_sqlite(engine)
        return Database(engine)
    try:
        return Database(create_engine(address, pool_size=16, max_overflow=16, pool_pre_ping=True))
    except ModuleNotFoundError as error:
        what = "PostgreSQL needs the package psycopg."
        raise MissingExtra(what, mend="Install it with: pip install 'spoolwright[postgres]'.") from error


def _address(url: str | None, folder: Path) -> URL:
    if url is None:
        return URL.create("sqlite", database=str(folder / "shop.sqlite"))
    try:
        address = make_url(url)
        backend = address.get_backend_name()
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        raise InputError("the database's URL cannot be read.", mend=_URLS) from error
    if backend in ("postgresql", "postgres"):
        return address.set(drivername="postgresql+psycopg")
    if backend == "sqlite" and address.database:
        return address
    raise InputError(f"'{backend}' is no database for the shop's records.", mend=_URLS)


_URLS = "Give postgresql://USER@HOST/NAME, or none: then the records are in shop.sqlite in the shop's folder."


def _speak_sqlite(engine: Engine) -> None:
    """Write-ahead log, every commit on the disk, writers at the front from their first word."""

    @event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # this module begins transactions, not the driver
        for pragma in (
            "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "recursive_triggers=ON",
            "cache_size=-32000", "temp_store=MEMORY",
        ):  # fmt: skip
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
