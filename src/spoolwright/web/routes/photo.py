"""A photograph of a visit, measured: marks on it, the length they give, its way into a finding."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.inspection import photo, service
from spoolwright.crafts.inspection.entering import SIZES, part_named
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.photo import PhotoMeasured, Typed, photo_link
from spoolwright.crafts.inspection.standing import FindingState
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Body, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect
from spoolwright.web.inspection_page import FIELDS
from spoolwright.web.security.content import JPEG, PNG, WEBP

router = APIRouter()

PHOTO = "/visit/{number}/inspection/photo/{sha256}"
Hash = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
SHOWN = {kind.media_type for kind in (JPEG, PNG, WEBP)}


@router.get(PHOTO)
def measuring(request: Request, number: str, sha256: Hash, folder: FolderHere) -> Response:
    """The photograph with its measurements, and the form for another."""
    picture, holders = _picture(folder, sha256)
    held = photo.measurements(folder, sha256)
    findings = [
        (e.subject, service.finding_words(folder, e.body), _finding_link(number, e.subject, e.body))
        for e in holders
        if isinstance(e.body, FindingRecorded) and not e.body.withdrawn
    ]
    return page(
        request,
        "photo/photo.html",
        picture=picture,
        is_shown=picture.media_type in SHOWN,
        link=photo_link(number, sha256),
        held=held,
        start=_start(held),
        findings=findings,
        fields={name: FIELDS[name] for name in SIZES},
        notes=(photo.DEPTH, photo.LENS),
    )


@router.post(PHOTO)
def measure(
    request: Request, number: str, sha256: Hash, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Keep a measurement."""
    picture, _ = _picture(folder, sha256)
    typed = Typed(**{name: form.get(name) for name in Typed.model_fields})
    photo.record_photo(desk, folder, photo.measured(picture, typed), form.key)
    return redirect(f"{photo_link(number, sha256)}#measured")


@router.post(PHOTO + "/withdraw")
def withdraw(
    request: Request, number: str, sha256: Hash, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """A measurement that does not hold."""
    entry = _measurement(folder, sha256, form)
    photo.withdraw_photo(desk, folder, entry, after=form.after, reason=form.get("reason"))
    return redirect(f"{photo_link(number, sha256)}#measured")


@router.post(PHOTO + "/put")
def put(
    request: Request, number: str, sha256: Hash, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Put a measured length into a finding that holds the photograph."""
    entry = _measurement(folder, sha256, form)
    finding = _finding(desk, folder, sha256, form.text("finding", "the finding"))
    field = form.text("field", "which length")
    if field not in SIZES:
        raise InputError(f"'{field[:30]}' is no length of a finding.", where="field", mend=", ".join(SIZES))
    body = finding.body.model_copy(update={field: photo.size_from(entry.body), "method": "photograph"})
    reason = f"{FIELDS[field].lower()} measured in the photograph {entry.body.photograph.name}"
    service.correct_finding(desk, folder, finding, body, after=finding.entry.revision, reason=reason)
    return redirect(_finding_link(number, finding.entry.subject, body))


def _finding_link(number: str, subject: str, body: FindingRecorded) -> str:
    serial = f"?serial={quote(body.serial, safe='')}" if body.serial else ""
    return f"/visit/{number}/inspection/{body.part}/finding/{subject.rsplit('/', 1)[1]}{serial}"


def _picture(folder: Folder, sha256: str) -> tuple[Attachment, list[Entry[Body]]]:
    known = photo.photographs(folder).get(sha256)
    if known is None:
        raise NotThereError(
            "no record of this visit holds this photograph.", mend="Open it from its finding."
        )
    return known


def _measurement(folder: Folder, sha256: str, form: Form) -> Entry[PhotoMeasured]:
    asked = form.get("measurement")
    found = next((e for e in photo.measurements(folder, sha256) if e.subject == asked), None)
    if found is None:
        raise NotThereError("there is no such measurement.", mend="See the list.")
    return found


def _finding(desk: Desk, folder: Folder, sha256: str, subject: str) -> FindingState:
    for entry in _picture(folder, sha256)[1]:
        if entry.subject == subject and isinstance(entry.body, FindingRecorded):
            part = part_named(folder.kind.shop.inspected_part, entry.body.part)
            stage = service.stage_of(desk, folder, part.id, entry.body.serial)
            if (state := stage.finding(int(subject.rsplit("/", 1)[1]))) is not None:
                return state
    raise NotThereError("no such finding holds this photograph.", mend="See the list.")


def _start(held: list[Entry[PhotoMeasured]]) -> Typed:
    """What the form begins with: the scale as it was marked last."""
    if not held:
        return Typed()
    last = held[0].body
    kept = (
        "path",
        "scale",
        "known",
        "known_uncertainty",
        "unit",
        "scale_mark_px",
        "damage_mark_px",
        "offset_percent",
    )
    tilt = {"tilt_deg": last.tilt_deg, "distance": last.distance} if last.scale == "rule" else {}
    marks = "\n".join(f"{x:g} {y:g}" for x, y in last.scale_marks)
    return Typed(**{name: getattr(last, name) for name in kept}, **tilt, scale_marks=marks)
