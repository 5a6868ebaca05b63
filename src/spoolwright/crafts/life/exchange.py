"""The manual's exchange tables: which was in force when, and its rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from spoolwright.crafts.life.figure import exact
from spoolwright.crafts.typefile.shop.lives import CycleKind, ExchangeTable


@dataclass(frozen=True)
class Exchange:
    """Kinds of cycle and every exchange table of a type, old ones too."""

    kinds: tuple[CycleKind, ...]
    tables: tuple[ExchangeTable, ...]

    @property
    def starts(self) -> tuple[str, ...]:
        """Kinds that the engine's own count of starts counts."""
        return tuple(k.id for k in self.kinds if k.is_start)

    def of(self, part_number: str) -> list[ExchangeTable]:
        """The tables of a part number, oldest first."""
        own = [t for t in self.tables if part_number in t.part_numbers]
        return sorted(own, key=lambda t: t.effective)

    def named(self, part_number: str, version: str) -> ExchangeTable | None:
        """A table of a part number by its version."""
        return next((t for t in self.of(part_number) if t.version == version), None)

    def in_force(self, part_number: str, on: date) -> ExchangeTable | None:
        """The table in force on a day."""
        return next((t for t in reversed(self.of(part_number)) if t.effective <= on), None)

    def replaced_within(self, table: ExchangeTable, part_number: str, first: date, last: date) -> date | None:
        """The day within a stretch of use on which another table came into force."""
        later = [t.effective for t in self.of(part_number) if first < t.effective < last]
        return min((d for d in later if d > table.effective), default=None)


def rates_of(table: ExchangeTable, operating_class: str) -> dict[str, Fraction] | None:
    """Rates of an operating class; None when the table has no such class."""
    for c in table.classes:
        if c.operating_class == operating_class:
            return {kind: value for kind, rate in c.rates.items() if (value := exact(rate)) is not None}
    return None


def classes_of(tables: Sequence[ExchangeTable]) -> list[str]:
    """Operating classes that any table knows, in the tables' order."""
    return list(dict.fromkeys(c.operating_class for t in tables for c in t.classes))
