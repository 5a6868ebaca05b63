"""What one line of a ledger says by itself: what is missing, what it adds up to, what contradicts itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from spoolwright.crafts.life.calc import cycles_used
from spoolwright.crafts.life.exchange import Exchange, rates_of
from spoolwright.crafts.life.figure import exact, shown, slack
from spoolwright.crafts.life.findings import Fault, Finding
from spoolwright.crafts.life.model import PartUsed, Reading
from spoolwright.crafts.typefile.shop.lives import ExchangeTable

LOOK = "Look at the source document; correct the line if it was copied wrongly, else refer."


@dataclass(frozen=True)
class Sum:
    """A measure on a line: stated at its start, used, stated at its end; `how` shows the arithmetic."""

    measure: str
    on: Fraction | None
    used: Fraction | None
    off: Fraction | None
    how: str
    figures: tuple[str, ...]

    @property
    def difference(self) -> Fraction | None:
        """Stated end less start and use; None where one is unknown."""
        if self.on is None or self.used is None or self.off is None:
            return None
        return self.off - self.on - self.used

    @property
    def adds_up(self) -> bool:
        """Whether the stated end is start and use, as closely as the figures were written."""
        d = self.difference
        return d is not None and abs(d) <= slack(self.figures)


def of(reading: Reading, measure: str) -> str:
    """A figure of a reading."""
    return str(getattr(reading, measure))


def line_sum(line: PartUsed, measure: str, exchange: Exchange) -> Sum:
    """The arithmetic of one measure on one line."""
    on, off = of(line.part_on, measure), of(line.part_off, measure)
    if measure == "cycles":
        used, how, figures = _cycles(line, exchange)
    else:
        figures = (of(line.engine_on, measure), of(line.engine_off, measure))
        used, how = _by_engine(*figures)
    start, end = exact(on), exact(off)
    whole = f"{shown(start)} + {how}"
    if start is not None and used is not None:
        whole += f" = {shown(start + used)}"
    return Sum(measure, start, used, end, whole, (on, off, *figures))


def _by_engine(on: str, off: str) -> tuple[Fraction | None, str]:
    first, last = exact(on), exact(off)
    if first is None or last is None:
        return None, "unknown"
    how = f"({shown(last)} − {shown(first)})"
    return (last - first if last >= first else None), how


def _cycles(line: PartUsed, exchange: Exchange) -> tuple[Fraction | None, str, tuple[str, ...]]:
    flown = {kind: n for kind, text in line.flown.items() if (n := exact(text)) is not None}
    table = exchange.named(line.part_number, line.table)
    rates = rates_of(table, line.operating_class) if table else None
    if not flown or len(flown) < len(line.flown) or rates is None or not flown.keys() <= rates.keys():
        return None, "unknown", ()
    terms = " + ".join(f"{shown(n)} {kind} × {shown(rates[kind])}" for kind, n in flown.items())
    return cycles_used(flown, rates), f"({terms})", ()


def line_findings(line: PartUsed, sums: list[Sum], exchange: Exchange) -> Iterator[Finding]:
    """Every gap and contradiction of a line by itself."""
    yield from _missing(line, sums)
    if not line.document and not line.files:
        text = f"line {line.line} names no document and has no file."
        yield Finding(Fault.NO_DOCUMENT, line.line, "", text, "Attach the page it was copied from.")
    if line.on and line.off and line.off < line.on:
        text = f"line {line.line} ends on {line.off}, before it begins on {line.on}."
        yield Finding(Fault.DATES, line.line, "", text, LOOK)
    yield from _table(line, exchange)
    yield from _engine_backwards(line)
    for s in sums:
        yield from _adds_up(line, s)
    yield from _starts(line, exchange)


def _missing(line: PartUsed, sums: list[Sum]) -> Iterator[Finding]:
    wanted = {
        "engine serial": line.engine_serial,
        "day of installation": line.on,
        "day of removal or reading": line.off,
        "operating class": line.operating_class,
        "exchange table": line.table,
        "cycles flown": line.flown and all(line.flown.values()),
    }
    for name in ("hours", "starts"):
        wanted[f"engine {name} at its start"] = of(line.engine_on, name)
        wanted[f"engine {name} at its end"] = of(line.engine_off, name)
    for s in sums:
        wanted[f"part {s.measure} at its start"] = of(line.part_on, s.measure)
        wanted[f"part {s.measure} at its end"] = of(line.part_off, s.measure)
    absent = [what for what, value in wanted.items() if not value]
    if absent:
        text = f"line {line.line} does not say: {', '.join(absent)}."
        yield Finding(
            Fault.UNKNOWN, line.line, "", text, "Find the record of this use; it is never estimated."
        )


def _table(line: PartUsed, exchange: Exchange) -> Iterator[Finding]:
    if not line.table:
        return
    what = _table_fault(line, exchange)
    if what:
        mend = "Ask whoever counted the cycles for the count by the table in force, else refer."
        yield Finding(Fault.WRONG_TABLE, line.line, "cycles", f"line {line.line}: {what}", mend)


def _table_fault(line: PartUsed, exchange: Exchange) -> str:
    table = exchange.named(line.part_number, line.table)
    if table is None:
        known = ", ".join(t.version for t in exchange.of(line.part_number)) or "none"
        return f"exchange table {line.table} is none of part number {line.part_number} (known: {known})."
    if fault := _class_fault(line, table):
        return fault
    if line.on is None:
        return ""
    right = exchange.in_force(line.part_number, line.on)
    if right is not table:
        force = f"{right.version} (from {right.effective})" if right else "none"
        return f"cycles counted with table {table.version}; in force on {line.on} was {force}."
    changed = exchange.replaced_within(table, line.part_number, line.on, line.off) if line.off else None
    if changed:
        return f"another exchange table came into force on {changed}, within the line; its use is not split."
    return ""


def _class_fault(line: PartUsed, table: ExchangeTable) -> str:
    if not line.operating_class:
        return ""
    rates = rates_of(table, line.operating_class)
    if rates is None:
        return f"table {table.version} has no rates for operating class '{line.operating_class}'."
    unknown = [k for k in line.flown if k not in rates]
    return f"table {table.version} has no rate for {', '.join(unknown)}." if unknown else ""


def _engine_backwards(line: PartUsed) -> Iterator[Finding]:
    for name in ("hours", "starts"):
        first, last = exact(of(line.engine_on, name)), exact(of(line.engine_off, name))
        if first is not None and last is not None and last < first:
            text = (
                f"line {line.line}: {name} of engine {line.engine_serial} fall from {shown(first)} "
                f"to {shown(last)}."
            )
            yield Finding(Fault.BACKWARDS, line.line, f"engine {name}", text, LOOK)


def _adds_up(line: PartUsed, s: Sum) -> Iterator[Finding]:
    if s.on is not None and s.off is not None and s.off < s.on:
        text = f"line {line.line}: {s.measure} of the part fall from {shown(s.on)} to {shown(s.off)}."
        yield Finding(Fault.BACKWARDS, line.line, s.measure, text, LOOK)
    elif s.difference is not None and not s.adds_up:
        text = (
            f"line {line.line}, {s.measure}: {s.how}, but the card says {shown(s.off)} "
            f"({shown(abs(s.difference))} too {'much' if s.difference > 0 else 'little'})."
        )
        yield Finding(Fault.MISMATCH, line.line, s.measure, text, LOOK)


def _starts(line: PartUsed, exchange: Exchange) -> Iterator[Finding]:
    first, last = exact(line.engine_on.starts), exact(line.engine_off.starts)
    counts = [exact(n) for kind, n in line.flown.items() if kind in exchange.starts]
    if first is None or last is None or last < first or not line.flown or None in counts:
        return
    flown = sum((n for n in counts if n is not None), Fraction(0))
    if flown != last - first:
        text = (
            f"line {line.line}: the engine counted {shown(last - first)} starts "
            f"({shown(last)} − {shown(first)}), the flown cycles hold {shown(flown)}."
        )
        yield Finding(Fault.CONTRADICTS, line.line, "starts", text, LOOK)
