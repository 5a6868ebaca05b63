"""Route cards: the cards of a visit, one step large at a time, tools, and the shop's gauges."""

from __future__ import annotations

from datetime import date
from typing import Literal, cast

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.cards import hand, service, tools
from spoolwright.crafts.cards.gauges import gauges, record_gauge, state_words
from spoolwright.crafts.cards.model import CardRef, GaugeKnown, ToolMoved
from spoolwright.crafts.cards.open import card_link, open_items
from spoolwright.crafts.cards.rules import card_of
from spoolwright.crafts.cards.service import Read
from spoolwright.crafts.cards.standing import CardState, standing
from spoolwright.crafts.cards.words import progress_words
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.web.card_page import CardPage
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect, sign

router = APIRouter()

CARD = "/visit/{number}/cards/{card}/{run}"


@router.get("/visit/{number}/cards")
def cards(request: Request, number: str, folder: FolderHere) -> Response:
    """The cards of a visit by module, with how far each is."""
    states = list(standing(folder.entries, number).values())
    modules = [(m.id, m.name) for m in folder.kind.type_file.module] + [("", "Whole engine")]
    return page(
        request,
        "cards/cards.html",
        items=open_items(folder),
        modules=[(i, name, [c for c in states if c.card.module == i]) for i, name in modules],
        progress={c.ref: progress_words(c, folder.today.isoformat()) for c in states},
        places=_places(folder, states),
        kinds=[(c.id, f"{c.title}, revision {c.revision}") for c in folder.kind.shop.route_card],
    )


def _places(folder: Folder, states: list[CardState]) -> list[tuple[str, list[str], int]]:
    """Where tools are counted: the place, what is missing there, and how many lines its sheet has."""
    out = []
    for place in dict.fromkeys(c.place for c in states):
        lines = tools.count_lines(folder.entries, place)
        out.append((place, tools.differences(lines), len(lines)))
    return out


@router.post("/visit/{number}/cards")
def issue(request: Request, number: str, desk: DeskHere, form: FormHere) -> Response:
    """Issue a card."""
    ref = hand.issue_card(desk, number, form.text("card", "the card"), form.text("because", "why"))
    return redirect(f"/visit/{number}/cards/{ref.card}/{ref.run}")


@router.get("/visit/{number}/cards/tools/{place}")
def tool_sheet(request: Request, number: str, place: str, folder: FolderHere) -> Response:
    """Tools and loose items at a module."""
    places = {c.place for c in standing(folder.entries, number).values()}
    if place not in places:
        raise NotThereError(f"no card of this visit counts tools at '{place[:40]}'.", mend="See the cards.")
    lines = tools.count_lines(folder.entries, place)
    return page(
        request,
        "cards/tools.html",
        place=place,
        lines=lines,
        known=[(x.item, x.item) for x in lines],
        differences=tools.differences(lines),
        shown={x.item: tools.search_shown(number, place, x) for x in lines},
        moves=[e for e in reversed(folder.of(ToolMoved)) if e.body.module == place],
    )


@router.post("/visit/{number}/cards/tools/{place}")
def move_tool(request: Request, number: str, place: str, desk: DeskHere, form: FormHere) -> Response:
    """A tool or loose item went out or came back."""
    item = form.get("known") or form.text("item", "the item")
    moved = ToolMoved(
        module=place,
        item=item,
        sort=cast(Literal["tool", "loose item"], form.get("sort") or "tool"),
        direction=cast(Literal["out", "in"], form.text("direction", "out or back")),
        count=form.whole("count", "how many"),
    )
    tools.move_tool(desk, number, moved, form.key)
    return redirect(f"/visit/{number}/cards/tools/{place}")


@router.post("/visit/{number}/cards/tools/{place}/search")
def search(
    request: Request, number: str, place: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """The lead signs a search."""
    item, words = form.text("item", "the item"), form.text("searched", "where it was searched")
    line = next((x for x in tools.count_lines(folder.entries, place) if x.item == item), None)
    if line is None:
        raise InputError(f"'{item}' is not on the sheet.", where="item")
    shown = tools.search_shown(number, place, line)
    sign(request, form, desk, shown)
    tools.sign_search(desk, number, place, item, words, shown, form.key)
    return redirect(f"/visit/{number}/cards/tools/{place}")


@router.get(CARD)
def card_page(
    request: Request, number: str, card: str, run: int, desk: DeskHere, folder: FolderHere, step: str = ""
) -> Response:
    """A card: one step large, the list beside it."""
    state = standing(folder.entries, number).get((card, run))
    if state is None:
        raise NotThereError(f"card '{card[:40]}', run {run}, was not issued here.", mend="See the cards.")
    front = state.step(step) or state.next or state.steps[-1]
    return page(
        request,
        "cards/card.html",
        p=CardPage(state, front, folder, desk),
        progress=progress_words(state, folder.today.isoformat()),
    )


def _back(number: str, card: str, run: int, step: str = "") -> Response:
    return redirect(f"/visit/{number}/cards/{card}/{run}" + (f"?step={step}" if step else ""))


@router.post(CARD + "/take")
def take(request: Request, number: str, card: str, run: int, desk: DeskHere, form: FormHere) -> Response:
    """Take the card in hand; after an interruption, signed."""
    ref = CardRef(number, card, run)
    shown = ""
    if card_of(desk, ref).put_down is not None:
        shown = hand.take_text(desk, ref)
        sign(request, form, desk, shown)
    hand.take_card(desk, ref, shown)
    return _back(number, card, run)


@router.post(CARD + "/put-down")
def put_down(request: Request, number: str, card: str, run: int, desk: DeskHere, form: FormHere) -> Response:
    """Put the work down, or hand it over."""
    ref = CardRef(number, card, run)
    shown = hand.put_down_text(desk, ref)
    in_hand, why = form.text("in_hand", "what is in hand"), form.text("why", "why")
    begun = form.text("begun", "whether the step is begun") == "yes"
    sign(request, form, desk, shown)
    hand.put_down(desk, ref, in_hand=in_hand, why=why, begun=begun, to_login=form.get("to"), shown=shown)
    return _back(number, card, run)


def _read(form: Form, measure: str = "") -> Read:
    tail = f"_{measure}" if measure else ""
    return Read(
        entered=form.text(f"value{tail}", "the value"),
        unit=form.get(f"value{tail}_unit"),
        gauge=form.get(f"gauge{tail}"),
        decision=form.get("decision"),
    )


@router.post(CARD + "/step/{step}/reading/{measure}")
def reading(
    request: Request,
    number: str,
    card: str,
    run: int,
    step: str,
    measure: str,
    desk: DeskHere,
    form: FormHere,
) -> Response:
    """Record a value."""
    ref = CardRef(number, card, run)
    service.take_reading(desk, ref, step, measure, _read(form), after=form.after, reason=form.get("reason"))
    return _back(number, card, run, step)


@router.post(CARD + "/step/{step}/sign")
def sign_step(
    request: Request, number: str, card: str, run: int, step: str, desk: DeskHere, form: FormHere
) -> Response:
    """Sign a step."""
    ref = CardRef(number, card, run)
    shown = service.sign_text(desk, ref, step)
    sign(request, form, desk, shown)
    service.sign_step(desk, ref, step, shown, note=form.get("note"), files=form.attach(desk, "photos"))
    return _back(number, card, run, step if card_of(desk, ref).step(step).waits_for_check else "")  # type: ignore[union-attr]


@router.post(CARD + "/step/{step}/correct")
def correct(
    request: Request, number: str, card: str, run: int, step: str, desk: DeskHere, form: FormHere
) -> Response:
    """Correct a signed step."""
    ref = CardRef(number, card, run)
    state = card_of(desk, ref).step(step)
    measures = [m.id for m in state.step.measure] if state else []
    reads = {m: _read(form, m) for m in measures if form.get(f"value_{m}")}
    shown = service.correct_text(desk, ref, step)
    sign(request, form, desk, shown)
    service.correct_step(
        desk,
        ref,
        step,
        shown,
        reads=reads,
        reason=form.get("reason"),
        after=form.after,
        note=form.get("note"),
    )
    return _back(number, card, run, step)


@router.post(CARD + "/step/{step}/check")
def check(
    request: Request, number: str, card: str, run: int, step: str, desk: DeskHere, form: FormHere
) -> Response:
    """Sign the independent check."""
    ref = CardRef(number, card, run)
    shown = service.check_text(desk, ref, step)
    sign(request, form, desk, shown)
    agrees = form.text("agrees", "your finding") == "yes"
    service.check_step(desk, ref, step, shown, agrees=agrees, remark=form.get("remark"))
    return _back(number, card, run, "" if agrees else step)


@router.post(CARD + "/step/{step}/waive")
def waive(
    request: Request, number: str, card: str, run: int, step: str, desk: DeskHere, form: FormHere
) -> Response:
    """The lead signs why a step cannot be taken."""
    ref = CardRef(number, card, run)
    shown = service.waive_text(desk, ref, step)
    sign(request, form, desk, shown)
    service.waive_step(desk, ref, step, shown, form.text("because", "why it cannot be taken"))
    return _back(number, card, run)


@router.post(CARD + "/step/{step}/dispose/{measure}")
def dispose(
    request: Request,
    number: str,
    card: str,
    run: int,
    step: str,
    measure: str,
    desk: DeskHere,
    form: FormHere,
) -> Response:
    """What is done about a reading that meets no limit."""
    ref = CardRef(number, card, run)
    shown = service.dispose_text(desk, ref, step, measure)
    sign(request, form, desk, shown)
    service.dispose_reading(
        desk, ref, step, measure, shown, form.text("disposition"), form.text("document", "the document")
    )
    return _back(number, card, run, step)


@router.post(CARD + "/step/{step}/count")
def count(
    request: Request, number: str, card: str, run: int, step: str, desk: DeskHere, form: FormHere
) -> Response:
    """Sign the count of tools before a closure."""
    ref = CardRef(number, card, run)
    place = card_of(desk, ref).place
    shown = tools.count_shown(number, place, tools.sheet(desk, number, place)[0])
    sign(request, form, desk, shown)
    tools.count_tools(desk, ref, step, shown)
    return _back(number, card, run, step)


@router.post(CARD + "/revision")
def revision(request: Request, number: str, card: str, run: int, desk: DeskHere, form: FormHere) -> Response:
    """The lead decides about a newer text."""
    ref = CardRef(number, card, run)
    state = card_of(desk, ref)
    newer = hand.newer_text(state, hand.kind_of(desk, number))
    if newer is None:
        raise InputError("there is nothing to decide about this card's text.")
    shown = hand.newer_words(state, newer)
    sign(request, form, desk, shown)
    go_on = form.text("decision", "the decision") == "newer"
    hand.decide_revision(desk, ref, go_on_with_newer=go_on, shown=shown, reason=form.get("reason"))
    return _back(number, card, run)


@router.get(CARD + "/print.pdf")
def printed(
    request: Request, number: str, card: str, run: int, desk: DeskHere, folder: FolderHere
) -> Response:
    """The card on paper, with what is recorded so far."""
    from spoolwright.reports.route_card import route_card_pdf

    state = standing(folder.entries, number).get((card, run))
    if state is None:
        raise NotThereError(f"card '{card[:40]}', run {run}, was not issued here.", mend="See the cards.")
    content = route_card_pdf(
        state,
        serial=folder.of(VisitOpened)[-1].body.engine_serial,
        demonstration=folder.kind.type_file.type.demonstration,
        address=str(request.base_url).rstrip("/") + card_link(state),
        audit_head=max(folder.entries, key=lambda e: e.seq).digest,
        printed_at=desk.now,
    )
    name = f"{number}-{card}-{run}.pdf"
    return Response(
        content, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )


@router.get("/gauges")
def gauge_list(request: Request, desk: DeskHere) -> Response:
    """Gauges and tools, those due first at the top."""
    today: date = desk.now.date()
    rows = [(e, *state_words(e.body, today)) for e in gauges(desk)]
    may_enter = bool({Role.LEAD, Role.INSPECTOR, Role.RECORDS} & desk.person.roles)
    return page(request, "cards/gauges.html", rows=rows, may_enter=may_enter)


@router.post("/gauges")
def enter_gauge(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Enter a gauge or its next calibration."""
    gauge = GaugeKnown(
        id=form.text("id", "the number"),
        name=form.text("name", "what it is"),
        due_on=form.date("due_on", "the day until which it holds"),
        certificate=form.get("certificate"),
        withdrawn=form.ticked("withdrawn"),
    )
    record_gauge(desk, gauge, form.after, form.get("reason"))
    return redirect("/gauges")
