"""Invented lives of parts as they truly were, and the cards written down of them.

Nothing here imports the project. A life is built forward in time from what happened (which engine, how many
hours and cycles, at which rate) in decimal arithmetic; the card is what was written down of it, as rows of
text.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

Row = dict[str, str]

PART = "Z-10"
KINDS = [("full", True), ("partial", False), ("ground", True)]
TABLES = [
    ("T1", "2004-01-01", {"a": ("1", "0.2", "0.3"), "b": ("1", "0.35", "0.3")}),
    ("T2", "2013-07-01", {"a": ("1", "0.25", "0.4"), "b": ("1", "0.4", "0.4")}),
    ("T3", "2019-02-15", {"a": ("1", "0.3", "0.45"), "b": ("1.1", "0.55", "0.45")}),
]


@dataclass
class Card:
    """What was written down. `rows[0]` is the birth while `born`; the others are the lines."""

    rows: list[Row]
    style: str

    @property
    def lines(self) -> list[Row]:
        return [r for r in self.rows if r["event"] == "use"]


def table_on(day: date) -> tuple[str, dict[str, tuple[str, str, str]]]:
    """Version and rates in force on a day."""
    version, _, rates = [t for t in TABLES if date.fromisoformat(t[1]) <= day][-1]
    return version, rates


def used(flown: str, rates: tuple[str, str, str]) -> Decimal:
    """Cycles used, in decimals."""
    counts = dict(p.split("=") for p in flown.split("; "))
    return sum((Decimal(counts[k]) * Decimal(r) for (k, _), r in zip(KINDS, rates, strict=True)), Decimal(0))


def written(hours: Decimal, style: str) -> str:
    """Hours as the card has them: tenths, or hours and minutes."""
    if style == "clock":
        whole, minutes = divmod(int((hours * 60).to_integral_value(ROUND_HALF_UP)), 60)
        return f"{whole}:{minutes:02d}"
    return str(hours.quantize(Decimal("0.1"), ROUND_HALF_UP))


def life(draw: random.Random) -> Card:
    """A sound card: two to twelve lines in two to four engines."""
    style = draw.choice(["tenths", "tenths", "clock", "mixed"])
    made = date(2005, 1, 1) + timedelta(draw.randrange(3000))
    engines = [
        {"name": f"E{i}", "hours": Decimal(draw.randrange(0, 60000)) / 10, "starts": draw.randrange(0, 4000)}
        for i in range(draw.randrange(2, 5))
    ]
    birth = row("birth", on=str(made), document="birth certificate", part_hours_on="0", part_cycles_on="0")
    card, day = Card([birth], style), made + timedelta(draw.randrange(0, 300))
    hours, cycles, engine = Decimal(0), Decimal(0), engines[0]
    wanted, goes_on, kept = draw.randrange(2, 13), False, "a"
    while len(card.lines) < wanted:
        if not goes_on:
            engine, kept = draw.choice(engines), draw.choice("ab")
            engine["hours"] += Decimal(draw.randrange(0, 9000)) / 10
            engine["starts"] += draw.randrange(0, 900)
        end = day + timedelta(draw.randrange(40, 700))
        change = [d for t in TABLES if day < (d := date.fromisoformat(t[1])) < end]
        end = change[0] if change else end
        last = len(card.lines) + 1 == wanted
        continues = bool(change or draw.random() < 0.25) and not last
        line, flown_hours, flown_cycles = use(draw, card, engine, kept, day, end, hours, cycles)
        line["began"] = "continued" if goes_on else "installed"
        line["ended"] = (
            "continued" if continues else draw.choice(["removed", "still fitted"]) if last else "removed"
        )
        card.rows.append(line)
        hours, cycles = hours + flown_hours, cycles + flown_cycles
        day = end if continues else end + timedelta(draw.choice([0, draw.randrange(1, 400)]))
        goes_on = continues
    return card


def row(event: str, **cells: str) -> Row:
    return {"part_number": PART, "serial": "S1", "event": event} | cells


def use(
    draw: random.Random, card: Card, engine: dict[str, object], kept: str, day: date, end: date,
    hours: Decimal, cycles: Decimal,
) -> tuple[Row, Decimal, Decimal]:  # fmt: skip
    """A line of use in an engine, and what it used; the engine grows with it."""
    step = 1 if card.style == "tenths" else 5
    flown_hours = Decimal(draw.randrange(20, 5000, step)) / 10
    if card.style in ("clock", "mixed"):
        flown_hours = Decimal(draw.randrange(200, 30000) * 3) / 60  # whole multiples of three minutes
    counts = [draw.randrange(10, 900), draw.randrange(5, 900), draw.randrange(1, 120)]
    flown = "; ".join(f"{k}={n}" for (k, _), n in zip(KINDS, counts, strict=True))
    version, rates = table_on(day)
    flown_cycles = used(flown, rates[kept])
    engine_style = "clock" if card.style == "mixed" else card.style
    before_hours, before_starts = engine["hours"], engine["starts"]
    assert isinstance(before_hours, Decimal) and isinstance(before_starts, int)
    engine["hours"], engine["starts"] = before_hours + flown_hours, before_starts + counts[0] + counts[2]
    line = row(
        "use", engine=str(engine["name"]), on=str(day), off=str(end), table=version, flown=flown,
        document=f"card, line {len(card.lines) + 1}",
    )  # fmt: skip
    line |= {
        "class": kept,
        "line": str(len(card.lines) + 1),
        "engine_hours_on": written(before_hours, engine_style),
        "engine_hours_off": written(before_hours + flown_hours, engine_style),
        "engine_starts_on": str(before_starts),
        "engine_starts_off": str(engine["starts"]),
        "part_hours_on": written(hours, card.style),
        "part_hours_off": written(hours + flown_hours, card.style),
        "part_cycles_on": str(cycles),
        "part_cycles_off": str(cycles + flown_cycles),
    }
    return line, flown_hours, flown_cycles
