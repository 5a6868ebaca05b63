"""The record explorer: any entry, and why a number is what it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.bootstrap.recomputing import attachments_in, calculations_in, recomputed
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import KINDS, Body, Calculation, Entry
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.errors import SpoolwrightError
from spoolwright.store.finding import find_entries, previous_digest
from spoolwright.web.frame import DeskHere, NotThereError, frame_of, page
from spoolwright.web.said import Row, flat_rows, kind_word, records_in, rows_of

router = APIRouter()
ON_A_PAGE = 50


@dataclass(frozen=True)
class Explained:
    """A stored calculation: what went in, what came out, and what running it again now gives."""

    calculation: Calculation
    inputs: list[Row]
    result: list[Row]
    again: str
    agrees: bool | None


@router.get("/record")
def explore(
    request: Request,
    q: Annotated[str, Query(max_length=120)] = "",
    kind: Annotated[str, Query(max_length=60)] = "",
    author: Annotated[str, Query(max_length=60)] = "",
    before: Annotated[int | None, Query(ge=1, le=10**12)] = None,
) -> Response:
    """Entries by subject, serial, visit, kind or author; the newest first."""
    shop = frame_of(request).shop
    words = q.split()[:6]
    lines = shop.visits(open_only=False) if words else []
    visits = [
        v.number for v in lines if all(w.casefold() in v.opened.engine_serial.casefold() for w in words)
    ]
    found = find_entries(
        shop.database, words=words, visits=visits[:200], kind=kind, author=author, before=before,
        most=ON_A_PAGE + 1,
    )  # fmt: skip
    return page(
        request,
        "record/list.html",
        q=q,
        kind=kind,
        author=author,
        before=before,
        found=found[:ON_A_PAGE],
        older=found[ON_A_PAGE - 1].seq if len(found) > ON_A_PAGE else None,
        kinds=sorted(((k, kind_word(k)) for k in KINDS), key=lambda pair: pair[1]),
        chain=shop.records.head(),
    )


@router.get("/visit/{number}/record")
def of_visit(
    request: Request, number: str, before: Annotated[int | None, Query(ge=1, le=10**12)] = None
) -> Response:
    """Everything recorded of a visit."""
    shop = frame_of(request).shop
    found = find_entries(shop.database, visits=(number,), before=before, most=ON_A_PAGE + 1)
    older = found[ON_A_PAGE - 1].seq if len(found) > ON_A_PAGE else None
    return page(request, "record/visit.html", found=found[:ON_A_PAGE], older=older, before=before)


@router.get("/record/{seq}")
def why(
    request: Request, seq: Annotated[int, Path(ge=1, le=10**12)], desk: DeskHere, again: bool = False
) -> Response:
    """One entry, whole: what, who, when, signed how, computed how, from which documents, in which chain."""
    shop = frame_of(request).shop
    entry = shop.records.at_seq(seq)
    if entry is None:
        raise NotThereError(f"there is no record {seq}.", mend="Look for it under Record.")
    return page(
        request,
        "record/entry.html",
        entry=entry,
        rows=rows_of(entry.body),
        files=list(attachments_in(entry.body)),
        calculations=[_explained(c, desk, again) for c in calculations_in(entry.body)],
        sources=_sources(entry.body, desk, entry),
        history=shop.records.history(entry.subject),
        previous=previous_digest(shop.database, seq),
        chain=shop.records.head(),
        again=again,
    )


def _explained(stored: Calculation, desk: Desk, again: bool) -> Explained:
    told, agrees = _run_again(stored, desk) if again else ("", None)
    return Explained(stored, flat_rows(stored.inputs), flat_rows(stored.result), told, agrees)


def _run_again(stored: Calculation, desk: Desk) -> tuple[str, bool | None]:
    function = RECOMPUTE.get((stored.name, stored.version))
    if function is None:
        return f"Version {stored.version} of '{stored.name}' cannot be run any more.", None
    try:
        different = recomputed(stored, function, desk.attachments.read)
    except SpoolwrightError as error:
        return f"It could not be run again: {error}", None
    if different:
        return "Run again it gives something else: " + "; ".join(different[:5]), False
    return "Run again just now, it gives the same.", True


@dataclass(frozen=True)
class Cited:
    """A paragraph that a record rests on, with the revision of the document in force."""

    document: str
    title: str
    revision: str
    paragraph: str


def _sources(body: Body, desk: Desk, entry: Entry[Body]) -> list[Cited]:
    """The documents a record cites; title and revision as the type in force knows them."""
    cited = list(records_in(body, Source))
    if not cited:
        return []
    known = _documents(desk, entry)
    return [
        Cited(s.document, *(known.get(s.document) or ("", "")), s.paragraph) for s in dict.fromkeys(cited)
    ]


def _documents(desk: Desk, entry: Entry[Body]) -> dict[str, tuple[str, str]]:
    opened: Any = desk.records.current(VisitOpened, under=f"visit/{entry.visit}") if entry.visit else []
    if not opened:
        return {}
    kind = desk.types.of(opened[0].body.type_id)
    return {d.id: (d.title, d.revision) for d in kind.type_file.document}
