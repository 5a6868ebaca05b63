"""The life-limited parts of a build and their ledgers, read from the records."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import Any

from spoolwright.crafts.life.agreement import Disagreement, disagreements
from spoolwright.crafts.life.chain_checks import Present
from spoolwright.crafts.life.directives import Item, Told, tell_all
from spoolwright.crafts.life.model import DirectiveDone, LedgerReviewed, PartBorn, PartUsed, RateStated
from spoolwright.crafts.life.removal import NextRemoval, next_forced_removal
from spoolwright.crafts.life.rules import Standing, Verdict, exchange_of, judge_life
from spoolwright.crafts.life.stored import ledger_inputs
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.entry import Entry, Records, canonical
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartFitted, engine_subject, part_subject, segment
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Card:
    """A part's records: birth and lines, each the newest revision."""

    born: Entry[PartBorn] | None
    lines: tuple[Entry[PartUsed], ...]


@dataclass(frozen=True)
class PartInBuild:
    """A life-limited part of the engine: where it stands, and what the records person signed about it."""

    kind: PartKind | None
    part_number: str
    serial: str
    module: str
    standing: Standing
    review: Entry[LedgerReviewed] | None
    stale: bool
    directives: tuple[Told, ...]

    @property
    def name(self) -> str:
        return self.kind.name if self.kind else self.part_number

    @property
    def title(self) -> str:
        return f"{self.name} {self.part_number}, serial {self.serial}"

    @property
    def awaits_signature(self) -> bool:
        """Whether nothing stands against it but the records person's signature."""
        return self.standing.may_be_fitted and (self.review is None or self.stale)

    @property
    def disposed(self) -> bool:
        """Whether a disposition is signed over the ledger as it stands now."""
        return self.review is not None and self.review.signature is not None and not self.stale


@dataclass(frozen=True)
class Build:
    """What a records review looks at."""

    engine: str
    parts: tuple[PartInBuild, ...]
    missing: tuple[PartKind, ...]
    removal: NextRemoval
    rate: Entry[RateStated] | None
    directives: tuple[Told, ...]
    disagreements: tuple[Disagreement, ...]
    left: tuple[PartFitted, ...]
    """Life-limited parts that were taken off in this visit and whose card does not end with it."""


def card_of(records: Records, part_number: str, serial: str) -> Card:
    """A part's birth and lines."""
    return card_from(records.current(PartBorn, PartUsed, under=part_subject(part_number, serial)))


def card_from(entries: Iterable[Entry[Any]]) -> Card:
    """A card from a part's records, whatever else is among them."""
    births: list[Entry[PartBorn]] = []
    lines: list[Entry[PartUsed]] = []
    for entry in entries:
        if isinstance(entry.body, PartBorn):
            births.append(entry)
        elif isinstance(entry.body, PartUsed):
            lines.append(entry)
    return Card(births[0] if births else None, tuple(lines))


def standing_of(
    part_number: str, serial: str, card: Card, shop: ShopPart, on: date, now: Present | None = None
) -> Standing:
    """A part's ledger against its limits; the same records on the same day are not read twice."""
    digests = tuple(e.digest for e in (card.born, *card.lines) if e)
    return _judged(_Asked(part_number, serial, digests, id(shop), on, now, card, shop))


@dataclass(frozen=True)
class _Asked:
    """A ledger by what it rests on; the card and the shop part themselves are not compared."""

    part_number: str
    serial: str
    digests: tuple[str, ...]
    shop_id: int
    on: date
    now: Present | None
    card: Card = field(compare=False)
    shop: ShopPart = field(compare=False)


@lru_cache(maxsize=5000)
def _judged(a: _Asked) -> Standing:
    born = a.card.born.body if a.card.born else None
    return judge_life(a.part_number, a.serial, born, [e.body for e in a.card.lines], a.shop, a.on, a.now)


def standing_in(folder: Folder, records: Records, part_number: str, serial: str) -> Standing:
    """A part's standing as a visit reads it."""
    return _standing_in(folder, card_of(records, part_number, serial), part_number, serial)


def _standing_in(folder: Folder, card: Card, part_number: str, serial: str) -> Standing:
    """A ledger of a part in the engine must reach to this day."""
    fitted = newest(folder.of(PartFitted), part_subject(part_number, serial, "fit"))
    now = _present(engine_of(folder), fitted.body) if fitted and fitted.body.engine_serial else None
    return standing_of(part_number, serial, card, folder.kind.shop, folder.today, now)


def _present(opened: VisitOpened, fitted: PartFitted) -> Present:
    """Where a part is; the engine's counts bear only on a part that came with it."""
    return Present(
        engine_serial=fitted.engine_serial,
        hours=_figure(opened.time_since_new_h),
        starts=_figure(opened.starts_since_new),
        came_with_it=fitted.on <= opened.received_on,
    )


def _figure(count: float | None) -> str:
    """An engine's count as a figure, to the sixth decimal."""
    if count is None:
        return ""
    text = f"{count:.6f}"
    return text.rstrip("0").rstrip(".")


def life_limited(shop: ShopPart) -> dict[str, PartKind | None]:
    """Every part number that has a life, with its kind where the bill of material knows it."""
    out: dict[str, PartKind | None] = {}
    for kind in shop.part:
        if kind.life_limited:
            out |= dict.fromkeys((kind.part_number, *kind.alternates), kind)
    by_number = {n: k for k in shop.part for n in (k.part_number, *k.alternates)}
    for limit in shop.life_limit:
        out.setdefault(limit.part_number, by_number.get(limit.part_number))
    return out


def engine_of(folder: Folder) -> VisitOpened:
    """The visit's own record."""
    for entry in folder.of(VisitOpened):
        return entry.body
    raise InputError(f"visit '{folder.visit}' was never opened.", mend="Open it first.")


def review_subject(visit: str, part_number: str, serial: str) -> str:
    """Where a review of a part's ledger is recorded."""
    return f"visit/{visit}/life/part/{segment(part_number)}/{segment(serial)}"


def build_of(folder: Folder, records: Records) -> Build:
    """The life-limited parts that are in the engine now, their ledgers, directives, and the next removal."""
    opened, shop, today = engine_of(folder), folder.kind.shop, folder.today
    numbers = life_limited(shop)
    fitted = [e.body for e in folder.of(PartFitted) if e.body.engine_serial == opened.engine_serial]
    parts = [_part(folder, records, f, numbers[f.part_number]) for f in fitted if f.part_number in numbers]
    order = {k.id: i for i, k in enumerate(shop.part)}
    parts.sort(key=lambda p: (order.get(p.kind.id, 999) if p.kind else 999, p.part_number, p.serial))
    there = {p.kind.id for p in parts if p.kind}
    rate = newest(folder.of(RateStated), f"visit/{folder.visit}/life/rate")
    return Build(
        engine=opened.engine_serial,
        parts=tuple(parts),
        missing=tuple(k for k in shop.part if k.life_limited and k.id not in there),
        removal=next_forced_removal(
            [p.standing for p in parts], rate.body if rate else None, exchange_of(shop), today
        ),
        rate=rate,
        directives=tuple(_engine_directives(folder, records, opened)),
        disagreements=tuple(disagreements(x.line for p in parts for x in p.standing.ledger.lines)),
        left=tuple(f for f in _taken_off(folder, numbers) if not _card_ends(records, f)),
    )


def _taken_off(folder: Folder, numbers: Container[str]) -> list[PartFitted]:
    """Life-limited parts whose newest record in this visit has them in no engine, and an earlier one had."""
    fitted = [e for e in folder.of(PartFitted) if e.revision > 1 and not e.body.engine_serial]
    return [e.body for e in fitted if e.body.part_number in numbers]


def _card_ends(records: Records, fitted: PartFitted) -> bool:
    """Whether the last line of a part's card says that it was removed."""
    lines = [e.body for e in card_of(records, fitted.part_number, fitted.serial).lines]
    return bool(lines) and max(lines, key=lambda x: x.line).ended == "removed"


def _part(folder: Folder, records: Records, fitted: PartFitted, kind: PartKind | None) -> PartInBuild:
    number, serial, shop = fitted.part_number, fitted.serial, folder.kind.shop
    own = records.current(PartBorn, PartUsed, DirectiveDone, under=part_subject(number, serial))
    standing = _standing_in(folder, card_from(own), number, serial)
    review = newest(folder.of(LedgerReviewed), review_subject(folder.visit, number, serial))
    item = Item(serial, standing.ledger.totals if standing.ledger.proven else {}, number)
    done = {e.body.directive: e.body for e in own if isinstance(e.body, DirectiveDone)}
    told = tuple(tell_all(shop.directive, item, done, folder.today))
    stale = review is not None and is_stale(review.body, standing, shop)
    return PartInBuild(kind, number, serial, fitted.module, standing, review, stale, told)


def is_stale(review: LedgerReviewed, standing: Standing, shop: ShopPart) -> bool:
    """Whether ledger, limits or tables are others now than those that were signed."""
    signed_on = date.fromisoformat(review.calculation.inputs["on"])
    now = ledger_inputs(standing, shop, signed_on)
    return canonical(now) != canonical(review.calculation.inputs)


def _engine_directives(folder: Folder, records: Records, opened: VisitOpened) -> list[Told]:
    counts = {"hours": opened.time_since_new_h, "cycles": opened.cycles_since_new}
    known = {m: Fraction(repr(v)) for m, v in counts.items() if v is not None}
    done = done_of(records, engine_subject(opened.engine_serial))
    return tell_all(folder.kind.shop.directive, Item(opened.engine_serial, known), done, folder.today)


def all_told(build: Build) -> list[tuple[Told, PartInBuild | None]]:
    """Every directive of the engine, then of its parts, each with the part it is on."""
    engine: list[tuple[Told, PartInBuild | None]] = [(t, None) for t in build.directives]
    return engine + [(t, p) for p in build.parts for t in p.directives]


def done_of(records: Records, subject: str) -> dict[str, DirectiveDone]:
    """What is recorded about directives on an engine or part, by directive."""
    return {e.body.directive: e.body for e in records.current(DirectiveDone, under=f"{subject}/directive")}


def proposal(standing: Standing) -> str:
    """The disposition that the papers propose; a person disposes."""
    return {
        Verdict.WITHIN: "may be fitted",
        Verdict.REACHED: "to be replaced",
        Verdict.NO_PROOF: "referred",
        Verdict.NO_LIMIT: "referred",
    }[standing.verdict]
