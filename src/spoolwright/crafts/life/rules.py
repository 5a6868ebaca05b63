"""What a ledger comes to against the limits in force. Without proof of life a part has none left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from spoolwright.crafts.life.chain_checks import Present
from spoolwright.crafts.life.exchange import Exchange
from spoolwright.crafts.life.figure import shown
from spoolwright.crafts.life.ledger import ALWAYS, LedgerRead, read_ledger
from spoolwright.crafts.life.model import PartBorn, PartUsed
from spoolwright.crafts.typefile.shop.lives import LifeLimit
from spoolwright.crafts.typefile.shop.model import ShopPart


class Verdict(StrEnum):
    """What the papers say about a part's life; a person disposes."""

    WITHIN = "within its limits"
    REACHED = "limit reached"
    NO_PROOF = "refer: life not proven"
    NO_LIMIT = "refer: no limit transcribed"


@dataclass(frozen=True)
class Against:
    """A total against a limit. `left` is negative beyond it, and None where the life is not proven."""

    limit: LifeLimit
    used: Fraction
    left: Fraction | None

    @property
    def share(self) -> float:
        """Used, as a share of the limit."""
        return float(self.used / Fraction(self.limit.limit)) if Fraction(self.limit.limit) else 1.0

    @property
    def text(self) -> str:
        source = f"{self.limit.source.document} revision {self.limit.revision}, {self.limit.source.paragraph}"
        over = self.left is not None and self.left < 0
        left = "none proven" if self.left is None else f"{shown(abs(self.left))} {'over' if over else 'left'}"
        most = f"{shown(Fraction(self.limit.limit))} {self.limit.measure}"
        return f"{shown(self.used)} of {most}: {left} ({source})"


@dataclass(frozen=True)
class Standing:
    """A part's ledger, its limits, and the verdict."""

    ledger: LedgerRead
    limits: tuple[Against, ...]
    verdict: Verdict
    now: Present | None = None

    @property
    def part_number(self) -> str:
        return self.ledger.part_number

    @property
    def serial(self) -> str:
        return self.ledger.serial

    @property
    def may_be_fitted(self) -> bool:
        """Whether the papers allow a person to say so."""
        return self.verdict is Verdict.WITHIN


def exchange_of(shop: ShopPart) -> Exchange:
    """The exchange tables of a type."""
    return Exchange(shop.cycle_kind, shop.exchange_table)


def limits_in_force(limits: Sequence[LifeLimit], part_number: str, on: date) -> list[LifeLimit]:
    """The newest limit of a part number in each measure, of those in force on a day."""
    newest: dict[str, LifeLimit] = {}
    for limit in sorted(limits, key=lambda x: x.effective):
        if limit.part_number == part_number and limit.effective <= on:
            newest[limit.measure] = limit
    return list(newest.values())


def measures_of(limits: Sequence[LifeLimit]) -> tuple[str, ...]:
    """What a card must state: hours and cycles always, starts where a limit is in starts."""
    return (*ALWAYS, *(["starts"] if any(x.measure == "starts" for x in limits) else []))


def judge_life(
    part_number: str,
    serial: str,
    born: PartBorn | None,
    lines: Sequence[PartUsed],
    shop: ShopPart,
    on: date,
    now: Present | None = None,
) -> Standing:
    """A part's ledger against the limits in force on a day; `now` says where the part is."""
    limits = limits_in_force(shop.life_limit, part_number, on)
    ledger = read_ledger(part_number, serial, born, lines, exchange_of(shop), measures_of(limits), now)
    against = tuple(_against(x, ledger) for x in limits)
    return Standing(ledger, against, _verdict(ledger, against), now)


def _against(limit: LifeLimit, ledger: LedgerRead) -> Against:
    used = ledger.totals[limit.measure]
    return Against(limit, used, Fraction(limit.limit) - used if ledger.proven else None)


def _verdict(ledger: LedgerRead, against: Sequence[Against]) -> Verdict:
    if not ledger.proven:
        return Verdict.NO_PROOF
    if not against:
        return Verdict.NO_LIMIT
    if any(a.left is not None and a.left <= 0 for a in against):
        return Verdict.REACHED
    return Verdict.WITHIN
