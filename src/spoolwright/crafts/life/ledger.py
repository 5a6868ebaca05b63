"""A part's ledger, added up again from birth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from spoolwright.crafts.life.chain_checks import Present, birth_findings, chain_findings, present_findings
from spoolwright.crafts.life.exchange import Exchange
from spoolwright.crafts.life.figure import exact
from spoolwright.crafts.life.findings import Fault, Finding
from spoolwright.crafts.life.line_checks import Sum, line_findings, line_sum, of
from spoolwright.crafts.life.model import PartBorn, PartUsed

ALWAYS = ("hours", "cycles")
"""Measures every card states; starts only where a limit is in starts."""


@dataclass(frozen=True)
class LineRead:
    """A line, the arithmetic of each measure, and the total from birth after it (of what is recorded)."""

    line: PartUsed
    sums: tuple[Sum, ...]
    totals: dict[str, Fraction]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class LedgerRead:
    """A ledger as read: every line, every finding, and the totals.

    `totals` add up what is recorded, from birth; `whole` says of each measure whether that is all of it.
    `stated` is what the last line says.
    """

    part_number: str
    serial: str
    born: PartBorn | None
    lines: tuple[LineRead, ...]
    findings: tuple[Finding, ...]
    totals: dict[str, Fraction]
    whole: dict[str, bool]
    stated: dict[str, str]

    @property
    def proven(self) -> bool:
        """Whether the life is proven back to birth: no gap, no contradiction."""
        return not self.findings

    @property
    def last(self) -> PartUsed | None:
        return self.lines[-1].line if self.lines else None


def read_ledger(
    part_number: str,
    serial: str,
    born: PartBorn | None,
    lines: Sequence[PartUsed],
    exchange: Exchange,
    measures: Sequence[str] = ALWAYS,
    now: Present | None = None,
) -> LedgerRead:
    """Add a ledger up again from birth and find every gap and contradiction.

    Parameters
    ----------
    born : the birth record, None where there is none
    lines : lines in any order; their numbers order them
    exchange : the manual's exchange tables
    measures : what is added up
    now : where the part is, for a ledger that must reach to this day
    """
    ordered = sorted(lines, key=lambda x: x.line)
    found = [*birth_findings(born, ordered, measures), *chain_findings(ordered, measures)]
    found += present_findings(ordered, now) if now else ()
    start = {m: exact(of(born.counts, m)) if born else None for m in measures}
    totals = {m: v or Fraction(0) for m, v in start.items()}
    whole = {m: v is not None for m, v in start.items()}
    read = []
    for line in ordered:
        sums = [line_sum(line, m, exchange) for m in measures]
        found += line_findings(line, sums, exchange)
        for s in sums:
            totals[s.measure] += s.used or Fraction(0)
            whole[s.measure] &= s.used is not None
        read.append((line, tuple(sums), dict(totals)))
    order = list(Fault)  # what is missing stands before what does not add up
    found.sort(key=lambda f: (f.line, order.index(f.fault), f.measure))
    rows = tuple(LineRead(x, s, t, tuple(f for f in found if f.line == x.line)) for x, s, t in read)
    stated = {
        m: of(ordered[-1].part_off, m) if ordered else (of(born.counts, m) if born else "") for m in measures
    }
    return LedgerRead(part_number, serial, born, rows, tuple(found), totals, whole, stated)
