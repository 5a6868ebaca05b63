"""The release pack's text: drafts, work done, lives, directives, parts, tests, signatures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.cards.model import CardIssued, StepChecked, StepSigned
from spoolwright.crafts.cards.standing import CardState, StepState
from spoolwright.crafts.cards.standing import standing as card_standing
from spoolwright.crafts.life.build import Build, all_told, build_of
from spoolwright.crafts.owed.rules import owed_work
from spoolwright.crafts.release.drafts import certificate_draft, maintenance_entry_draft
from spoolwright.crafts.release.model import ReleaseSigned
from spoolwright.crafts.release.pack import ChainHead, Pack, Section
from spoolwright.crafts.release.service import Review
from spoolwright.crafts.supply.model import KitLine
from spoolwright.crafts.supply.vendors import repairs
from spoolwright.crafts.testcell.visit.model import AdjustmentMade, ModuleReopened, RunDisposed, RunsAssessed
from spoolwright.crafts.testcell.visit.shown import adjustment_shown
from spoolwright.crafts.testcell.visit.standing import standing as test_standing
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Records
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import ShopKnown

NOBODY = ShopKnown(name="(the shop's name)", address="", authority="", approval_number="")


@dataclass(frozen=True)
class Asked:
    """What the certifying person wants on the drafts."""

    tracking: str = ""
    remarks: str = ""


def release_pack(desk: Desk, folder: Folder, review: Review, head: ChainHead, asked: Asked) -> Pack:
    """The pack of a visit as its records stand."""
    visit, shop = review.visit, review.shop or NOBODY
    kind = folder.kind.type_file
    build = build_of(folder, desk.records)
    cards = list(card_standing(folder.entries, folder.visit).values())
    remarks = tuple(_remarks(folder, build, asked))
    return Pack(
        visit=visit.number,
        title=f"{kind.type.name}, serial {visit.engine_serial}",
        facts=tuple(_facts(folder, review, shop)),
        made_at=desk.now,
        made_by=desk.person.name,
        head=head,
        address=f"{shop.page_address.rstrip('/')}/visit/{visit.number}" if shop.page_address else "",
        demonstration=kind.type.demonstration,
        open=tuple((o.text, o.closed_by.value) for o in review.open),
        holes=tuple((h.text, h.closed_by.value) for h in review.holes),
        certificate=tuple(
            certificate_draft(
                shop, visit, f"{kind.type.name} engine", kind.type.name, asked.tracking, remarks
            )
        ),
        entry=tuple(maintenance_entry_draft(visit, _work(cards), _completed(cards), _performers(folder))),
        sections=tuple(_sections(desk.records, folder, build, cards)),
    )


def _facts(folder: Folder, review: Review, shop: ShopKnown) -> Iterator[tuple[str, str]]:
    v, kind = review.visit, folder.kind.type_file
    yield "Engine", f"{kind.type.name}, serial {v.engine_serial}"
    yield "Work order", f"{v.number}, for {v.customer}"
    yield "Received", f"{v.received_on}: {v.reason_for_removal}"
    yield "Word of the release", v.word or "not set"
    yield "Shop", f"{shop.name}, {shop.address}; {shop.authority} {shop.approval_number}".strip(" ;,")
    yield "Documents", "; ".join(f"{d.id} revision {d.revision}" for d in kind.document)
    yield "To be kept", f"{shop.records_kept_years} years"
    for released in folder.of(ReleaseSigned):
        if released.signature:
            yield "Released", f"{released.at:%Y-%m-%d %H:%M} UTC by {released.signature.name}"


def _remarks(folder: Folder, build: Build, asked: Asked) -> Iterator[str]:
    documents = "; ".join(f"{d.id} revision {d.revision}" for d in folder.kind.type_file.document)
    yield f"Maintained to {documents}."
    done = [f"{t.directive.id} revision {t.directive.revision}" for t, _ in all_told(build) if t.done]
    yield f"Directives and bulletins recorded as done: {', '.join(done) or 'none'}."
    first = build.removal.first
    if first is not None:
        left = first.against.text
        yield f"Next life limit: {first.standing.part_number} serial {first.standing.serial}, {left}."
    if asked.remarks:
        yield asked.remarks


def _work(cards: Iterable[CardState]) -> list[str]:
    out = []
    for c in cards:
        done = sum(s.done for s in c.steps)
        out.append(f"{c.card.title}, revision {c.card.revision}: {done} of {len(c.steps)} steps done")
    return out


def _completed(cards: Iterable[CardState]) -> date | None:
    """The day of the last signature, once every card is complete."""
    states = list(cards)
    if not states or not all(c.complete for c in states):
        return None
    signed = [s.signed.at.date() for c in states for s in c.steps if s.signed]
    return max(signed, default=None)


def _performers(folder: Folder) -> list[str]:
    names = {e.signature.name for e in folder.entries if e.signature and isinstance(e.body, StepSigned)}
    return sorted(names)


def _sections(records: Records, folder: Folder, build: Build, cards: list[CardState]) -> Iterator[Section]:
    yield _work_done(cards)
    yield _owed(folder)
    yield _lives(build)
    yield _directives(build)
    yield _parts(folder)
    yield _repairs(folder)
    yield _tests(folder)
    yield _adjustments(folder)
    yield _signatures(folder)


def _work_done(cards: list[CardState]) -> Section:
    rows = [_step_row(c, s) for c in cards for s in c.steps]
    return Section(
        "Work done",
        ("card", "step", "readings", "signed", "independent check"),
        tuple(rows),
        widths=(2, 4, 3, 2, 2),
    )


def _step_row(card: CardState, state: StepState) -> tuple[str, ...]:
    readings = "\n".join(e.body.told for e in state.taken.values())
    signed = "not signed"
    if state.waived and state.waived.signature:
        signed = f"not taken: {state.waived.body.cannot_because} ({state.waived.signature.name})"
    elif state.signed and state.signed.signature:
        signed = f"{state.signed.signature.name}\n{state.signed.at:%Y-%m-%d %H:%M}"
    check = "" if not state.step.independent_check else "owed"
    if state.valid_check and state.valid_check.signature:
        word = "agrees" if state.valid_check.body.agrees else "does not agree"
        check = f"{state.valid_check.signature.name}, {word}\n{state.valid_check.at:%Y-%m-%d %H:%M}"
    title = f"{card.card.title}, rev. {card.card.revision}" + (
        f", run {card.ref.run}" if card.ref.run > 1 else ""
    )
    return title, f"{state.number}. {state.step.text}", readings, signed, check


def _owed(folder: Folder) -> Section:
    rows = []
    for o in owed_work(folder):
        told = "open"
        if o.closed and o.closing and o.closing.signature:
            told = f"{o.closing.body.told}\n{o.closing.signature.name}, {o.closing.at:%Y-%m-%d}"
        rows.append((o.text, o.source, told))
    return Section(
        "Owed work", ("what was owed", "paragraph", "closed by"), tuple(rows), empty="nothing was owed"
    )


def _lives(build: Build) -> Section:
    rows = []
    for p in build.parts:
        limits = "\n".join(a.text for a in p.standing.limits) or "no limit is transcribed"
        told = p.review.body.disposition if p.review and p.disposed else "not signed"
        who = p.review.signature.name if p.review and p.review.signature else ""
        rows.append(
            (p.name, p.part_number, p.serial, limits, p.standing.verdict.value, f"{told}\n{who}".strip())
        )
    return Section(
        "Life-limited parts",
        ("part", "number", "serial", "used and left", "papers say", "disposition"),
        tuple(rows),
        note="Totals are added again from birth; a gap is never filled.",
        widths=(2, 1.3, 1.3, 4, 1.6, 1.6),
    )


def _directives(build: Build) -> Section:
    rows = [
        (
            f"{t.directive.id} rev. {t.directive.revision}",
            t.directive.title,
            p.title if p else "engine",
            t.state.value,
            t.next_due,
            t.why,
        )
        for t, p in all_told(build)
    ]
    return Section(
        "Directives and bulletins",
        ("number", "title", "on", "state", "next due", "why"),
        tuple(rows),
        widths=(1.3, 2.5, 2, 1.2, 1.6, 2.5),
    )


def _parts(folder: Folder) -> Section:
    rows = []
    for e in folder.of(KitLine):
        k = e.body
        if k.fitted:
            stands_in = f"stands in for {k.alternate_for}, {k.allowed_by}" if k.alternate_for else ""
            rows.append((k.part_number, k.tag, str(k.fitted), k.certificate, stands_in))
    columns = ("part number", "serial or lot", "fitted", "release certificate", "alternate")
    return Section("Parts fitted", columns, tuple(rows), empty="no part was fitted from a kit")


def _repairs(folder: Folder) -> Section:
    rows = []
    for r in repairs(folder):
        back = r.returned.body if r.returned else None
        paper = back.certificate.number if back else ""
        rows.append(
            (
                r.sent.body.part_number,
                r.sent.body.serial,
                r.sent.body.vendor,
                ", ".join(w.value for w in r.sent.body.works),
                f"{r.sent.body.sent_on}",
                f"{back.returned_on}, {paper}" if back else "not returned",
            )
        )
    return Section(
        "Outside repairs",
        ("part number", "serial", "vendor", "work", "sent", "returned, release"),
        tuple(rows),
        empty="nothing was sent out",
    )


def _tests(folder: Folder) -> Section:
    test, rows = test_standing(folder), []
    for e in test.assessments:
        a: RunsAssessed = e.body
        decided = test.disposition_of(e.subject)
        told = "not decided"
        if decided is not None:
            d: RunDisposed = decided.body
            who = decided.signature.name if decided.signature else decided.author
            told = f"{d.decision}{', ' + d.cause if d.cause else ''}\n{who}, {decided.at:%Y-%m-%d %H:%M}"
        rows.append((f"{e.at:%Y-%m-%d %H:%M}", ", ".join(a.runs), a.sentence, told))
    for r in folder.of(ModuleReopened):
        m = r.body
        who = r.signature.name if r.signature else r.author
        rows.append((f"{r.at:%Y-%m-%d %H:%M}", "", f"{m.module.replace('_', ' ')} reopened: {m.reason}", who))
    return Section(
        "Test runs",
        ("when", "runs", "what the readings say", "decided"),
        tuple(sorted(rows)),
        widths=(1.2, 1, 4, 2),
        note="Every run that was attached is listed; the report of the accepted runs follows at the end.",
        empty="no run was attached",
    )


def _adjustments(folder: Folder) -> Section:
    rows = []
    for e in folder.of(AdjustmentMade):
        who = e.signature.name if e.signature else e.author
        rows.append((f"{e.at:%Y-%m-%d %H:%M}", e.body.run, adjustment_shown(e.body), who))
    return Section(
        "Adjustments in the cell",
        ("when", "run", "what", "signed"),
        tuple(rows),
        widths=(1.2, 0.8, 5, 1.4),
        empty="nothing was adjusted",
    )


def _signatures(folder: Folder) -> Section:
    """How many of each; the single ones stand beside what they sign."""
    names: dict[tuple[str, str], int] = {}
    for e in folder.entries:
        if e.signature:
            key = e.signature.name, e.signature.authorisation
            names[key] = names.get(key, 0) + 1
    rows = [(name, number, str(count)) for (name, number), count in sorted(names.items())]
    issued = len({e.subject for e in folder.of(CardIssued)})
    checks = len(folder.of(StepChecked))
    note = f"{issued} card(s) issued, {checks} independent check(s)."
    return Section("Who signed", ("name", "authorisation", "signatures"), tuple(rows), note=note)
