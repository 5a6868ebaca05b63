"""Cards of `life_planting` read by the project: through the table's text, as a shop hands it over."""

from __future__ import annotations

import csv
import io
from datetime import date

from life_building import KINDS, PART, TABLES, Card
from life_planting import Seen

from spoolwright.crafts.life.exchange import Exchange
from spoolwright.crafts.life.ledger import LedgerRead, read_ledger
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.lives import ClassRates, CycleKind, ExchangeTable
from spoolwright.sources.life_csv import COLUMNS, ledgers_from

_SOURCE = Source(document="plan", paragraph="1")
EXCHANGE = Exchange(
    tuple(CycleKind(id=k, name=k, meaning=k, is_start=s, source=_SOURCE) for k, s in KINDS),
    tuple(
        ExchangeTable(
            version=version,
            part_numbers=(PART,),
            effective=date.fromisoformat(effective),
            classes=tuple(
                ClassRates(operating_class=c, rates={k: r for (k, _), r in zip(KINDS, rates, strict=True)})
                for c, rates in classes.items()
            ),
            source=_SOURCE,
        )
        for version, effective, classes in TABLES
    ),
)


def as_table(card: Card) -> bytes:
    """The card as a CSV table."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    writer.writerows(card.rows)
    return out.getvalue().encode()


def read(card: Card) -> LedgerRead:
    """The card as the project reads it."""
    (c,) = ledgers_from(as_table(card), "card.csv")
    return read_ledger(c.part_number, c.serial, c.born, c.lines, EXCHANGE)


def seen_by(ledger: LedgerRead) -> Seen:
    """What the project saw, as the plan names it."""
    return {(f.line, str(f.fault), f.measure) for f in ledger.findings}
