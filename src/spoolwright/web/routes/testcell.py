"""The test of a visit's engine: runs, what the tool makes of them, what people decide."""

from __future__ import annotations

from typing import Annotated, Any, Literal, cast

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.testcell.visit.model import (
    AdjustmentKind,
    LookTaken,
    RunAttached,
    RunDisposed,
    RunForecast,
    RunsAssessed,
)
from spoolwright.crafts.testcell.visit.open import open_items
from spoolwright.crafts.testcell.visit.rules import words
from spoolwright.crafts.testcell.visit.service import (
    DECIDES,
    acknowledge,
    attach_run,
    dispose,
    take_look,
)
from spoolwright.crafts.testcell.visit.shown import acknowledgement_shown, disposition_shown
from spoolwright.crafts.testcell.visit.standing import Standing, standing
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.errors import InputError
from spoolwright.web.form import Form
from spoolwright.web.frame import (
    DeskHere,
    FolderHere,
    FormHere,
    NotThereError,
    page,
    redirect,
    sign,
)
from spoolwright.web.security.content import RECORDINGS, TEXT
from spoolwright.web.testcell_views import (
    assessment_shown,
    files_of,
    how_of,
    query_of,
    testing_of,
    traces_shown,
    typed,
)

router = APIRouter()
Number = Annotated[int, Path(ge=1, le=9999)]
ROOM = "/visit/{number}/testcell"
VIEWS = ("meets", "does not meet", "cannot tell")


@router.get(ROOM)
def room(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """What is open in the test, the runs, the log, and what was found."""
    now = standing(folder)
    newest = now.newest
    return page(
        request,
        "testcell/room.html",
        items=open_items(folder),
        jobs=testing_of(request).jobs.of_visit(number),
        test=now,
        newest=newest,
        decided=now.decided,
        seen=newest is not None and may_see(desk, now, newest),
        unseen=[(x, acknowledgement_shown(x), e.subject) for e, x in now.not_acknowledged],
        forecasts=folder.of(RunForecast),
        kinds=[(k.value, words(k)) for k in AdjustmentKind],
        words=words,
        names={s.id: s.name for s in folder.kind.type_file.limit_set},
        cells={c.id: c.name for c in folder.kind.type_file.cell},
        modules={m.id: m.name for m in folder.kind.type_file.module},
    )


def may_see(desk: Desk, now: Standing, assessed: Entry[RunsAssessed]) -> bool:
    """Whether the tool's proposal may be shown: who decides looks first, others once somebody has looked."""
    looks = now.looks_at(assessed.subject)
    decides = bool(set(DECIDES) & desk.person.roles)
    return any(e.author == desk.person.login for e in looks) if decides else bool(looks)


@router.post(ROOM + "/runs")
def attach(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Attach a run, and assess all runs with it."""
    recordings = form.files("recording", RECORDINGS)
    sheets = form.files("sheet", (TEXT,))
    for name, found in (("recording", recordings), ("sheet", sheets)):
        if len(found) != 1:
            raise InputError(f"choose one {name} of one run.", where=name)
    sheet = _sheet(sheets[0], folder)
    before = next((e for e in folder.of(RunAttached) if e.body.run == sheet.run), None)
    if before is not None and not form.get("reason"):
        raise InputError(
            f"run {sheet.run} is attached already. Say why it is corrected; the first stays readable.",
            where="reason",
        )
    kept = [desk.attachments.keep(content, name, kind.media_type) for content, name, kind in
            (*recordings, *sheets)]  # fmt: skip
    (visit,) = folder.of(VisitOpened)
    after = before.revision if before else 0
    attach_run(desk, visit, sheet, kept[0], kept[1], after=after, reason=form.get("reason"))
    return _assess(request, number, desk)


def _sheet(file: tuple[bytes, str, Any], folder: Folder) -> Any:
    """The run sheet, read and checked."""
    import tempfile
    from pathlib import Path as File

    from spoolwright.sources.runsheet import read_run_sheet

    with tempfile.TemporaryDirectory() as place:
        path = File(place) / File(file[1]).name
        path.write_bytes(file[0])
        try:
            return read_run_sheet(path, folder.kind.type_file)
        except InputError as error:
            raise InputError(str(error).replace(f"{place}/", ""), where="sheet") from error


@router.post(ROOM + "/assess")
def assess(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Assess all runs again."""
    return _assess(request, number, desk)


def _assess(request: Request, number: str, desk: Desk) -> Response:
    testing = testing_of(request)
    testing.assess(testing.shop.folder(number, desk.now.date()), desk.person.login)
    return redirect(f"/visit/{number}/testcell")


@router.get(ROOM + "/jobs")
def jobs(request: Request, number: str, folder: FolderHere) -> Response:
    """How far the work is; the page is fetched anew once it is done."""
    found = testing_of(request).jobs.of_visit(number)
    answer = page(request, "testcell/jobs.html", jobs=found)
    if not any(not j.over for j in found):
        answer.headers["HX-Refresh"] = "true"
    return answer


def assessed_of(folder: Folder, k: int) -> Entry[RunsAssessed]:
    """An assessment by its number.

    Raises
    ------
    NotThereError
        There is none.
    """
    subject = f"visit/{folder.visit}/testcell/assessment/{k}"
    found = next((e for e in folder.of(RunsAssessed) if e.subject == subject), None)
    if found is None:
        raise NotThereError(f"there is no assessment {k} in this visit.", mend="Look at the test's page.")
    return found


@router.get(ROOM + "/assessment/{k}")
def assessment(request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere) -> Response:
    """The tool's proposal with everything behind it, or first the form for one's own look."""
    entry, now = assessed_of(folder, k), standing(folder)
    see = may_see(desk, now, entry)
    shown = assessment_shown(files_of(desk), entry.body.result.sha256) if see else {}
    return page(
        request,
        "testcell/assessment.html" if see else "testcell/look.html",
        entry=entry,
        k=k,
        views=VIEWS,
        traces=traces_shown(files_of(desk), entry.body.traces.sha256) if entry.body.traces else {},
        runs=[e for e in now.runs if e.body.run in entry.body.runs],
        looks=now.looks_at(entry.subject),
        decided=now.disposition_of(entry.subject),
        is_newest=now.newest is not None and now.newest.subject == entry.subject and not now.not_assessed,
        may_decide=bool(set(DECIDES) & desk.person.roles),
        undecided=now.undecided,
        **shown,
    )


@router.get(ROOM + "/assessment/{k}/how/{id:path}")
def why(request: Request, number: str, k: Number, id: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Why a figure is what it is."""
    entry = assessed_of(folder, k)
    if not may_see(desk, standing(folder), entry):
        raise NotThereError("record your own look first.", mend="Then the proposal is shown.")
    found = how_of(files_of(desk), entry.body.result.sha256, "assessment", id)
    place = f"/visit/{number}/testcell/assessment/{k}"
    return page(request, "testcell/how.html", entry=entry, place=place, back="The assessment", **found)


@router.post(ROOM + "/assessment/{k}/look")
def look(
    request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Keep a person's own look."""
    view = form.text("view", "what you make of it")
    if view not in VIEWS:
        raise InputError("choose one of the three.", where="view")
    taken = LookTaken(
        assessment=assessed_of(folder, k).subject,
        view=cast(Literal["meets", "does not meet", "cannot tell"], view),
        words=form.text("words", "what you saw"),
    )
    take_look(desk, number, taken)
    return redirect(f"/visit/{number}/testcell/assessment/{k}")


def _disposition(folder: Folder, k: int, form: Form) -> RunDisposed:
    decision = form.text("decision", "the decision")
    if decision not in ("accepted", "rejected"):
        raise InputError("accept or reject.", where="decision")
    if decision == "rejected" and not form.get("cause"):
        raise InputError(
            "a rejection names its cause.", mend="A few words; the yield counts it.", where="cause"
        )
    return RunDisposed(
        assessment=assessed_of(folder, k).subject,
        runs=standing(folder).undecided,
        decision=cast(Literal["accepted", "rejected"], decision),
        cause=form.get("cause") if decision == "rejected" else "",
        remark=form.get("remark"),
    )


@router.post(ROOM + "/assessment/{k}/decide/check")
def check_decision(
    request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """See that the decision is whole, then show what is signed."""
    _disposition(folder, k, form)
    return redirect(f"/visit/{number}/testcell/assessment/{k}/decide?{query_of(form)}")


@router.get(ROOM + "/assessment/{k}/decide")
def decide_page(request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere) -> Response:
    """What is signed."""
    entry, made = assessed_of(folder, k), _disposition(folder, k, typed(request))
    before = standing(folder).disposition_of(entry.subject)
    return page(
        request,
        "testcell/sign.html",
        title="Accept the run" if made.decision == "accepted" else "Reject the run",
        shown=disposition_shown(made, entry.body),
        meaning="accepted it" if made.decision == "accepted" else "did this work",
        action=f"/visit/{number}/testcell/assessment/{k}/decide",
        hidden={"decision": made.decision, "cause": made.cause, "remark": made.remark},
        back=f"/visit/{number}/testcell/assessment/{k}",
        after=before.revision if before else 0,
    )


@router.post(ROOM + "/assessment/{k}/decide")
def decide(
    request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Accept or reject, signed."""
    made = _disposition(folder, k, form)
    sign(request, form, desk, disposition_shown(made, assessed_of(folder, k).body))
    dispose(desk, folder, made, after=form.after)
    return redirect(f"/visit/{number}/testcell")


@router.post(ROOM + "/exceeded")
def exceeded(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Acknowledge an exceedance; nothing is cleared by it."""
    asked = (form.text("run"), form.text("limit"))
    for entry, x in standing(folder).not_acknowledged:
        if (x.run, x.limit) == asked:
            sign(request, form, desk, acknowledgement_shown(x))
            acknowledge(desk, number, entry.subject, x, form.get("remark"))
            return redirect(f"/visit/{number}/testcell#exceeded")
    raise InputError("this exceedance is acknowledged already, or is none.", mend="Open the page again.")
