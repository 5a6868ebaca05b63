"""Use cases of the visit itself and of the shop's people."""

from __future__ import annotations

from datetime import date

from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Entry, New
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet
from spoolwright.crafts.visit.people import AuthorisationGiven, NotEntitledError, PersonKnown, Role
from spoolwright.errors import InputError


def take_note(
    desk: Desk, visit: str, key: str, text: str, *, module: str = "", files: tuple[Attachment, ...] = ()
) -> Entry[NoteTaken]:
    """Keep a remark with its files; `key` names it, so that the same form sent twice is refused once."""
    refuse_viewer(desk)
    if not text and not files:
        raise InputError("the note is empty.", mend="Write what you saw, or attach a file.", where="text")
    body = NoteTaken(text=text, module=module, files=files)
    (entry,) = desk.record(New(f"visit/{visit}/note/{key}", body, visit=visit))
    return entry  # type: ignore[return-value]


def set_stage(desk: Desk, visit: str, stage: Stage, waits_for: str, *, after: int) -> Entry[StageSet]:
    """Move an engine to another stage of work, or say what it waits for.

    Raises
    ------
    NotEntitledError
        The person is not the lead.
    """
    require_lead(desk, "moves an engine from stage to stage")
    body = StageSet(stage=stage, waits_for=waits_for)
    new = New(f"visit/{visit}/stage", body, visit=visit, after=after, reason="moved on" if after else "")
    (entry,) = desk.record(new)
    return entry  # type: ignore[return-value]


def enter_person(desk: Desk, person: PersonKnown, *, after: int, reason: str = "") -> Entry[PersonKnown]:
    """Record a person of the shop, or what changed about one.

    Raises
    ------
    NotEntitledError
        Who enters is not the lead.
    InputError
        A change without a reason, or the last lead giving up the role.
    """
    require_lead(desk, "enters people")
    _reason_for(after, reason)
    if person.login == desk.person.login and (Role.LEAD not in person.roles or person.left_on):
        raise InputError(
            "you cannot take the lead's role from yourself.", mend="Another lead does it.", where="roles"
        )
    (entry,) = desk.record(New(f"person/{person.login}", person, after=after, reason=reason))
    return entry  # type: ignore[return-value]


def give_authorisation(
    desk: Desk, given: AuthorisationGiven, *, after: int, reason: str = ""
) -> Entry[AuthorisationGiven]:
    """Record an authorisation or a proof it rests on (vision, training), its renewal or withdrawal.

    Raises
    ------
    NotEntitledError
        Who enters is not the lead.
    InputError
        Nobody has the login, a change has no reason, or the authorisation has run out before it begins.
    """
    require_lead(desk, "enters authorisations")
    _reason_for(after, reason)
    if not desk.records.current(PersonKnown, under=f"person/{given.login}"):
        raise InputError(f"nobody here has the login '{given.login[:60]}'.", mend="Enter the person first.")
    _refuse_expired(given, desk.now.date())
    subject = f"person/{given.login}/authorisation/{given.number}"
    (entry,) = desk.record(New(subject, given, after=after, reason=reason))
    return entry  # type: ignore[return-value]


def _refuse_expired(given: AuthorisationGiven, today: date) -> None:
    if given.withdrawn:
        return
    for field in ("expires_on", "vision_until", "training_until"):
        until: date | None = getattr(given, field)
        if until is not None and until < today:
            raise InputError(
                f"this would have run out on {until} already.",
                mend="Give the day on the new certificate.",
                where=field,
            )


def require_lead(desk: Desk, does: str) -> None:
    """Only the lead does this; it needs no authorisation, so that a lead can renew the lead's own."""
    if Role.LEAD not in desk.person.roles:
        raise NotEntitledError(f"only the lead {does}.", mend="Ask the lead.")


def refuse_viewer(desk: Desk) -> None:
    """Who only looks on records nothing."""
    if desk.person.roles <= {Role.VIEWER}:
        raise NotEntitledError(
            f"{desk.person.name} only looks on and records nothing.", mend="Ask somebody who works on it."
        )


def _reason_for(after: int, reason: str) -> None:
    if after and not reason:
        raise InputError("a change needs its reason.", mend="Say why it changes.", where="reason")
