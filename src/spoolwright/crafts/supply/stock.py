"""The store as its records say: what is there, whether it may be used, until when, and who holds it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from spoolwright.crafts.supply.calc import shelf_life_end
from spoolwright.crafts.supply.model import (
    Allocated,
    Certificate,
    CertificateChecked,
    StockReceived,
    Taken,
    UsedUp,
)
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.entry import B, Body, Entry, Records
from spoolwright.crafts.visit.parts import part_subject, segment


@dataclass(frozen=True)
class Stock:
    """A serial or lot: its last arrival, the look at its certificate, who holds it."""

    entry: Entry[StockReceived]
    checked: Entry[CertificateChecked] | None
    allocated: Entry[Allocated] | None
    shelf_life_days: int | None = None
    used_up: bool = False
    revisions: tuple[int, int, int] = (0, 0, 0)
    """How many revisions stock, certificate and allocation have: what the next record comes after."""

    @property
    def body(self) -> StockReceived:
        return self.entry.body

    @property
    def words(self) -> str:
        """The part in words."""
        noun = "serial" if self.body.serialised else "lot"
        return f"{self.body.part_number} {noun} {self.body.tag}"

    @cached_property
    def accepted(self) -> bool:
        """Whether an inspector accepted the certificate of this very arrival."""
        return self._of_arrival and self.checked is not None and self.checked.body.decision == "accepted"

    @property
    def _of_arrival(self) -> bool:
        return self.checked is not None and self.checked.body.arrival == self.entry.revision

    @property
    def quarantine(self) -> str:
        """Why it may not be used; empty once accepted."""
        if self.accepted:
            return ""
        if self._of_arrival and self.checked is not None:
            return self.checked.body.reason or "quarantined"
        return "certificate not yet accepted" if self.body.certificate else "no certificate"

    @property
    def held(self) -> tuple[Taken, ...]:
        """What visits hold of this arrival."""
        if self.allocated is None or self.allocated.body.arrival != self.entry.revision:
            return ()
        return self.allocated.body.taken

    @property
    def taken(self) -> dict[str, int]:
        """Quantity by visit."""
        return {t.visit: t.quantity for t in self.held}

    @cached_property
    def free(self) -> int:
        """What no visit holds."""
        return self.body.quantity - sum(self.taken.values())

    @cached_property
    def expires_on(self) -> date | None:
        """The last day on which it may be built in."""
        return shelf_life_end(self.body.made_on, self.shelf_life_days, self.body.expires_on)

    def expired(self, on: date) -> bool:
        """Whether its shelf life has ended before a day."""
        return self.expires_on is not None and self.expires_on < on


def stock_under(records: Records, kinds: Iterable[PartKind], under: str = "part") -> list[Stock]:
    """What is in store under a subject, held by a visit or not; what was used up is not in it."""
    lives = {k.id: k.shelf_life_days for k in kinds}
    entries = records.current(StockReceived, CertificateChecked, Allocated, under=under)
    by_subject: dict[str, Any] = {e.subject: e for e in entries}
    return [
        Stock(
            entry,
            by_subject.get(f"{place}/certificate"),
            by_subject.get(f"{place}/allocation"),
            lives.get(entry.body.part),
        )
        for place, entry in _arrivals(by_subject)
    ]


def _arrivals(by_subject: dict[str, Any]) -> Iterator[tuple[str, Entry[StockReceived]]]:
    """Each serial or lot with its place."""
    for subject, entry in by_subject.items():
        if isinstance(entry.body, StockReceived):
            yield subject.removesuffix("/stock"), entry


def numbers_of(kind: PartKind) -> tuple[str, ...]:
    """The part numbers of a kind: its own, then what the document allows instead."""
    return (kind.part_number, *kind.alternates)


def stock_of(records: Records, kind: PartKind) -> list[Stock]:
    """What is in store for a kind: its own number first, then what the document allows instead."""
    return [
        s
        for n in numbers_of(kind)
        for s in stock_under(records, [kind], f"part/{segment(n)}")
        if s.body.part == kind.id
    ]


def one_stock(records: Records, kinds: Iterable[PartKind], part_number: str, tag: str) -> Stock | None:
    """A serial or lot as it stands, also after it was used up."""
    place = part_subject(part_number, tag)
    arrivals = records.history(f"{place}/stock")
    entry = _last(arrivals, StockReceived)
    if entry is None:
        return None
    looks, holds = records.history(f"{place}/certificate"), records.history(f"{place}/allocation")
    lives = {k.id: k.shelf_life_days for k in kinds}
    return Stock(
        entry,
        _last(looks, CertificateChecked),
        _last(holds, Allocated),
        lives.get(entry.body.part),
        used_up=isinstance(arrivals[-1].body, UsedUp),
        revisions=(len(arrivals), len(looks), len(holds)),
    )


def certificate_of(records: Records, part_number: str, tag: str) -> Certificate | None:
    """The certificate under which a serial or lot last came in, also after it was used up."""
    arrivals = records.history(part_subject(part_number, tag, "stock"))
    last = _last(arrivals, StockReceived)
    return last.body.certificate if last else None


def _last(history: list[Entry[Body]], kind: type[B]) -> Entry[B] | None:
    """The last revision of a kind."""
    return next((e for e in reversed(history) if isinstance(e.body, kind)), None)  # type: ignore[return-value]
