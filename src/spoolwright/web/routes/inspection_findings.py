"""Findings after they are recorded: the own look, the decision, correction, answer, blend, replacement."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.inspection import deciding, service
from spoolwright.crafts.inspection.deciding import Choice
from spoolwright.crafts.inspection.entering import COLUMNS, finding_from
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import BlendDone, Decision, EngineeringAnswered
from spoolwright.crafts.inspection.open import stage_link
from spoolwright.crafts.inspection.standing import FindingState, StageState
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect, sign
from spoolwright.web.inspection_page import DECISIONS, InspectionPage
from spoolwright.web.routes.inspection import PART, here

router = APIRouter()

ONE = PART + "/finding/{n}"


def _decision(text: str) -> Decision:
    if text not in DECISIONS:
        raise InputError(f"'{text[:30]}' is no decision.", mend=f"One of: {', '.join(DECISIONS)}.")
    return text


def _back(stage: StageState, place: str) -> Response:
    return redirect(f"{stage_link(stage.visit, stage.part.id, stage.serial)}#{place}")


@router.post(PART + "/views")
def views(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """The person's own look at findings."""
    stage = here(desk, folder, part, form.get("serial"))
    given = {
        f.number: _decision(form.get(f"view_{f.number}"))
        for f in stage.standing
        if form.get(f"view_{f.number}")
    }
    if not given:
        raise InputError("no view is given.", mend="Choose for at least one finding.")
    deciding.give_views(desk, stage, given)
    return _back(stage, "decide")


def _choices(stage: StageState, said: dict[str, str]) -> list[Choice]:
    return [
        Choice(f.number, _decision(said[f"decided_{f.number}"]), said.get(f"reason_{f.number}", "").strip())
        for f in stage.standing
        if said.get(f"decided_{f.number}")
    ]


@router.get(PART + "/sign")
def signing(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, serial: str = ""
) -> Response:
    """What is signed for the decisions that were chosen."""
    stage = here(desk, folder, part, serial)
    said = dict(request.query_params)
    choices = _choices(stage, said)
    for choice in choices:  # the proposal stands in what is signed: the own look comes first
        if deciding.finding_of(stage, choice.number).view_of(desk.person.login) is None:
            what = f"your own view of finding {choice.number} is not recorded."
            raise InputError(what, mend="Look at it and give your view first.")
    p = InspectionPage(stage, folder, desk, said)
    hidden = {k: v for k, v in said.items() if k.startswith(("decided_", "reason_")) and v.strip()}
    unreasoned = [
        c.number
        for c in choices
        if not c.reason and c.decided != p.proposed(deciding.finding_of(stage, c.number))
    ]
    shown = deciding.accept_shown(folder, stage, choices) if choices else ""
    return page(request, "inspection/sign.html", p=p, hidden=hidden, shown=shown, unreasoned=unreasoned)


@router.post(PART + "/accept")
def accept(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Sign decisions."""
    stage = here(desk, folder, part, form.get("serial"))
    choices = _choices(stage, {k: form.get(k) for k in form.values})
    shown = deciding.accept_shown(folder, stage, choices)
    sign(request, form, desk, shown)
    deciding.accept(desk, stage, choices, shown)
    return _back(stage, "findings")


@router.get(PART + "/whole")
def wholly(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, serial: str = ""
) -> Response:
    """What is signed when a part was looked at whole."""
    stage = here(desk, folder, part, serial)
    p = InspectionPage(stage, folder, desk, request.query_params)
    return page(request, "inspection/whole.html", p=p)


@router.post(PART + "/whole")
def sign_whole(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Sign that a part was looked at whole."""
    stage = here(desk, folder, part, form.get("serial"))
    method, not_seen = form.text("method", "how"), form.get("not_seen")
    shown = service.whole_shown(stage, method, not_seen)
    sign(request, form, desk, shown)
    service.sign_whole(desk, stage, method, not_seen, shown, after=form.after)
    return _back(stage, "findings")


@router.get(ONE)
def finding_page(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, serial: str = ""
) -> Response:
    """A finding with its arithmetic, and what can be done about it."""
    stage = here(desk, folder, part, serial)
    finding = _finding(stage, n)
    p = InspectionPage(stage, folder, desk, request.query_params)
    shown = {
        "blend": deciding.blend_shown(folder, finding),
        "replaced": deciding.replaced_shown(folder, finding),
    }
    return page(request, "inspection/finding.html", p=p, f=finding, shown=shown)


def _finding(stage: StageState, n: int) -> FindingState:
    finding = stage.finding(n)
    if finding is None:
        raise NotThereError(f"there is no finding {n} here.", mend="See the list.")
    return finding


def _at(desk: Desk, folder: Folder, part: str, n: int, form: Form) -> tuple[StageState, FindingState]:
    stage = here(desk, folder, part, form.get("serial"))
    return stage, _finding(stage, n)


@router.post(ONE + "/correct")
def correct(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Correct a finding."""
    stage, finding = _at(desk, folder, part, n, form)
    words = {name: form.get(name) for name in COLUMNS} | {"part": part, "serial": stage.serial}
    photographs = (*finding.body.photographs, *form.attach(desk, "photos"))
    body = finding_from(words, stage.part, photographs)
    service.correct_finding(desk, folder, finding, body, after=form.after, reason=form.get("reason"))
    return _back(stage, f"finding-{n}")


@router.post(ONE + "/withdraw")
def withdraw(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """It was no damage."""
    stage, finding = _at(desk, folder, part, n, form)
    service.withdraw_finding(desk, folder, finding, after=form.after, reason=form.get("reason"))
    return _back(stage, "findings")


@router.get(ONE + "/answer")
def answering(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere,
    serial: str = "", answer: str = "", document: str = "",
) -> Response:  # fmt: skip
    """What is signed when engineering's answer is entered."""
    stage = here(desk, folder, part, serial)
    finding = _finding(stage, n)
    p = InspectionPage(stage, folder, desk, request.query_params)
    shown = deciding.answer_shown(folder, finding, answer, document)
    return page(
        request, "inspection/answer.html", p=p, f=finding, shown=shown, answer=answer, document=document
    )


@router.post(ONE + "/answer")
def answer(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Enter engineering's answer, signed."""
    stage, finding = _at(desk, folder, part, n, form)
    said, document = form.text("answer", "the answer"), form.text("document", "the document")
    shown = deciding.answer_shown(folder, finding, said, document)
    sign(request, form, desk, shown)
    body = EngineeringAnswered.model_validate(
        {
            "finding": finding.entry.subject,
            "finding_revision": finding.entry.revision,
            "answer": said,
            "document": document,
            "words": form.get("words"),
            "files": form.attach(desk, "files"),
        }
    )
    deciding.record_answer(desk, folder, finding, body, shown, after=form.after)
    return _back(stage, f"finding-{n}")


@router.post(ONE + "/blend")
def blend(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a blend as measured, signed."""
    stage, finding = _at(desk, folder, part, n, form)
    shown = deciding.blend_shown(folder, finding)
    depth, length = _size(form, "depth"), _size(form, "length")
    if depth is None or length is None:
        raise InputError("depth and length of the blend are needed.", mend="Measure both.", where="depth")
    sign(request, form, desk, shown)
    body = BlendDone(
        finding=finding.entry.subject,
        depth=depth,
        length=length,
        radius=_size(form, "radius"),
        moment_weight_lost=form.get("moment_weight_lost"),
        remark=form.get("remark"),
    )
    deciding.record_blend(desk, stage, finding, body, shown, after=form.after)
    return _back(stage, f"finding-{n}")


def _size(form: Form, name: str) -> Size | None:
    if not form.get(name):
        return None
    form.number(name)  # told beside its field
    return Size.model_validate(
        {"value": form.get(name), "unit": form.get("unit"), "uncertainty": form.get("uncertainty")}
    )


@router.post(ONE + "/replaced")
def replaced(
    request: Request, number: str, part: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record that the blade or part was replaced, signed."""
    stage, finding = _at(desk, folder, part, n, form)
    shown = deciding.replaced_shown(folder, finding)
    sign(request, form, desk, shown)
    deciding.record_replaced(desk, stage, finding, form.get("new_serial"), form.get("remark"), shown)
    return _back(stage, f"finding-{n}")
