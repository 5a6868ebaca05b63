"""Use cases of the test cell in a visit: attach, log, look, dispose, acknowledge, reopen."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.visit.model import (
    ON_DATA_PLATE,
    AdjustmentMade,
    ExceedanceAcknowledged,
    Exceeded,
    LookTaken,
    ModuleReopened,
    RunAttached,
    RunDisposed,
    RunForecast,
    RunsAssessed,
    RunsDiagnosed,
    SheetAdjustment,
)
from spoolwright.crafts.testcell.visit.rules import words
from spoolwright.crafts.testcell.visit.shown import (
    acknowledgement_shown,
    adjustment_shown,
    disposition_shown,
    reopening_shown,
)
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Attachment, B, Body, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened, WorkEvent
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

STAGES_BACK = (Stage.TEARDOWN, Stage.INSPECTION, Stage.REPAIR, Stage.BUILD)
"""Stages to which a reopened engine may go back."""


def attach_run(
    desk: Desk, visit: Entry[VisitOpened], sheet: RunSheet, recording: Attachment, sheet_file: Attachment,
    *, after: int = 0, reason: str = "",
) -> Entry[Body]:  # fmt: skip
    """Attach a recorded run with its run sheet; what was attached before stays in the history.

    Raises
    ------
    InputError
        The sheet is of another engine or visit, or the recording is attached already.
    NotEntitledError
        The person is neither test operator nor lead.
    """
    desk.entitled(Role.TEST_OPERATOR, Role.LEAD)
    number = visit.body.number
    _of_this_engine(sheet, visit.body)
    for other in desk.records.current(RunAttached, visit=number):
        if other.body.recording.sha256 == recording.sha256 and other.body.run != sheet.run:
            raise InputError(
                f"'{recording.name}' is attached already, as run {other.body.run}.",
                mend="Counted twice it would seem surer than it is; attach the recording of this run.",
            )
    body = RunAttached(
        run=sheet.run,
        performed_on=sheet.performed_on,
        limit_set=sheet.limit_set,
        cell=sheet.cell.cell,
        operator=sheet.operator,
        purpose=sheet.purpose,
        recording=recording,
        sheet=sheet_file,
        adjustments=tuple(
            SheetAdjustment(kind=a.kind, at_s=a.at_s, text=a.text, by=a.by) for a in sheet.adjustment
        ),
    )
    new = New(f"{_place(number)}/run/{sheet.run}", body, visit=number, after=after, reason=reason)
    return desk.record(new)[0]


def _of_this_engine(sheet: RunSheet, visit: VisitOpened) -> None:
    if sheet.engine.serial != visit.engine_serial:
        raise InputError(
            f"the run sheet is of engine {sheet.engine.serial}, this visit is of {visit.engine_serial}.",
            mend="Attach the run to the visit of its engine, or correct the sheet.",
        )
    if sheet.engine.visit and sheet.engine.visit != visit.number:
        raise InputError(
            f"the run sheet names visit {sheet.engine.visit}, this is visit {visit.number}.",
            mend="Attach the run to the visit it was made in, or correct the sheet.",
        )
    if "/" in sheet.run or not sheet.run.strip():
        raise InputError(
            f"'{sheet.run}' is no run number.", mend="Number the runs of the visit 1, 2, 3 … on the sheets."
        )


def log_adjustment(desk: Desk, visit: str, made: AdjustmentMade) -> list[Entry[Body]]:
    """Log and sign an adjustment; the event from which work may be owed is written with it.

    Raises
    ------
    InputError
        Nothing was changed, units differ, or a data-plate entry is missing.
    NotEntitledError
        The person is neither test operator nor builder.
    """
    _check_adjustment(made)
    subject = _next(desk, visit, "adjustment", AdjustmentMade)
    new = New(subject, made, visit=visit)
    shown = adjustment_shown(made)
    event = WorkEvent(what="adjusted", item=made.what, detail=shown, happened_at=desk.now)
    return desk.record(
        signed(new, desk, Meaning.DID, shown, Role.TEST_OPERATOR, Role.BUILDER), _event(subject, visit, event)
    )


def _check_adjustment(made: AdjustmentMade) -> None:
    plated = made.what in ON_DATA_PLATE
    if plated and not (made.plate_before and made.plate_after):
        raise InputError(
            f"{words(made.what)} changes the data plate: the entry as found or as new is missing.",
            mend="Give the data-plate entry before and after.",
        )
    if not plated and (made.before is None or made.after is None):
        raise InputError(
            f"{words(made.what)}: the setting before or after is missing.",
            mend="Give both, with unit; measure the setting as found before you turn it.",
        )
    if made.before and made.after:
        if made.before.unit != made.after.unit:
            raise InputError(
                f"before is in {made.before.unit}, after in {made.after.unit}.", mend="Give both in one unit."
            )
        if made.before.value == made.after.value and made.plate_before == made.plate_after:
            raise InputError("before and after are the same: nothing was adjusted.", mend="Correct one.")


def store_assessment(desk: Desk, visit: str, body: RunsAssessed) -> Entry[Body]:
    """Keep an assessment of the visit's runs."""
    return desk.record(New(_next(desk, visit, "assessment", RunsAssessed), body, visit=visit))[0]


def take_look(desk: Desk, visit: str, look: LookTaken) -> Entry[Body]:
    """Keep what a person makes of the runs, before the tool's proposal is shown to it.

    Raises
    ------
    NotEntitledError
        The person is no test operator, lead or certifying staff.
    """
    desk.entitled(*DECIDES)
    number = look.assessment.rpartition("/")[2]
    subject = f"{_place(visit)}/look/{number}/{desk.person.login}"
    return desk.record(New(subject, look, visit=visit))[0]


DECIDES = (Role.TEST_OPERATOR, Role.CERTIFYING)
"""Who may accept or reject a run; the look before it is theirs too."""


def dispose(desk: Desk, folder: Folder, made: RunDisposed, *, after: int = 0) -> Entry[Body]:
    """Accept or reject assessed runs, signed; their margin of power is kept with it.

    Raises
    ------
    InputError
        Not the newest assessment, no look of this person before it, limits exceeded but not acknowledged,
        or a rejection without a cause.
    NotEntitledError
        The person is neither test operator nor certifying staff.
    """
    desk.entitled(*DECIDES)
    visit, now = folder.visit, standing(folder)
    newest = now.newest
    if newest is None or newest.subject != made.assessment or now.not_assessed:
        raise InputError(
            "this is not the assessment of all runs attached.", mend="Assess the runs again, then decide."
        )
    if desk.person.login not in {e.author for e in now.looks_at(made.assessment)}:
        raise InputError(
            "your own look at these runs is not recorded.",
            mend="Record it, then the proposal is shown.",
        )
    if made.decision == "rejected" and not made.cause.strip():
        raise InputError("a rejection names its cause.", mend="Give it in a few words, as the yield is kept.")
    open_ones = [x.name for _, x in now.not_acknowledged]
    if made.decision == "accepted" and open_ones:
        raise InputError(
            f"{len(open_ones)} exceedance(s) are not acknowledged: {', '.join(open_ones)}.",
            mend="Acknowledge each first; the work owed from it stays open.",
        )
    number = made.assessment.rpartition("/")[2]
    new = New(f"{_place(visit)}/disposition/{number}", made, visit=visit, after=after,
              reason=made.remark if after else "")  # fmt: skip
    shown = disposition_shown(made, newest.body)
    meaning = Meaning.ACCEPTED if made.decision == "accepted" else Meaning.DID
    return desk.record(signed(new, desk, meaning, shown, *DECIDES))[0]


def acknowledge(
    desk: Desk, visit: str, assessment: str, exceeded: Exceeded, remark: str = ""
) -> list[Entry[Body]]:
    """Acknowledge an exceedance: it clears nothing; the event from which work is owed is written with it.

    Raises
    ------
    NotEntitledError
        The person is no test operator, lead or certifying staff.
    """
    roles = (Role.TEST_OPERATOR, Role.LEAD, Role.CERTIFYING)
    body = ExceedanceAcknowledged(assessment=assessment, exceeded=exceeded, remark=remark)
    subject = f"{_place(visit)}/exceedance/{exceeded.run}/{exceeded.limit}"
    event = WorkEvent(
        what="exceedance",
        item=exceeded.limit,
        detail=f"{exceeded.sentence} {exceeded.action} ({exceeded.source})",
        happened_at=desk.now,
    )
    new = signed(
        New(subject, body, visit=visit), desk, Meaning.ACKNOWLEDGED, acknowledgement_shown(exceeded), *roles
    )
    return desk.record(new, _event(subject, visit, event))


def store_diagnosis(desk: Desk, visit: str, body: RunsDiagnosed) -> Entry[Body]:
    """Keep a diagnosis of the visit's runs."""
    return desk.record(New(_next(desk, visit, "diagnosis", RunsDiagnosed), body, visit=visit))[0]


def store_forecast(desk: Desk, visit: str, body: RunForecast) -> Entry[Body]:
    """Keep a forecast of the run to come."""
    return desk.record(New(_next(desk, visit, "forecast", RunForecast), body, visit=visit))[0]


def reopen_module(desk: Desk, visit: str, made: ModuleReopened, modules: Sequence[str]) -> list[Entry[Body]]:
    """Open a module again: signed by the lead; event and stage are written with it.

    Raises
    ------
    InputError
        The type has no such module, or the stage is none to go back to.
    NotEntitledError
        The person is not the lead.
    """
    if made.module not in modules:
        raise InputError(f"'{made.module}' is no module.", mend=f"Choose one of: {', '.join(modules)}.")
    if made.back_to not in STAGES_BACK:
        raise InputError(
            f"'{made.back_to}' is no stage to go back to.", mend=f"Choose one of: {', '.join(STAGES_BACK)}."
        )
    subject = _next(desk, visit, "reopened", ModuleReopened)
    shown = reopening_shown(made)
    stage = len(desk.records.history(f"visit/{visit}/stage"))
    event = WorkEvent(
        what="reopened", item=made.module, module=made.module, detail=shown, happened_at=desk.now
    )
    news = [
        signed(New(subject, made, visit=visit), desk, Meaning.DID, shown, Role.LEAD),
        _event(subject, visit, event),
        New(
            f"visit/{visit}/stage",
            StageSet(stage=made.back_to, waits_for=f"{words(made.module)} reopened after the run"),
            visit=visit,
            after=stage,
            reason=f"{words(made.module)} reopened" if stage else "",
        ),
    ]
    return desk.record(*news)


def _place(visit: str) -> str:
    return f"visit/{visit}/testcell"


def _next(desk: Desk, visit: str, part: str, kind: type[B]) -> str:
    """The next free subject of a kind; two people at once conflict and nothing is lost."""
    under = f"{_place(visit)}/{part}"
    return f"{under}/{len(desk.records.current(kind, visit=visit, under=under)) + 1}"


def _event(subject: str, visit: str, event: WorkEvent) -> New:
    tail = subject.removeprefix(f"visit/{visit}/")
    return New(f"visit/{visit}/event/{tail}", event, visit=visit)
