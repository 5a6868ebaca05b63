"""Use cases of lives: record births and lines, import cards, dispose, directives, limit changes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, Protocol

from spoolwright.crafts.life.build import Build, build_of, proposal, review_subject, standing_in
from spoolwright.crafts.life.model import (
    AffectedSerial,
    CyclesAdvised,
    DirectiveDone,
    LedgerReviewed,
    LimitChangeSeen,
    PartBorn,
    PartUsed,
    RateStated,
)
from spoolwright.crafts.life.rules import Standing
from spoolwright.crafts.life.stock import LimitChange
from spoolwright.crafts.life.stored import ledger_calculation
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.parts import engine_subject, part_subject, segment
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

WRITERS = (Role.RECORDS, Role.LEAD, Role.INSPECTOR)
Disposition = Literal["may be fitted", "to be replaced", "referred", "held"]
DISPOSITIONS: tuple[Disposition, ...] = ("may be fitted", "to be replaced", "referred", "held")


class CardLike(Protocol):
    """A card as a table holds it."""

    part_number: str
    serial: str
    born: PartBorn | None
    lines: list[PartUsed]


def _new(desk: Desk, subject: str, body: Body, visit: str, after: int, reason: str) -> New:
    desk.entitled(*WRITERS)
    if after and not reason.strip():
        raise InputError("a correction without a reason.", mend="Say why it is corrected.", where="reason")
    return New(subject, body, visit=visit, after=after, reason=reason)


def birth_subject(part_number: str, serial: str) -> str:
    """Where a part's birth is recorded."""
    return part_subject(part_number, serial, "birth")


def use_subject(part_number: str, serial: str, line: int) -> str:
    """Where a line of a part's ledger is recorded."""
    return part_subject(part_number, serial, "use", f"{line:04d}")


def record_birth(
    desk: Desk, born: PartBorn, *, visit: str = "", after: int = 0, reason: str = ""
) -> Entry[Body]:
    """Record where a part's life begins."""
    subject = birth_subject(born.part_number, born.serial)
    return desk.record(_new(desk, subject, born, visit, after, reason))[0]


def record_use(
    desk: Desk, line: PartUsed, *, visit: str = "", after: int = 0, reason: str = ""
) -> Entry[Body]:
    """Record a line of a ledger as its paper says it; what it does not say stays empty."""
    subject = use_subject(line.part_number, line.serial, line.line)
    return desk.record(_new(desk, subject, line, visit, after, reason))[0]


def import_cards(desk: Desk, cards: Sequence[CardLike], *, visit: str = "") -> int:
    """Record whole cards, all or none; what stands there already in the same words is left as it is.

    Returns
    -------
    int
        Records written.

    Raises
    ------
    InputError
        A line stands there already and says something else.
    """
    news = []
    for card in cards:
        rows: list[tuple[str, Body]] = [(use_subject(x.part_number, x.serial, x.line), x) for x in card.lines]
        if card.born:
            rows.insert(0, (birth_subject(card.part_number, card.serial), card.born))
        for subject, body in rows:
            past = desk.records.history(subject)
            if not past:
                news.append(_new(desk, subject, body, visit, 0, ""))
            elif past[-1].body != body:
                line = f"line {body.line}" if isinstance(body, PartUsed) else "the birth"
                raise InputError(
                    f"{line} of part {card.part_number}, serial {card.serial}, is recorded otherwise.",
                    mend="Correct that line on the part's page, with the reason; nothing was imported.",
                    where="table",
                )
    if news:
        desk.record(*news)
    return len(news)


def state_rate(
    desk: Desk, folder: Folder, rate: RateStated, *, after: int = 0, reason: str = ""
) -> Entry[Body]:
    """Record how the operator says the engine will be used."""
    subject = f"visit/{folder.visit}/life/rate"
    return desk.record(_new(desk, subject, rate, folder.visit, after, reason))[0]


def review_sentence(standing: Standing, disposition: str) -> str:
    """Exactly what a records person signs."""
    ledger = standing.ledger
    count = len(ledger.lines)
    head = f"Part {ledger.part_number}, serial {ledger.serial}: {disposition}."
    read = f"Ledger of {count} line{'s' if count != 1 else ''} added up again from birth: {standing.verdict}."
    limits = "; ".join(a.text for a in standing.limits) or "no limit is transcribed for this part number"
    gaps = len(ledger.findings)
    found = f" {gaps} gap{'s' if gaps != 1 else ''} or contradictions stand open." if gaps else ""
    return f"{head} {read} {limits[:1].upper()}{limits[1:]}.{found}"


def review_ledger(
    desk: Desk,
    folder: Folder,
    part_number: str,
    serial: str,
    disposition: Disposition,
    *,
    remark: str = "",
    after: int = 0,
    reason: str = "",
) -> Entry[Body]:
    """Sign what is to become of a part, over its ledger as it stands.

    Raises
    ------
    InputError
        The papers do not carry it: no proof of life, no limit, or the limit is reached.
    NotEntitledError
        The person is not records.
    """
    shop = folder.kind.shop
    standing = standing_in(folder, desk.records, part_number, serial)
    if disposition == "may be fitted" and not standing.may_be_fitted:
        raise InputError(
            f"part {part_number}, serial {serial}, may not be fitted: {standing.verdict}.",
            mend=f"Sign it as {proposal(standing)}, or close what its ledger lacks first.",
            where="disposition",
        )
    body = LedgerReviewed(
        part_number=part_number,
        serial=serial,
        disposition=disposition,
        remark=remark,
        calculation=ledger_calculation(standing, shop, folder.today),
    )
    subject = review_subject(folder.visit, part_number, serial)
    if after and not reason:
        reason = "reviewed again"
    new = New(subject, body, visit=folder.visit, after=after, reason=reason)
    shown = review_sentence(standing, disposition)
    return desk.record(signed(new, desk, Meaning.DID, shown, Role.RECORDS))[0]


def sheet_sentence(build: Build, visit: str) -> str:
    """Exactly what a records person signs for every part that waits for nothing else."""
    serials: dict[tuple[str, str], list[str]] = {}
    for p in build.parts:
        if p.awaits_signature:
            told = "; ".join(a.text for a in p.standing.limits)
            serials.setdefault((f"{p.name} {p.part_number}", told), []).append(p.serial)
    rows = [
        f"{name}, serial{'s' if len(own) > 1 else ''} {', '.join(own)}: {told}"
        for (name, told), own in serials.items()
    ]
    count = sum(map(len, serials.values()))
    head = (
        f"Engine {build.engine}, work order {visit}: these {count} life-limited parts may be fitted. "
        "Each ledger was added up again from birth, is proven and within its limits."
    )
    return "\n".join([head, *rows])


def review_sheet(desk: Desk, folder: Folder) -> list[Entry[Body]]:
    """Sign as fit every part that is proven and within its limits and waits for nothing else, all or none.

    Raises
    ------
    InputError
        No part waits for it.
    NotEntitledError
        The person is not records.
    """
    build = build_of(folder, desk.records)
    shown = sheet_sentence(build, folder.visit)
    news = []
    for p in build.parts:
        if not p.awaits_signature:
            continue
        body = LedgerReviewed(
            part_number=p.part_number,
            serial=p.serial,
            disposition="may be fitted",
            calculation=ledger_calculation(p.standing, folder.kind.shop, folder.today),
        )
        after = p.review.revision if p.review else 0
        reason = "reviewed again" if after else ""
        new = New(review_subject(folder.visit, p.part_number, p.serial), body, folder.visit, after, reason)
        news.append(signed(new, desk, Meaning.DID, shown, Role.RECORDS))
    if not news:
        raise InputError("no part waits for a signature alone.", mend="Look at what is open.")
    return desk.record(*news)


def directive_subject(directive: str, *, engine: str = "", part_number: str = "", serial: str = "") -> str:
    """Where it is recorded what was done about a directive."""
    if part_number:
        return part_subject(part_number, serial, "directive", directive)
    return engine_subject(engine, "directive", directive)


def record_directive(
    desk: Desk, folder: Folder, subject: str, done: DirectiveDone, *, after: int = 0, reason: str = ""
) -> Entry[Body]:
    """Record that a directive was complied with, or why it does not apply; signed by records or the lead.

    Raises
    ------
    InputError
        The type has no such directive, or it was done on a day to come.
    """
    if done.directive not in {d.id for d in folder.kind.shop.directive}:
        raise InputError(f"the type has no directive '{done.directive[:40]}'.", where="directive")
    if done.on > desk.now.date():
        raise InputError(f"{done.on} is a day to come.", where="on", mend="Give the day it was done.")
    if done.state == "complied" and not done.document and not done.files:
        raise InputError("no document is named.", where="document", mend="Name it, or attach the page.")
    new = _new(desk, subject, done, folder.visit, after, reason)
    return desk.record(signed(new, desk, Meaning.DID, directive_sentence(done), Role.RECORDS, Role.LEAD))[0]


def directive_sentence(done: DirectiveDone) -> str:
    """Exactly what is signed about a directive."""
    said = "complied with" if done.state == "complied" else "not applicable"
    head = f"{done.directive} revision {done.revision}: {said} on {done.on} by {done.by}"
    counts = [f"{v} {m}" for m in ("hours", "cycles", "starts") if (v := getattr(done.at, m))]
    at = f", at {' and '.join(counts)} since new" if counts else ""
    paper = f" Document: {done.document}." if done.document else ""
    return f"{head}{at}: {done.how.rstrip('. ')}.{paper}"


def limit_change_subject(type_id: str, change: LimitChange) -> str:
    """Where a change of a limit is recorded."""
    number = segment(change.now.part_number)
    return f"type/{type_id}/life/limit/{number}/{change.now.measure}/{change.now.effective}"


def see_limit_change(
    desk: Desk,
    type_id: str,
    change: LimitChange,
    affected: tuple[AffectedSerial, ...],
    shown: str,
    *,
    after: int = 0,
) -> Entry[Body]:
    """Record a changed limit with every serial of the stock that it touches, signed by records."""
    now = change.now
    body = LimitChangeSeen(
        part_number=now.part_number,
        measure=now.measure,
        was=change.was.limit,
        now=now.limit,
        document=now.source.document,
        revision=now.revision,
        paragraph=now.source.paragraph,
        effective=now.effective,
        affected=affected,
    )
    reason = "the stock has changed" if after else ""
    new = New(limit_change_subject(type_id, change), body, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.ACKNOWLEDGED, shown, Role.RECORDS))[0]


def keep_advice(desk: Desk, advice: CyclesAdvised, *, visit: str = "") -> Entry[Body]:
    """Keep cycles counted in a recording: advice, part of no total. The same recording is kept once."""
    subject = engine_subject(advice.engine_serial, "cycles", advice.recording_sha256)
    past = desk.records.history(subject)
    if past:
        raise InputError(
            f"{advice.recording} was counted for this engine on {past[-1].at:%Y-%m-%d}.",
            where="recording",
            mend="A recording counts once.",
        )
    return desk.record(_new(desk, subject, advice, visit, 0, ""))[0]
