"""Sessions on the server, and how often somebody may try to sign in."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from sqlalchemy import delete, func, insert, select, update

from spoolwright.errors import SpoolwrightError
from spoolwright.store.chain import time_of, time_text
from spoolwright.store.database import Database
from spoolwright.store.tables import SESSION, SIGN_IN_TRY

LASTS = timedelta(hours=14)
IDLE = timedelta(hours=4)
_SEEN_EVERY = timedelta(minutes=1)
"""How exactly 'last seen' is kept: not a write for every page."""
_WINDOW = timedelta(minutes=10)
_MOST_OF_LOGIN, _MOST_OF_SOURCE = 8, 60


class TooManyTriesError(SpoolwrightError):
    """Too many wrong passwords in a short time."""

    exit_code = 10


class Sessions:
    """Who is signed in. The database knows a session only by the hash of its random name."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def open(self, login: str, now: datetime) -> str:
        """Begin a session; gives the random name that goes into the cookie."""
        name = secrets.token_urlsafe(32)
        at = time_text(now)
        row = {"id_sha256": _hashed(name), "login": login, "made_at": at, "seen_at": at}
        with self._database.write() as connection:
            connection.execute(delete(SESSION).where(SESSION.c.expires_at < at))
            connection.execute(insert(SESSION), {**row, "expires_at": time_text(now + LASTS)})
        return name

    def login_of(self, name: str, now: datetime) -> str | None:
        """Whose session it is, None if there is none or it has run out."""
        mine = SESSION.c.id_sha256 == _hashed(name)
        with self._database.read() as connection:
            found = connection.execute(select(SESSION).where(mine)).first()
        if found is None or time_of(found.expires_at) <= now or time_of(found.seen_at) + IDLE <= now:
            return None
        if time_of(found.seen_at) + _SEEN_EVERY <= now:
            with self._database.write() as connection:
                connection.execute(update(SESSION).where(mine).values(seen_at=time_text(now)))
        return str(found.login)

    def close(self, name: str) -> None:
        """End a session."""
        with self._database.write() as connection:
            connection.execute(delete(SESSION).where(SESSION.c.id_sha256 == _hashed(name)))

    def close_all(self, login: str) -> None:
        """End every session of a person: the password has changed, or the person has left."""
        with self._database.write() as connection:
            connection.execute(delete(SESSION).where(SESSION.c.login == login))


class Tries:
    """Wrong passwords of the last minutes, by login and by where they came from."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def refuse_if_many(self, login: str, source: str, now: datetime) -> None:
        """Raise TooManyTriesError when login or source has too many wrong passwords behind it."""
        since = time_text(now - _WINDOW)
        with self._database.read() as connection:
            for column, value, most in (
                (SIGN_IN_TRY.c.login, login, _MOST_OF_LOGIN),
                (SIGN_IN_TRY.c.source, source, _MOST_OF_SOURCE),
            ):
                asked = select(func.count()).where(column == value, SIGN_IN_TRY.c.at > since)
                if (connection.scalar(asked) or 0) >= most:
                    minutes = int(_WINDOW.total_seconds() // 60)
                    raise TooManyTriesError(
                        "too many wrong passwords.", mend=f"Wait {minutes} minutes, then try again."
                    )

    def wrong(self, login: str, source: str, now: datetime) -> None:
        """Remember a wrong password."""
        with self._database.write() as connection:
            old = SIGN_IN_TRY.c.at < time_text(now - _WINDOW)
            connection.execute(delete(SIGN_IN_TRY).where(old))
            connection.execute(
                insert(SIGN_IN_TRY), {"login": login[:100], "source": source[:100], "at": time_text(now)}
            )

    def right(self, login: str) -> None:
        """Forget a person's wrong passwords: the right one was given."""
        theirs = SIGN_IN_TRY.c.login == login
        with self._database.read() as connection:
            if connection.scalar(select(func.count()).where(theirs)) == 0:
                return  # the usual case costs no turn at writing
        with self._database.write() as connection:
            connection.execute(delete(SIGN_IN_TRY).where(theirs))


def _hashed(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()
