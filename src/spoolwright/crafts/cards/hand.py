"""Use cases on a whole card: issued, taken in hand, put down, handed over, another revision."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from spoolwright.crafts.cards.model import (
    CardIssued,
    CardRef,
    RevisionKept,
    WorkPutDown,
    WorkTaken,
)
from spoolwright.crafts.cards.rules import NotYetError, card_of
from spoolwright.crafts.cards.service import serial_of
from spoolwright.crafts.cards.standing import CardState, digest_of, standing
from spoolwright.crafts.cards.words import put_down_shown, resume_words, take_shown
from spoolwright.crafts.typefile.shop.routes import RouteCard
from spoolwright.crafts.visit.desk import Desk, TypeInShop, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New, canonical
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import PersonKnown, Role
from spoolwright.errors import InputError


def kind_of(desk: Desk, visit: str) -> TypeInShop:
    """The type of a visit's engine, as in force now."""
    for e in desk.records.current(VisitOpened, under=f"visit/{visit}"):
        if e.body.number == visit:
            return desk.types.of(e.body.type_id)
    raise InputError(f"visit '{visit}' is not known.", mend="Look at the list of visits.")


def type_card(kind: TypeInShop, card: str) -> RouteCard:
    """A card of the type."""
    found = next((c for c in kind.shop.route_card if c.id == card), None)
    if found is None:
        known = ", ".join(c.id for c in kind.shop.route_card)
        raise InputError(f"the type has no route card '{card}'.", mend=f"It has: {known}.")
    return found


def issue_card(desk: Desk, visit: str, card: str, because: str) -> CardRef:
    """Issue a card for a visit; where it was issued before, its next run of the work."""
    desk.entitled(Role.LEAD)
    kind = kind_of(desk, visit)
    wanted = type_card(kind, card)
    earlier = standing(desk.records.current(Body, under=f"visit/{visit}/cards/{card}"), visit)
    unfinished = [c for c in earlier.values() if not c.complete]
    if unfinished:
        raise NotYetError(
            f"run {unfinished[-1].ref.run} of card '{card}' is not finished.", mend="Go on with that one."
        )
    ref = CardRef(visit, card, len(earlier) + 1)
    issued = CardIssued(card=wanted, run=ref.run, because=because, documents=_documents(kind))
    desk.record(New(ref.subject, issued, visit=visit))
    return ref


def _documents(kind: TypeInShop) -> dict[str, str]:
    return {d.id: d.revision for d in kind.type_file.document}


@dataclass(frozen=True)
class Newer:
    """What the type says about a card now, where that is not what the card was issued with."""

    card: RouteCard
    documents: dict[str, str]

    @property
    def digest(self) -> str:
        """The hash of the text and of the revisions it rests on."""
        named = {d: self.documents.get(d, "") for d in documents_named(self.card)}
        return hashlib.sha256(canonical([digest_of(self.card), named])).hexdigest()


def documents_named(card: RouteCard) -> set[str]:
    """The documents that a card's steps and limits are taken from."""
    sources = [card.source, *(s.source for s in card.step)]
    sources += [m.source for s in card.step for m in s.measure if m.source]
    return {s.document for s in sources}


def newer_text(card: CardState, kind: TypeInShop) -> Newer | None:
    """The type's card where text or documents differ from what was issued, until it is decided."""
    now = next((c for c in kind.shop.route_card if c.id == card.ref.card), None)
    if now is None or card.complete:
        return None
    newer, issued = Newer(now, _documents(kind)), card.issued.body.documents
    same = all(newer.documents.get(d) == issued.get(d) for d in documents_named(now))
    if now == card.card and same:
        return None
    if card.kept and card.kept.body.newer_digest == newer.digest:
        return None
    return newer


def newer_words(card: CardState, newer: Newer) -> str:
    """What changed, told to the lead."""
    now, issued = newer.card, card.issued.body.documents
    texts = {s.id: digest_of(s) for s in card.card.step}
    changed = [str(n) for n, s in enumerate(now.step, 1) if texts.get(s.id) != digest_of(s)]
    gone = [s.id for s in card.card.step if s.id not in {n.id for n in now.step}]
    steps = f"Steps with another text: {', '.join(changed)}." if changed else "No step has another text."
    left = f" Steps left out: {', '.join(gone)}." if gone else ""
    moved = [
        f" {d} was at revision {issued.get(d)}, now {newer.documents.get(d)}."
        for d in sorted(documents_named(now))
        if newer.documents.get(d) != issued.get(d)
    ]
    return (
        f"{card.card.title} was issued at revision {card.card.revision}; "
        f"the type now has revision {now.revision}. {steps}{left}{''.join(moved)}"
    )


def decide_revision(
    desk: Desk, ref: CardRef, *, go_on_with_newer: bool, shown: str, reason: str
) -> Entry[Body]:
    """The lead decides whether a visit goes on with the text it began with or changes to the newer one.

    On the newer text, signed steps whose text is the same stay signed; the others are done again.
    """
    desk.entitled(Role.LEAD)
    card = card_of(desk, ref)
    kind = kind_of(desk, ref.visit)
    newer = newer_text(card, kind)
    if newer is None:
        raise NotYetError(
            "the card is finished, has the type's text, or it was decided.",
            mend="There is nothing to decide.",
        )
    if len(reason.strip()) < 3:
        raise InputError("say why.", mend="One sentence.", where="reason")
    if go_on_with_newer:
        body: Body = CardIssued(
            card=newer.card, run=ref.run, because=card.issued.body.because, documents=newer.documents
        )
        new = New(ref.subject, body, visit=ref.visit, after=card.issued.revision, reason=reason)
    else:
        body = RevisionKept(
            card=ref.card, run=ref.run, newer_digest=newer.digest, newer_revision=newer.card.revision
        )
        after = card.kept.revision if card.kept else 0
        new = New(f"{ref.subject}/kept", body, visit=ref.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.ACCEPTED, f"{shown} {reason}", Role.LEAD))[0]


def workers(card: CardState) -> tuple[Role, ...]:
    """Who may take the card in hand."""
    return tuple(dict.fromkeys(Role(s.step.signed_by) for s in card.steps))


def take_text(desk: Desk, ref: CardRef) -> str:
    """What a person signs who takes the card up."""
    return take_shown(card_of(desk, ref), serial_of(desk, ref.visit), desk.person.name)


def take_card(desk: Desk, ref: CardRef, shown: str = "") -> Entry[Body]:
    """Take a card in hand: from the start, or at the last signed step after it was put down."""
    card = card_of(desk, ref)
    desk.entitled(*workers(card))
    taken, down, upcoming = card.taken, card.put_down, card.in_work
    if upcoming is None:
        raise NotYetError("every step of this card is signed.", mend="There is nothing to take in hand.")
    if taken is not None:
        raise NotYetError(
            f"{taken.body.by_name} has this card in hand since {taken.at.day} {taken.at:%b %H:%M} UTC.",
            mend="They hand it over or put it down; the lead can do it for them.",
        )
    if down is not None and down.body.to_login not in ("", desk.person.login):
        raise NotYetError(
            f"the work was handed over to {down.body.to_name}.",
            mend="They take it up, or the lead hands it to somebody else.",
        )
    body = WorkTaken(
        card=ref.card,
        run=ref.run,
        by_name=desk.person.name,
        resumes_at=upcoming.step.id,
        told=resume_words(card),
    )
    new = New(f"{ref.subject}/hand/{len(card.hands) + 1}", body, visit=ref.visit)
    if down is not None:
        new = signed(new, desk, Meaning.ACKNOWLEDGED, shown or take_text(desk, ref), *workers(card))
    return desk.record(new)[0]


def put_down_text(desk: Desk, ref: CardRef) -> str:
    """What a person signs who puts the work down or hands it over."""
    return put_down_shown(card_of(desk, ref), serial_of(desk, ref.visit))


def put_down(
    desk: Desk,
    ref: CardRef,
    *,
    in_hand: str,
    why: str,
    begun: bool = True,
    to_login: str = "",
    shown: str = "",
) -> Entry[Body]:
    """Put the work down (an interruption), or hand it over to a named person (a shift).

    Where it was handed to somebody already, the lead may hand it to somebody else.
    """
    card = card_of(desk, ref)
    taken, down, upcoming = card.taken, card.put_down, card.in_work
    if upcoming is None:
        raise NotYetError("every step of this card is signed.", mend="There is nothing to put down.")
    if taken is None and down is None:
        raise NotYetError("nobody has this card in hand.", mend="There is nothing to put down.")
    mine = taken is not None and taken.author == desk.person.login
    if not mine:
        desk.entitled(Role.LEAD)
    body = WorkPutDown(
        card=ref.card,
        run=ref.run,
        step=upcoming.step.id,
        in_hand=in_hand,
        why=why,
        begun=begun,
        by_name=desk.person.name,
        to_login=to_login,
        to_name=_name_of(desk, to_login) if to_login else "",
    )
    new = New(f"{ref.subject}/hand/{len(card.hands) + 1}", body, visit=ref.visit)
    state = "begun" if begun else "not begun"
    said = f"{shown or put_down_text(desk, ref)} It is {state}. In hand: {in_hand}. Why: {why}."
    if body.to_name:
        said += f" Handed over to {body.to_name}."
    return desk.record(signed(new, desk, Meaning.ACKNOWLEDGED, said))[0]


def _name_of(desk: Desk, login: str) -> str:
    if login == desk.person.login:
        raise InputError("work is handed over to another person.", mend="Put it down instead.", where="to")
    known = desk.records.current(PersonKnown, under=f"person/{login}")
    if not known:
        raise InputError(f"nobody here is called '{login}'.", mend="Choose from the list.", where="to")
    return known[0].body.name
