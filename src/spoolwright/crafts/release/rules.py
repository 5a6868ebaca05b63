"""The cross-check: every disagreement between records of a visit, in words. It finds; a person mends."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from spoolwright.crafts.release.model import (
    Evidence,
    Hole,
    OrderSeen,
    OverhaulFacts,
    PartSeen,
    RevisionSeen,
    SerialSeen,
    SignatureSeen,
    TotalSeen,
)
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role


def holes(
    evidence: Evidence,
    *,
    word: str,
    in_force: Mapping[str, str],
    people: Iterable[PersonKnown],
    authorisations: Iterable[AuthorisationGiven],
    visit_link: str,
) -> list[Hole]:
    """Everything in which the records of a visit do not agree or fall short of the word of the release.

    `in_force` gives the revision in force of each document.
    """
    held = {(a.login, a.number): a for a in authorisations}
    known = {p.login: p for p in people}
    return [
        *disagreeing_serials(evidence.serials),
        *disagreeing_totals(evidence.totals),
        *old_revisions(evidence.revisions, in_force),
        *wrong_order(evidence.orders),
        *bad_signatures(evidence.signatures, held, known),
        *bad_parts(evidence.parts),
        *word_faults(word, evidence.overhaul, visit_link),
    ]


def disagreeing_serials(seen: Iterable[SerialSeen]) -> Iterator[Hole]:
    """A place with two serials, and a serial in two places."""
    by_place: dict[str, list[SerialSeen]] = defaultdict(list)
    by_part: dict[tuple[str, str], list[SerialSeen]] = defaultdict(list)
    for s in seen:
        by_place[s.place].append(s)
        by_part[s.part_number, s.serial].append(s)
    for place, group in by_place.items():
        if len({(s.part_number, s.serial) for s in group}) > 1:
            told = "; ".join(f"{s.part_number} serial {s.serial} in {s.where}" for s in group)
            yield Hole(f"{place}: the records name different parts: {told}.", group[-1].link)
    for (number, serial), group in by_part.items():
        places = sorted({s.place for s in group})
        if serial and len(places) > 1:
            told = f"{number} serial {serial} is recorded in two places: {' and '.join(places)}."
            yield Hole(told, group[-1].link)


def disagreeing_totals(seen: Iterable[TotalSeen]) -> Iterator[Hole]:
    """A total that two records give differently; compared exactly, nothing is rounded."""
    groups: dict[tuple[str, str], list[TotalSeen]] = defaultdict(list)
    for t in seen:
        groups[t.item, t.quantity].append(t)
    for (item, quantity), group in groups.items():
        if len({t.value for t in group}) > 1:
            told = "; ".join(f"{t.value} in {t.where}" for t in group)
            yield Hole(f"{item}, {quantity}: the totals differ: {told}.", group[-1].link)


def old_revisions(seen: Iterable[RevisionSeen], in_force: Mapping[str, str]) -> Iterator[Hole]:
    """Work to a document's revision that is not the one in force, or to a document nobody knows."""
    for r in seen:
        now = in_force.get(r.document)
        if now is None:
            told = f"{r.where} rests on document {r.document}, which the type file does not name."
            yield Hole(told, r.link, Role.LEAD)
        elif now != r.revision:
            told = f"{r.where} was done to {r.document} revision {r.revision}; in force is revision {now}."
            yield Hole(told, r.link, Role.LEAD)


def wrong_order(seen: Iterable[OrderSeen]) -> Iterator[Hole]:
    """Two moments the wrong way round."""
    for o in seen:
        if o.first_at > o.second_at:
            told = (
                f"{o.first} ({o.first_at:%Y-%m-%d %H:%M}) lies after "
                f"{o.second} ({o.second_at:%Y-%m-%d %H:%M}); it must come before."
            )
            yield Hole(told, o.link)


def bad_signatures(
    seen: Iterable[SignatureSeen],
    held: Mapping[tuple[str, str], AuthorisationGiven],
    known: Mapping[str, PersonKnown],
) -> Iterator[Hole]:
    """A signature by somebody who was not there, or not authorised on that day."""
    for s in seen:
        person = known.get(s.person)
        if person is None:
            yield Hole(f"{s.what} is signed by {s.name}, whom the shop does not know.", s.link, Role.LEAD)
            continue
        if person.left_on is not None and person.left_on < s.at.date():
            told = f"{s.what} is signed by {s.name} on {s.at:%Y-%m-%d}, after leaving on {person.left_on}."
            yield Hole(told, s.link, Role.LEAD)
        if not s.authorisation:
            continue
        given = held.get((s.person, s.authorisation))
        if given is None:
            told = f"{s.what} is signed by {s.name} under an unknown authorisation, {s.authorisation}."
            yield Hole(told, s.link, Role.LEAD)
        elif given.expires_on < s.at.date():
            told = (
                f"{s.what} is signed by {s.name} on {s.at:%Y-%m-%d} under authorisation "
                f"{s.authorisation}, which ended on {given.expires_on}."
            )
            yield Hole(told, s.link, Role.LEAD)


def bad_parts(seen: Iterable[PartSeen]) -> Iterator[Hole]:
    """A fitted part whose number the documents do not allow there, or that came without a certificate."""
    for p in seen:
        name = f"{p.part_number} serial {p.serial}" if p.serial else p.part_number
        if p.part_number not in p.allowed:
            allowed = " or ".join(p.allowed) or "none"
            yield Hole(f"{name} is fitted; the documents allow {allowed} there.", p.link)
        if not p.certificate:
            yield Hole(f"{name} is fitted without an accepted release certificate.", p.link)


def word_faults(word: str, facts: OverhaulFacts, link: str) -> Iterator[Hole]:
    """What keeps the word 'overhauled' off the release (14 CFR 43.2(a)); other words pass.

    'Rebuilt' needs parts within new limits (14 CFR 43.2(b)), which this check cannot show: always a hole.
    """
    if word == "rebuilt":
        told = "'rebuilt' needs every part within the limits of a new one (14 CFR 43.2(b)): not shown here."
        yield Hole(told, link, Role.LEAD)
        return
    if word != "overhauled":
        return
    for paragraph, missing in (
        ("disassembled, 43.2(a)(1)", facts.disassembled),
        ("cleaned, 43.2(a)(1)", facts.cleaned),
        ("inspected, 43.2(a)(1)", facts.inspected),
        ("repaired as necessary, 43.2(a)(1)", facts.repaired),
        ("reassembled, 43.2(a)(1)", facts.reassembled),
        ("tested, 43.2(a)(2)", facts.tested),
    ):
        for text in missing:
            yield Hole(f"The word 'overhauled' is blocked ({paragraph}): {text}", link, Role.LEAD)
