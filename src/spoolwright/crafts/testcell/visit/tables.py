"""Use case: the lead adopts the shop's own tables for assessing and diagnosing a type."""

from __future__ import annotations

from spoolwright.crafts.testcell.visit.model import TestTables
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body, Entry, New
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError


def keep_tables(
    desk: Desk, type_id: str, body: TestTables, before: Entry[TestTables] | None, reason: str
) -> Entry[Body]:
    """Adopt tables for a type; those adopted before stay readable, and results keep what they rest on.

    Raises
    ------
    InputError
        They replace others and no reason is given.
    NotEntitledError
        The person is not the lead.
    """
    desk.entitled(Role.LEAD)
    after = before.revision if before else 0
    if after and not reason.strip():
        raise InputError("say why the tables are changed.", mend="A few words.", where="reason")
    return desk.record(New(f"type/{type_id}/testcell", body, after=after, reason=reason.strip()))[0]
