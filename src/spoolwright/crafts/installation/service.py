"""Use cases after installation: enter checks, confirm a doubted one, keep what they say."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.crafts.installation.model import CheckEntered, CheckReading, ChecksCompared
from spoolwright.crafts.installation.reading import check_reading
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Body, Entry, New
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

ENTERS = (Role.LEAD, Role.RECORDS, Role.TEST_OPERATOR, Role.CERTIFYING)
"""Who may enter what the operator sent."""


def enter_checks(
    desk: Desk,
    visit: str,
    readings: Sequence[CheckReading],
    type_file: TypeFile,
    key: str,
    *,
    file: Attachment | None = None,
    lines: Sequence[int] = (),
) -> list[Entry[Body]]:
    """Keep checks as the operator made them, all or none; `key` names this entry and no other.

    Raises
    ------
    InputError
        A check cannot be what it says, or one of this day and these hours is kept already.
    NotEntitledError
        The person may not enter records.
    """
    desk.entitled(*ENTERS)
    kept = {_same(e.body.reading) for e in desk.records.current(CheckEntered, visit=visit)}
    news = []
    for i, reading in enumerate(readings):
        check_reading(reading, type_file)
        _not_to_come(desk, reading)
        if _same(reading) in kept:
            raise InputError(
                f"a check of {reading.checked_on} at {reading.hours:g} h is kept already.",
                mend="Correct that one if it is wrong; the same check is not counted twice.",
            )
        kept.add(_same(reading))
        body = CheckEntered(reading=reading, file=file, line=lines[i] if lines else None)
        news.append(New(f"visit/{visit}/installation/check/{key}-{i + 1}", body, visit=visit))
    return desk.record(*news)


def _not_to_come(desk: Desk, reading: CheckReading) -> None:
    if reading.checked_on > desk.now.date():
        raise InputError(
            f"a check of {reading.checked_on} is still to come.", mend="Correct the day.", where="checked_on"
        )


def _same(reading: CheckReading) -> tuple[object, float]:
    return reading.checked_on, reading.hours


def correct_check(
    desk: Desk, entry: Entry[CheckEntered], reading: CheckReading, type_file: TypeFile, reason: str
) -> Entry[Body]:
    """Correct what was entered; the first entry stays readable."""
    desk.entitled(*ENTERS)
    check_reading(reading, type_file)
    _not_to_come(desk, reading)
    body = entry.body.model_copy(update={"reading": reading, "confirmed": ""})
    return _again(desk, entry, body, reason)


def confirm_check(desk: Desk, entry: Entry[CheckEntered], found: str) -> Entry[Body]:
    """Say that a doubted check stands as it was read, and how that was found out.

    Raises
    ------
    InputError
        Nothing is said of how.
    """
    desk.entitled(*ENTERS)
    if len(found.strip()) < 3:
        raise InputError("say what was looked at to confirm the check.", mend="A few words.", where="found")
    body = entry.body.model_copy(update={"confirmed": found.strip()})
    return _again(desk, entry, body, f"confirmed: {found.strip()}")


def _again(desk: Desk, entry: Entry[CheckEntered], body: CheckEntered, reason: str) -> Entry[Body]:
    if not reason.strip():
        raise InputError("a correction names its reason.", mend="Give it in a few words.", where="reason")
    new = New(entry.subject, body, visit=entry.visit, after=entry.revision, reason=reason)
    return desk.record(new)[0]


def store_comparison(desk: Desk, visit: str, body: ChecksCompared) -> Entry[Body]:
    """Keep what the checks say against the bench."""
    under = f"visit/{visit}/installation/result"
    number = len(desk.records.current(ChecksCompared, visit=visit, under=under)) + 1
    return desk.record(New(f"{under}/{number}", body, visit=visit))[0]
