"""Release: what is open, whether the records agree, the drafts, the pack, the signature."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.releasing import print_pack, reviewed
from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.release.compose import Asked, release_pack
from spoolwright.crafts.release.drafts import DRAFT_MARK, STATUS_WORDS
from spoolwright.crafts.release.model import PackMade, ReleaseSigned
from spoolwright.crafts.release.pack import ChainHead
from spoolwright.crafts.release.service import (
    newest_pack,
    release_shown,
    release_subject,
    set_word,
    sign_release,
)
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Entry, New
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.model import ShopKnown, VisitOpened
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, frame_of, page, redirect, sign

router = APIRouter()
WORDS = list(STATUS_WORDS)


def _shop(request: Request) -> Shop:
    return frame_of(request).shop


def _head(request: Request) -> ChainHead:
    return ChainHead(*_shop(request).records.head())


@router.get("/visit/{number}/release")
def release(
    request: Request, number: str, desk: DeskHere, folder: FolderHere, tracking: str = "", remarks: str = ""
) -> Response:
    """Everything between an engine and its release, and the drafts."""
    review = reviewed(_shop(request), folder)
    pack = newest_pack(folder)
    pack_text = release_pack(desk, folder, review, _head(request), Asked(tracking, remarks))
    return page(
        request,
        "release/release.html",
        review=review,
        pack=pack_text,
        printed=pack,
        stale=_later(folder, pack),
        packs=list(reversed(desk.records.history(f"{release_subject(number)}/pack"))),
        released=newest(folder.of(ReleaseSigned), release_subject(number)),
        tracking=tracking or f"{number}-1",
        remarks=remarks,
        shown=release_shown(review, pack, tracking, remarks) if pack and tracking else "",
        words=WORDS,
        draft_mark=DRAFT_MARK,
        opened=folder.of(VisitOpened)[-1],
        certifying=Role.CERTIFYING in desk.person.roles,
        lead=Role.LEAD in desk.person.roles,
    )


def _later(folder: Folder, pack: Entry[PackMade] | None) -> int:
    """How many records were made after the newest print."""
    if pack is None:
        return 0
    return sum(e.seq > pack.seq and e.subject != pack.subject for e in folder.entries)


@router.post("/visit/{number}/release/word")
def word(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Set the word of the release."""
    chosen = form.text("word", "the word")
    if chosen not in STATUS_WORDS:
        raise InputError(f"'{chosen}' is none of the words.", mend="Choose one.", where="word")
    set_word(desk, folder, chosen, form.after)
    return redirect(f"/visit/{number}/release")


@router.post("/visit/{number}/release/pack")
def pack(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Print the pack and keep it."""
    asked = Asked(form.get("tracking").strip(), form.get("remarks").strip())
    print_pack(_shop(request), desk, folder, asked)
    return redirect(f"/visit/{number}/release?{_asked(asked)}#packs")


@router.post("/visit/{number}/release/sign")
def sign_it(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Sign the release."""
    review, printed = reviewed(_shop(request), folder), newest_pack(folder)
    if printed is None:
        raise InputError("no pack is printed yet.", mend="Print it, look at it, then sign.")
    tracking, remarks = form.text("tracking", "the certificate's number"), form.get("remarks")
    shown = release_shown(review, printed, tracking, remarks)
    sign(request, form, desk, shown)
    made = ReleaseSigned(
        tracking_number=tracking,
        word=review.visit.word,
        remarks=remarks,
        pack_sha256=form.get("pack"),
        completed_on=folder.today,
    )
    sign_release(desk, folder, review, made, shown, form.after)
    return redirect(f"/visit/{number}/release")


def _asked(asked: Asked) -> str:
    from urllib.parse import urlencode

    return urlencode({"tracking": asked.tracking, "remarks": asked.remarks})


@router.get("/shop")
def shop(request: Request, desk: DeskHere) -> Response:
    """The shop as it stands on its papers."""
    return page(request, "release/shop.html", known=_known(desk), lead=Role.LEAD in desk.person.roles)


def _known(desk: Desk) -> Entry[ShopKnown] | None:
    return newest(desk.records.current(ShopKnown, under="shop"), "shop")


@router.post("/shop")
def record_shop(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Record or correct it."""
    desk.entitled(Role.LEAD)
    body = ShopKnown(
        name=form.text("name", "the name"),
        address=form.text("address", "the address"),
        authority=form.text("authority", "the authority"),
        approval_number=form.text("approval_number", "the approval number"),
        records_kept_years=form.whole("records_kept_years", "the years"),
        page_address=form.get("page_address").strip(),
        demonstration=form.ticked("demonstration"),
    )
    reason = form.text("reason", "the reason") if form.after else ""
    desk.record(New("shop", body, "", form.after, reason))
    return redirect("/shop")
