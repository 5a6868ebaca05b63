"""Use cases of receiving."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.receiving.checklist import checklist, document_subject
from spoolwright.crafts.receiving.known import answer_to, doubt_subject, doubts_of, opened
from spoolwright.crafts.receiving.model import (
    DocumentReceived,
    DoubtAnswered,
    EngineAtVisit,
    EngineReceived,
    ModuleReceived,
    ReceivingDecided,
)
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.parts import (
    Counts,
    ModuleFitted,
    PartFitted,
    engine_subject,
    module_subject,
    part_subject,
)
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

WRITERS = (Role.INSPECTOR, Role.RECORDS, Role.LEAD)


@dataclass(frozen=True)
class Saw:
    """The revision a writer saw, and why it is corrected; nothing for a first record."""

    revision: int = 0
    reason: str = ""


FIRST = Saw()


def open_visit(desk: Desk, visit: VisitOpened, counts: Counts) -> list[Entry[Body]]:
    """Open a visit, with the engine's counts as its papers say them.

    Raises
    ------
    InputError
        The number is taken.
    """
    desk.entitled(*WRITERS)
    desk.types.of(visit.type_id)
    for entry in desk.records.history(f"visit/{visit.number}")[-1:]:
        raise InputError(
            f"visit {visit.number} was opened by {entry.author} on {entry.at:%Y-%m-%d}.",
            mend="Take the next free number.",
            where="number",
        )
    visit = _with_counts(visit, counts)
    at_visit = EngineAtVisit(
        visit=visit.number, engine_serial=visit.engine_serial, received_on=visit.received_on, counts=counts
    )
    return desk.record(
        New(f"visit/{visit.number}", visit, visit=visit.number),
        New(f"visit/{visit.number}/stage", StageSet(stage=Stage.RECEIVING), visit=visit.number),
        New(engine_subject(visit.engine_serial, "visit", visit.number), at_visit, visit=visit.number),
    )


def _with_counts(visit: VisitOpened, counts: Counts) -> VisitOpened:
    return visit.model_copy(
        update={
            "time_since_new_h": counts.hours_since_new,
            "cycles_since_new": counts.cycles_since_new,
            "starts_since_new": counts.starts_since_new,
        }
    )


def correct_visit(desk: Desk, folder: Folder, visit: VisitOpened, counts: Counts, saw: Saw) -> None:
    """Correct what was recorded at opening; a corrected serial leaves the wrong engine's history marked."""
    desk.entitled(*WRITERS)
    was = opened(folder)
    if visit.number != was.number:
        raise InputError(
            "the number of a visit is not corrected.", mend="Open another visit.", where="number"
        )
    _reason(saw)
    at_visit = EngineAtVisit(
        visit=visit.number, engine_serial=visit.engine_serial, received_on=visit.received_on, counts=counts
    )
    news = [
        New(f"visit/{visit.number}", _with_counts(visit, counts), visit.number, saw.revision, saw.reason),
        _again(
            desk, engine_subject(visit.engine_serial, "visit", visit.number), at_visit, folder, saw.reason
        ),
    ]
    if visit.engine_serial != was.engine_serial:
        wrong = at_visit.model_copy(update={"engine_serial": was.engine_serial, "withdrawn": True})
        subject = engine_subject(was.engine_serial, "visit", visit.number)
        news.append(_again(desk, subject, wrong, folder, saw.reason))
    desk.record(*news)


def _again(desk: Desk, subject: str, body: Body, folder: Folder, reason: str) -> New:
    """A record after whatever stands there now."""
    past = desk.records.history(subject)
    return New(subject, body, folder.visit, len(past), reason if past else "")


def _reason(saw: Saw) -> None:
    if saw.revision and not saw.reason.strip():
        raise InputError("a correction without a reason.", mend="Say why it is corrected.", where="reason")


def record_engine(desk: Desk, folder: Folder, engine: EngineReceived, saw: Saw = FIRST) -> Entry[Body]:
    """Record how the engine came."""
    desk.entitled(*WRITERS)
    _reason(saw)
    subject = f"visit/{folder.visit}/receiving/engine"
    (entry,) = desk.record(New(subject, engine, folder.visit, saw.revision, saw.reason))
    return entry


def record_module(desk: Desk, folder: Folder, module: ModuleReceived, saw: Saw = FIRST) -> Entry[Body]:
    """Record a module by serial, in the visit, on its engine, and under its own serial."""
    desk.entitled(*WRITERS)
    _reason(saw)
    if module.module not in {m.id for m in folder.kind.type_file.module}:
        names = ", ".join(m.id for m in folder.kind.type_file.module)
        raise InputError(
            f"the type has no module '{module.module}'.", mend=f"Its modules are {names}.", where="module"
        )
    visit = opened(folder)
    fitted = ModuleFitted(
        engine_serial=visit.engine_serial,
        module=module.module,
        serial=module.serial,
        visit=folder.visit,
        on=visit.received_on,
        counts=module.counts,
    )
    subject = f"visit/{folder.visit}/receiving/module/{module.module}"
    on_engine = engine_subject(visit.engine_serial, "module", module.module)
    misread = [
        _again(
            desk, module_subject(e.body.module, e.body.serial), _withdrawn(fitted, e.body), folder, saw.reason
        )
        for e in folder.of(ModuleReceived)
        if e.subject == subject and e.body.serial != module.serial
    ]
    entry, *_ = desk.record(
        New(subject, module, folder.visit, saw.revision, saw.reason),
        _again(desk, on_engine, fitted, folder, saw.reason),
        _again(desk, module_subject(module.module, module.serial), fitted, folder, saw.reason),
        *misread,
    )
    return entry


def _withdrawn(fitted: ModuleFitted, was: ModuleReceived) -> ModuleFitted:
    """That a module whose serial was misread never was in this engine."""
    return fitted.model_copy(update={"serial": was.serial, "counts": was.counts, "withdrawn": True})


def record_document(desk: Desk, folder: Folder, document: DocumentReceived, saw: Saw = FIRST) -> Entry[Body]:
    """Record what was found of a document on the checklist; a change of its state needs no other reason."""
    (entry,) = record_documents(desk, folder, [(document, saw)])
    return entry


def record_documents(
    desk: Desk, folder: Folder, documents: Sequence[tuple[DocumentReceived, Saw]]
) -> list[Entry[Body]]:
    """Record what was found of several documents: all or none."""
    desk.entitled(*WRITERS)
    known = {line.subject for line in checklist(folder)}
    news = []
    for document, saw in documents:
        subject = document_subject(folder.visit, document.document, document.module)
        if subject not in known:
            told = f"'{document.document}' is not on the checklist."
            raise InputError(told, mend="Take one of its lines.", where="document")
        reason = saw.reason or ("looked for again" if saw.revision else "")
        news.append(New(subject, document, folder.visit, saw.revision, reason))
    return desk.record(*news) if news else []


def record_parts(desk: Desk, folder: Folder, parts: Sequence[PartFitted]) -> list[Entry[Body]]:
    """Record parts by serial: all or none. A part that is recorded so already is left as it is."""
    desk.entitled(*WRITERS)
    news = []
    for part in parts:
        subject = part_subject(part.part_number, part.serial, "fit")
        past = desk.records.history(subject)
        if past and past[-1].body == part and past[-1].visit == folder.visit:
            continue
        reason = f"received at visit {folder.visit}" if past else ""
        news.append(New(subject, part, folder.visit, len(past), reason))
    if len({n.subject for n in news}) < len(news):
        raise InputError(
            "a part number and serial stands there twice.", mend="Each part once.", where="serial"
        )
    return desk.record(*news) if news else []


def answer_doubt(desk: Desk, folder: Folder, key: str, answer: DoubtAnswered) -> Entry[Body]:
    """Record what was found about something implausible."""
    desk.entitled(*WRITERS)
    doubt = next((d for d in doubts_of(folder, desk.records) if d.key == key), None)
    if doubt is None or doubt.text != answer.doubt:
        raise InputError(
            "the doubt no longer stands in these words.", mend="Read it again, then answer.", where=key
        )
    (entry,) = desk.record(_again(desk, doubt_subject(folder.visit, key), answer, folder, "answered again"))
    return entry


def not_yet(desk: Desk, folder: Folder) -> list[str]:
    """What must be recorded before the engine can be accepted into work, in words."""
    told = []
    if not folder.of(EngineReceived):
        told.append("how the engine came")
    seen = {e.body.module for e in folder.of(ModuleReceived)}
    told += [f"{m.name}: serial and counts" for m in folder.kind.type_file.module if m.id not in seen]
    told += [f"{line.words}: looked for or not" for line in checklist(folder) if line.found is None]
    told += [d.text for d in doubts_of(folder, desk.records) if answer_to(folder, d) is None]
    return told


def decision_shown(folder: Folder, decided: ReceivingDecided) -> str:
    """The sentence that is signed."""
    visit = opened(folder)
    absent = [line.words for line in checklist(folder) if line.state == "absent"]
    papers = f"Absent: {'; '.join(absent)}." if absent else "No document of the checklist is absent."
    because = f" {decided.reason}" if decided.reason else ""
    return (
        f"Engine {visit.engine_serial}, visit {visit.number}, received on {visit.received_on}: "
        f"{decided.decision}.{because} {papers}"
    )


def decide_receiving(
    desk: Desk, folder: Folder, decided: ReceivingDecided, shown: str, saw: Saw = FIRST
) -> Entry[Body]:
    """Accept the engine into work, or quarantine it: the inspector's signature.

    Raises
    ------
    InputError
        Acceptance with something unrecorded, quarantine without a reason, or not the sentence shown.
    """
    if decided.decision == "quarantined" and not decided.reason.strip():
        raise InputError(
            "quarantined without a reason.", mend="Say what must be settled first.", where="reason"
        )
    missing = not_yet(desk, folder) if decided.decision == "accepted" else []
    if missing:
        raise InputError(
            "the engine cannot be accepted yet. Not recorded or not answered: " + "; ".join(missing),
            mend="Record it, or quarantine the engine with the reason.",
            where="decision",
        )
    if shown != decision_shown(folder, decided):
        raise InputError(
            "what was shown is not what stands now.", mend="Read it again, then sign.", where="decision"
        )
    reason = saw.reason or ("decided again" if saw.revision else "")
    new = New(f"visit/{folder.visit}/receiving/decision", decided, folder.visit, saw.revision, reason)
    (entry,) = desk.record(signed(new, desk, Meaning.ACCEPTED, shown, Role.INSPECTOR))
    return entry
