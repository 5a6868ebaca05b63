"""Passwords: argon2id hashes, at most two computed at once so that sign-ins cannot eat the memory."""

from __future__ import annotations

import threading
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError
from sqlalchemy import delete, insert, select, update

from spoolwright.errors import InputError
from spoolwright.store.database import Database
from spoolwright.store.tables import PERSON_SECRET

SHORTEST, LONGEST = 10, 200
_AT_ONCE = threading.BoundedSemaphore(2)
_HASHER = PasswordHasher(time_cost=2, memory_cost=32 * 1024, parallelism=1)
"""Above the least that OWASP's Password Storage Cheat Sheet asks of argon2id (19 MiB, 2 passes, 1 lane)."""


class Secrets:
    """The passwords' hashes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def set(self, login: str, password: str) -> None:
        """Set a password.

        Raises
        ------
        InputError
            It is too short, too long or the login itself.
        """
        check_acceptable(login, password)
        hashed = _hash(password)
        with self._database.write() as connection:
            connection.execute(delete(PERSON_SECRET).where(PERSON_SECRET.c.login == login))
            connection.execute(insert(PERSON_SECRET), {"login": login, "hash": hashed})

    def has(self, login: str) -> bool:
        """Whether the person has a password."""
        return self._hash_of(login) is not None

    def check(self, login: str, password: str) -> bool:
        """Whether the password is right; an unknown login takes as long as a wrong password."""
        kept = self._hash_of(login)
        right = _matches(kept or _nobody(), password[: LONGEST + 1])
        if kept is None or not right:
            return False
        if _HASHER.check_needs_rehash(kept):
            self._renew(login, kept, password)
        return True

    def _hash_of(self, login: str) -> str | None:
        with self._database.read() as connection:
            return connection.scalar(select(PERSON_SECRET.c.hash).where(PERSON_SECRET.c.login == login))

    def _renew(self, login: str, kept: str, password: str) -> None:
        mine = (PERSON_SECRET.c.login == login) & (PERSON_SECRET.c.hash == kept)
        hashed = _hash(password)
        with self._database.write() as connection:
            connection.execute(update(PERSON_SECRET).where(mine).values(hash=hashed))


def check_acceptable(login: str, password: str) -> None:
    """Raise InputError for a password that is too short, too long or the login itself."""
    if not SHORTEST <= len(password) <= LONGEST:
        told = f"a password has {SHORTEST} to {LONGEST} characters, this one has {len(password)}."
        raise InputError(told, mend="A few words in a row are long and easy to keep.")
    if password.casefold() in (login.casefold(), login.casefold() * 2):
        raise InputError("the password is the login.", mend="Choose another.")


def _hash(password: str) -> str:
    with _AT_ONCE:
        return _HASHER.hash(password)


def _matches(kept: str, password: str) -> bool:
    try:
        with _AT_ONCE:
            return _HASHER.verify(kept, password)
    except (VerifyMismatchError, VerificationError, InvalidHashError):
        return False


@cache
def _nobody() -> str:
    return _hash("the password of nobody")
