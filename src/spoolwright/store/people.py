"""The shop's people: who they are stands in records, their passwords and sessions beside them."""

from __future__ import annotations

import re
from datetime import date, datetime

from spoolwright.crafts.visit.entry import Entry, New
from spoolwright.crafts.visit.people import AuthorisationGiven, NotEntitledError, Person, PersonKnown
from spoolwright.errors import InputError
from spoolwright.store.database import Database
from spoolwright.store.records import StoredRecords
from spoolwright.store.secrets import Secrets
from spoolwright.store.sessions import Sessions, Tries

SET_UP = "set-up"
"""Author of what is recorded at the shop's own machine, by command, before anybody can sign in."""
_LOGIN = re.compile(r"[a-z0-9][a-z0-9._-]{0,39}")


class WrongPasswordError(NotEntitledError):
    """Login or password is wrong; which of the two is not told."""


class People:
    """Adds people, checks who they are."""

    def __init__(self, database: Database, records: StoredRecords) -> None:
        self._records = records
        self._secrets, self.sessions, self._tries = Secrets(database), Sessions(database), Tries(database)

    def add(
        self, person: PersonKnown, *, by: str = SET_UP, at: datetime, reason: str = ""
    ) -> Entry[PersonKnown]:
        """Record a person, or a change of name, roles, certificate or day of leaving."""
        if not _LOGIN.fullmatch(person.login) or person.login == SET_UP:
            what = f"'{person.login[:60]}' cannot be a login."
            raise InputError(what, mend="Small letters, digits, dot, dash and underscore; at most 40.")
        before = self.entry(person.login)
        after = before.revision if before else 0
        new = New(f"person/{person.login}", person, after=after, reason=reason)
        (entry,) = self._records.add([new], by=by, at=at)
        if person.left_on is not None:
            self.sessions.close_all(person.login)
        return entry  # type: ignore[return-value]

    def authorise(
        self, given: AuthorisationGiven, *, by: str = SET_UP, at: datetime, reason: str = ""
    ) -> Entry[AuthorisationGiven]:
        """Record an authorisation, its renewal or its withdrawal.

        Raises
        ------
        InputError
            Nobody has this login.
        """
        if self.entry(given.login) is None:
            raise _nobody(given.login)
        subject = f"person/{given.login}/authorisation/{given.number}"
        after = len(self._records.history(subject))
        (entry,) = self._records.add([New(subject, given, after=after, reason=reason)], by=by, at=at)
        return entry  # type: ignore[return-value]

    def set_password(self, login: str, password: str) -> None:
        """Set a person's password and end every session that is open with the old one.

        Raises
        ------
        InputError
            Nobody has this login, or the password is too short.
        """
        if self.entry(login) is None:
            raise _nobody(login)
        self._secrets.set(login, password)
        self.sessions.close_all(login)

    def has_password(self, login: str) -> bool:
        """Whether the person can sign in."""
        return self._secrets.has(login)

    def entry(self, login: str) -> Entry[PersonKnown] | None:
        """The newest record of a person."""
        found = self._records.current(PersonKnown, under=f"person/{login}")
        return found[0] if found else None

    def known(self, login: str) -> Person | None:
        """A person with every authorisation that was not withdrawn."""
        entry = self.entry(login)
        return None if entry is None else self._person(entry)

    def acting(self, login: str, today: date) -> Person:
        """A person who works in the shop on a day.

        Raises
        ------
        NotEntitledError
            Nobody has this login, or the person has left.
        """
        entry = self.entry(login)
        if entry is None:
            raise NotEntitledError(f"nobody here has the login '{login[:60]}'.", mend="The lead adds people.")
        if entry.body.left_on is not None and entry.body.left_on <= today:
            raise NotEntitledError(f"{entry.body.name} left on {entry.body.left_on}.", mend="Ask the lead.")
        return self._person(entry)

    def everyone(self) -> list[Person]:
        """Everybody, in the order they were added; who has left too."""
        held: dict[str, list[AuthorisationGiven]] = {}
        for a in self._records.current(AuthorisationGiven):
            held.setdefault(a.body.login, []).append(a.body)
        return [
            Person(e.body.login, e.body.name, frozenset(e.body.roles), tuple(held.get(e.body.login, ())))
            for e in self._records.current(PersonKnown)
        ]

    def check(self, login: str, password: str, *, source: str, now: datetime) -> Person:
        """The person who gives this password: at sign-in, and again at each signature.

        Parameters
        ----------
        login, password : as typed
        source : where the question comes from, for the limit on wrong passwords
        now : UTC

        Raises
        ------
        TooManyTriesError
            Too many wrong passwords in the last minutes.
        WrongPasswordError
            Login or password is wrong.
        NotEntitledError
            The person has left.
        """
        self._tries.refuse_if_many(login, source, now)
        if not self._secrets.check(login, password):
            self._tries.wrong(login, source, now)
            raise WrongPasswordError("login or password is wrong.", mend="Give both again.")
        self._tries.right(login)
        return self.acting(login, now.date())

    def sign_in(self, login: str, password: str, *, source: str, now: datetime) -> str:
        """Begin a session; gives the random name that goes into the cookie. Raises as `check` does."""
        self.check(login, password, source=source, now=now)
        return self.sessions.open(login, now)

    def of_session(self, name: str, now: datetime) -> Person | None:
        """Whose session it is; None when it has run out or the person has left."""
        login = self.sessions.login_of(name, now)
        if login is None:
            return None
        try:
            return self.acting(login, now.date())
        except NotEntitledError:
            return None

    def sign_out(self, name: str) -> None:
        """End a session."""
        self.sessions.close(name)

    def _person(self, entry: Entry[PersonKnown]) -> Person:
        p = entry.body
        held = self._records.current(AuthorisationGiven, under=f"person/{p.login}")
        return Person(p.login, p.name, frozenset(p.roles), tuple(a.body for a in held))


def _nobody(login: str) -> InputError:
    return InputError(f"nobody here has the login '{login[:60]}'.", mend="Add the person first.")
