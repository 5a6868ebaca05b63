"""Verifies a shop: chain, bodies, signatures, attachments, and every stored calculation run again."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import Connection, select

from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.bootstrap.recomputing import attachments_in, calculations_in, recomputed
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation, Entry, Recompute
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown
from spoolwright.errors import InputError, SpoolwrightError
from spoolwright.store.attachments import MissingAttachmentError, StoredAttachments
from spoolwright.store.checking import ChainCheck, damage
from spoolwright.store.database import Database, StoreError
from spoolwright.store.guards import unguarded
from spoolwright.store.records import count_of, rows_of
from spoolwright.store.rows import entry_of
from spoolwright.store.tables import ATTACHMENT

MOST_FAULTS = 500


@dataclass(frozen=True)
class Fault:
    """Something that is not as it was recorded; `seq` is 0 where no single record is meant."""

    seq: int
    what: str

    def __str__(self) -> str:
        return f"record {self.seq}: {self.what}" if self.seq else self.what


@dataclass
class Verified:
    """What was checked, and what was found."""

    seq: int = 0
    digest: str = ""
    signatures: int = 0
    attachments: int = 0
    recomputed: int = 0
    not_recomputed: Counter[str] = field(default_factory=Counter)
    faults: list[Fault] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether nothing was found."""
        return not self.faults


@dataclass(frozen=True)
class Printed:
    """What a signed document says of the chain: number and digest of its last record then."""

    digest: str
    seq: int | None = None


def verify(
    database: Database,
    attachments: StoredAttachments,
    *,
    printed: tuple[Printed, ...] = (),
    recompute: Mapping[tuple[str, str], Recompute] = RECOMPUTE,
    progress: Tell = silent,
) -> Verified:
    """Check everything that the shop has recorded, in one state of it; work goes on meanwhile.

    Parameters
    ----------
    database : the shop's records
    attachments : its files
    printed : heads that signed documents name; without one, a cut tail or a chain hashed anew cannot be found
    recompute : calculations that can be run again
    progress : told how far it is
    """
    for one in printed:
        if len(one.digest) != 64 or set(one.digest) - set("0123456789abcdef"):
            raise InputError(
                "the head is 64 digits and letters a to f.", mend="Copy it whole from the document."
            )
    verifier = _Verifier(attachments, recompute, printed, progress)
    try:
        with database.read() as connection:
            return verifier.run(connection)
    except StoreError as error:  # a damaged file: that is what was to be found out
        verifier.found.faults.append(Fault(0, error.what))
        return verifier.found


class _Verifier:
    def __init__(
        self,
        attachments: StoredAttachments,
        recompute: Mapping[tuple[str, str], Recompute],
        printed: tuple[Printed, ...],
        tell: Tell,
    ) -> None:
        self.attachments, self.recompute, self.tell = attachments, recompute, tell
        self.found = Verified()
        self.printed = dict.fromkeys(printed, False)
        self.people: dict[str, set[str]] = {}
        self.authorisations: dict[tuple[str, str], AuthorisationGiven] = {}
        self.files: dict[str, int] = {}  # hash to the first record that names it
        self.kept: dict[str, tuple[int, str]] = {}

    def run(self, connection: Connection) -> Verified:
        for line in damage(connection):
            self._fault(0, f"the database's file is damaged: {line}.")
        for what in unguarded(connection):
            self._fault(0, f"the database no longer refuses every change: {what}.")
        for kept in connection.execute(select(ATTACHMENT)):
            self.kept[kept.sha256] = (kept.size, kept.media_type)
        count, chain = count_of(connection), ChainCheck()
        for n, row in enumerate(rows_of(connection), 1):
            if n % 200 == 1:
                self.tell(f"record {n} of {count}", 0.8 * n / max(count, 1))
            self._row(row, chain)
            if len(self.found.faults) > MOST_FAULTS:
                self._fault(0, f"more than {MOST_FAULTS} faults: checking stopped here.")
                return self.found
        self.found.seq, self.found.digest = chain.seq, chain.digest
        self._heads(chain.seq)
        self._files()
        return self.found

    def _fault(self, seq: int, what: str) -> None:
        self.found.faults.append(Fault(seq, what))

    def _row(self, row: dict[str, Any], chain: ChainCheck) -> None:
        seq = row["seq"]
        for what in chain.faults(row):
            self._fault(seq, what)
        for printed in self.printed:
            if row["digest"] == printed.digest and printed.seq in (None, seq):
                self.printed[printed] = True
        try:
            entry = entry_of(row)
        except SpoolwrightError as error:
            self._fault(seq, error.what)
            return
        except TypeError:  # a value that no column may hold; the chain's check has told it
            return
        for what in (*self._signature(entry), *self._attachments(entry)):
            self._fault(seq, what)
        self._remember(entry)
        for calculation in calculations_in(entry.body):
            self._calculation(seq, calculation)

    def _heads(self, last: int) -> None:
        for printed, seen in self.printed.items():
            if seen:
                continue
            told = (
                f"the document names record {printed.seq}" if printed.seq else "the document names a record"
            )
            if printed.seq is not None and printed.seq > last:
                self._fault(0, f"{told}, the last here is {last}: the end of the records was cut off.")
            else:
                self._fault(0, f"{told} with a digest that is not here: the records were written anew since.")

    def _remember(self, entry: Entry[Body]) -> None:
        body = entry.body
        if isinstance(body, PersonKnown):
            self.people.setdefault(body.login, set()).add(body.name)
        elif isinstance(body, AuthorisationGiven):
            self.authorisations[body.login, body.number] = body

    def _signature(self, entry: Entry[Body]) -> Iterator[str]:
        signature = entry.signature
        if signature is None:
            return
        self.found.signatures += 1
        if signature.person != entry.author:
            yield f"'{entry.author}' recorded it with the signature of '{signature.person}'."
        if signature.person not in self.people:
            yield f"it is signed by '{signature.person}', whom the shop did not know then."
        elif signature.name not in self.people[signature.person]:
            yield f"it is signed as '{signature.name}', which was not the name of '{signature.person}'."
        if signature.authorisation:
            yield from self._authorisation(signature.person, signature.authorisation, entry.at.date())

    def _authorisation(self, person: str, number: str, on: date) -> Iterator[str]:
        given = self.authorisations.get((person, number))
        if given is None:
            yield f"it is signed under authorisation '{number}', which '{person}' had not been given."
        elif given.withdrawn or given.expires_on < on:
            yield f"it is signed under authorisation '{number}', which did not hold on {on}."

    def _attachments(self, entry: Entry[Body]) -> Iterator[str]:
        for file in attachments_in(entry.body):
            first = self.files.setdefault(file.sha256, entry.seq)
            if first == entry.seq:
                yield from self._attachment_row(file)

    def _attachment_row(self, file: Attachment) -> Iterator[str]:
        kept = self.kept.get(file.sha256)
        if kept is None:
            yield f"its file '{file.name}' is not among the attachments."
        elif kept != (file.size, file.media_type):
            told = f"{file.size} bytes of {file.media_type} by the record"
            yield f"its file '{file.name}' is {told}, {kept[0]} of {kept[1]} by the attachments."

    def _calculation(self, seq: int, stored: Calculation) -> None:
        again = self.recompute.get((stored.name, stored.version))
        if again is None:
            self.found.not_recomputed[f"{stored.name} {stored.version}"] += 1
            return
        self.found.recomputed += 1
        try:
            differing = recomputed(stored, again, self.attachments.read)
        except Exception as error:  # whatever a calculation meets in what is stored is a finding, not the end
            self._fault(seq, f"'{stored.name}' {stored.version} fails when run again: {error}")
            return
        for what in differing[:5]:
            self._fault(seq, f"'{stored.name}' {stored.version}: {what}.")

    def _files(self) -> None:
        everything = sorted(self.kept.keys() | self.files.keys())
        for n, sha256 in enumerate(everything, 1):
            self.tell(f"attachment {n} of {len(everything)}", 0.8 + 0.2 * n / len(everything))
            self.found.attachments += 1
            what = self._file_fault(sha256)
            if what:
                self._fault(self.files.get(sha256, 0), f"attachment {sha256[:12]}… {what}")

    def _file_fault(self, sha256: str) -> str:
        try:
            with self.attachments.path_of(sha256).open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
                size = file.tell()
        except OSError as error:
            return f"cannot be read: {error.strerror}."
        except MissingAttachmentError as error:
            return error.what
        if digest != sha256:
            return "is not what was attached: its content does not give its hash."
        return "" if sha256 not in self.kept or self.kept[sha256][0] == size else "has another size."
