"""What the shop's records say of an engine, its modules and parts from before a visit."""

from __future__ import annotations

from spoolwright.crafts.receiving.doubts import Doubt, Known, doubts
from spoolwright.crafts.receiving.model import DoubtAnswered, EngineAtVisit, ModuleReceived
from spoolwright.crafts.visit.entry import B, Entry, Records
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.parts import (
    Counts,
    ModuleFitted,
    PartFitted,
    engine_subject,
    module_subject,
    segment,
)
from spoolwright.errors import InputError

GONE = (Stage.SHIPPED, Stage.INSTALLED)


def opened(folder: Folder) -> VisitOpened:
    """The visit itself."""
    for entry in folder.of(VisitOpened):
        return entry.body
    raise InputError(f"there is no visit {folder.visit}.", mend="Open it under Receive.")


def counts_of(folder: Folder) -> Counts:
    """The engine's counts as they were received."""
    return next((e.body.counts for e in folder.of(EngineAtVisit) if not e.body.withdrawn), Counts())


def visits_of(records: Records, serial: str) -> list[EngineAtVisit]:
    """Every visit of an engine, oldest first."""
    found = records.current(EngineAtVisit, under=engine_subject(serial, "visit"))
    return sorted((e.body for e in found if not e.body.withdrawn), key=lambda b: b.received_on)


def in_shop(records: Records, serial: str) -> list[str]:
    """The open visits of an engine."""
    return [v.visit for v in visits_of(records, serial) if not _gone(records, v.visit)]


def _gone(records: Records, visit: str) -> bool:
    stages = records.current(StageSet, under=f"visit/{visit}/stage")
    return any(e.body.stage in GONE for e in stages)


def _before(records: Records, subject: str, visit: str, kind: type[B]) -> list[Entry[B]]:
    """The last revision of a subject that another visit wrote and did not withdraw."""
    history = records.history(subject)
    withdrawn = {e.visit for e in history if getattr(e.body, "withdrawn", False)} | {visit}
    past = [e for e in history if e.visit not in withdrawn and isinstance(e.body, kind)]
    return past[-1:]  # type: ignore[return-value]


def known_of(folder: Folder, records: Records) -> Known:
    """What was known before this visit."""
    visit = opened(folder)
    modules = [
        e.body
        for m in folder.of(ModuleReceived)
        for e in _before(records, module_subject(m.body.module, m.body.serial), folder.visit, ModuleFitted)
    ]
    parts = [
        e.body
        for p in folder.of(PartFitted)
        if p.revision > 1
        for e in _before(records, p.subject, folder.visit, PartFitted)
    ]
    others = [v for v in in_shop(records, visit.engine_serial) if v != folder.visit]
    earlier = [v for v in visits_of(records, visit.engine_serial) if v.visit != folder.visit]
    return Known(tuple(earlier), tuple(others), tuple(modules), tuple(parts))


def doubts_of(folder: Folder, records: Records) -> list[Doubt]:
    """Everything implausible about a visit's receiving, answered or not."""
    return doubts(
        opened(folder),
        counts_of(folder),
        [e.body for e in folder.of(ModuleReceived)],
        [e.body for e in folder.of(PartFitted)],
        known_of(folder, records),
        folder.kind.shop.part,
        folder.today,
    )


def doubt_subject(visit: str, key: str) -> str:
    """Where the answer to a doubt is recorded."""
    return f"visit/{visit}/receiving/doubt/{segment(key)}"


def answer_to(folder: Folder, doubt: Doubt) -> Entry[DoubtAnswered] | None:
    """The answer to a doubt, if it was given to these very words."""
    subject = doubt_subject(folder.visit, doubt.key)
    return next(
        (e for e in folder.of(DoubtAnswered) if e.subject == subject and e.body.doubt == doubt.text), None
    )
