"""People: what each may do, and until when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import ClassVar

from spoolwright.crafts.visit.entry import Body
from spoolwright.errors import SpoolwrightError


class Role(StrEnum):
    """What a person is in the shop."""

    LEAD = "lead"
    INSPECTOR = "inspector"
    NDI_1 = "NDI level 1"
    NDI_2 = "NDI level 2"
    NDI_3 = "NDI level 3"
    BUILDER = "builder"
    TEST_OPERATOR = "test operator"
    CERTIFYING = "certifying staff"
    RECORDS = "records"
    VIEWER = "viewer"


class PersonKnown(Body):
    """A person of the shop. Subject `person/LOGIN`."""

    kind: ClassVar[str] = "person"

    login: str
    name: str
    roles: tuple[Role, ...]
    certificate: str = ""
    left_on: date | None = None


class AuthorisationGiven(Body):
    """What a person is authorised to, or a proof it needs. Subject `person/LOGIN/authorisation/NUMBER`."""

    kind: ClassVar[str] = "authorisation"

    login: str
    number: str
    role: Role
    covers: str = "all"
    rests_on: str = ""
    expires_on: date
    withdrawn: bool = False
    vision_until: date | None = None
    training_until: date | None = None

    @property
    def valid_until(self) -> date:
        """The day on which the first of authorisation, vision test and training runs out."""
        return min(d for d in (self.expires_on, self.vision_until, self.training_until) if d is not None)


@dataclass(frozen=True)
class Person:
    """A person at a desk, with the authorisations that hold today."""

    login: str
    name: str
    roles: frozenset[Role]
    authorisations: tuple[AuthorisationGiven, ...] = ()

    def authorisation_for(self, role: Role, on: date) -> AuthorisationGiven | None:
        """The authorisation under which this person may act in a role on a day."""
        held = [a for a in self.authorisations if a.role == role and not a.withdrawn and a.valid_until >= on]
        return max(held, key=lambda a: a.valid_until, default=None)


class NotEntitledError(SpoolwrightError):
    """The person may not do this: role, authorisation, or the same person who did the work."""

    exit_code = 8
