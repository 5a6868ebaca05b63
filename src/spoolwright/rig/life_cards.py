"""Invented cards of an engine's life-limited parts, back to birth, ending where the engine's counts do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import numpy as np

from spoolwright.crafts.life.build import life_limited
from spoolwright.crafts.life.exchange import Exchange, rates_of
from spoolwright.crafts.life.model import PartBorn, PartUsed, Reading
from spoolwright.crafts.life.rules import exchange_of, limits_in_force
from spoolwright.crafts.typefile.shop.model import ShopPart

CLASSES = ("transport", "utility", "firefighting")
_SHARE = (0.15, 0.8)
"""Of its limit, what a part has used."""


@dataclass
class RigCard:
    """A part's card: birth and lines, in the form in which a table of ledgers is read."""

    part: str
    part_number: str
    serial: str
    module: str
    born: PartBorn | None
    lines: list[PartUsed] = field(default_factory=list)


@dataclass
class _Counts:
    """Where engine and part stand, as a life goes on."""

    engine_hours: Decimal
    engine_starts: int
    hours: Decimal = Decimal(0)
    cycles: Decimal = Decimal(0)


def cards_of_engine(
    shop: ShopPart,
    engine: str,
    *,
    hours: Decimal,
    starts: int,
    on: date,
    seed: int,
    used: float | None = None,
) -> list[RigCard]:
    """A sound card for every life-limited part of an engine that came with these counts on a day.

    Parameters
    ----------
    hours, starts : the engine's own counts when it came
    used : share of its limit that every part has used; drawn for each when None
    """
    draw = np.random.default_rng(seed)
    out = []
    for number, kind in life_limited(shop).items():
        if kind is None or number != kind.part_number:
            continue
        share = used if used is not None else float(draw.uniform(*_SHARE))
        serial = f"{kind.id[0].upper()}{draw.integers(1000, 9999)}"
        card = RigCard(kind.id, number, serial, kind.module, None)
        _live(card, shop, engine, (hours, starts), on, share, draw)
        out.append(card)
    return out


def with_hidden_use(card: RigCard, hours: Decimal = Decimal("118.5")) -> RigCard:
    """The same card with hours before its last line that no line tells."""
    *before, last = card.lines
    moved = {
        "part_on": last.part_on.model_copy(update={"hours": str(Decimal(last.part_on.hours) + hours)}),
        "part_off": last.part_off.model_copy(update={"hours": str(Decimal(last.part_off.hours) + hours)}),
    }
    return RigCard(
        card.part,
        card.part_number,
        card.serial,
        card.module,
        card.born,
        [*before, last.model_copy(update=moved)],
    )


def _live(
    card: RigCard,
    shop: ShopPart,
    engine: str,
    came: tuple[Decimal, int],
    on: date,
    share: float,
    draw: np.random.Generator,
) -> None:
    """Make the part, use it elsewhere for what this engine cannot have used, then here to this day."""
    whole = _starts_for(shop, card.part_number, on, share)
    here = min(whole, came[1])
    days = max(200, int(whole * 1.1))
    made = max(on - timedelta(days + 300), date(2007, 1, 1))
    card.born = PartBorn(
        part_number=card.part_number,
        serial=card.serial,
        made_on=made,
        document=f"birth certificate {draw.integers(10000, 99999)}",
    )
    first, middle = (
        made + timedelta(60),
        made + timedelta(60) + (on - made) * ((whole - here) / max(whole, 1)),
    )
    exchange, use = exchange_of(shop), str(draw.choice(CLASSES))
    counts = _Counts(Decimal(0), 0)
    if whole > here:
        other = f"H{draw.integers(4300, 4399)}"
        spent = _hours_of(whole - here, draw)
        _stay(
            card,
            exchange,
            counts,
            other,
            use,
            (first, middle - timedelta(20)),
            (spent, whole - here),
            "removed",
        )
    spent = min(_hours_of(here, draw), came[0])
    counts.engine_hours, counts.engine_starts = came[0] - spent, came[1] - here
    _stay(card, exchange, counts, engine, use, (middle, on), (spent, here), "still fitted")


def _starts_for(shop: ShopPart, part_number: str, on: date, share: float) -> int:
    """Starts that use up a share of the shortest limit: 1.3 cycles or 0.9 h to a start at most."""
    per_start = {"cycles": 1.3, "hours": 0.95, "starts": 1.0}
    limits = limits_in_force(shop.life_limit, part_number, on)
    return int(min(float(x.limit) / per_start[x.measure] for x in limits) * share) + 1


def _hours_of(starts: int, draw: np.random.Generator) -> Decimal:
    return Decimal(int(starts * draw.uniform(7.5, 9.0))) / 10


def _stay(
    card: RigCard,
    exchange: Exchange,
    counts: _Counts,
    engine: str,
    use: str,
    days: tuple[date, date],
    spent: tuple[Decimal, int],
    ended: str,
) -> None:
    """A stay in one engine, in a line for each exchange table that was in force."""
    changes = [t.effective for t in exchange.of(card.part_number) if days[0] < t.effective < days[1]]
    edges = [days[0], *changes, days[1]]
    shares = _shares(edges, spent[1])
    left = spent[0]
    for i, starts in enumerate(shares):
        last = i == len(shares) - 1
        hours = left if last else (spent[0] * starts / max(spent[1], 1)).quantize(Decimal("0.1"))
        left -= hours
        line = _line(card, exchange, counts, engine, use, edges[i], edges[i + 1], hours, starts)
        ways = {"began": "continued" if i else "installed", "ended": ended if last else "continued"}
        card.lines.append(line.model_copy(update=ways))


def _shares(edges: Sequence[date], starts: int) -> list[int]:
    whole = max((edges[-1] - edges[0]).days, 1)
    parts = [int(starts * (b - a).days / whole) for a, b in pairwise(edges)]
    parts[-1] += starts - sum(parts)
    return parts


def _line(
    card: RigCard,
    exchange: Exchange,
    counts: _Counts,
    engine: str,
    use: str,
    first: date,
    last: date,
    hours: Decimal,
    starts: int,
) -> PartUsed:
    table = exchange.in_force(card.part_number, first)
    rates = rates_of(table, use) if table else None
    if table is None or rates is None:
        raise ValueError(f"no exchange table for {card.part_number} on {first}")
    ground = starts // 40
    flown = {"full": starts - ground, "partial": starts * 2 // 5, "ground": ground}
    used = sum((Decimal(n) * Decimal(str(float(rates[k]))) for k, n in flown.items()), Decimal(0))
    before = (counts.engine_hours, counts.engine_starts, counts.hours, counts.cycles)
    counts.engine_hours += hours
    counts.engine_starts += starts
    counts.hours += hours
    counts.cycles += used
    return PartUsed(
        part_number=card.part_number,
        serial=card.serial,
        line=len(card.lines) + 1,
        engine_serial=engine,
        on=first,
        off=last,
        engine_on=Reading(hours=_text(before[0]), starts=str(before[1])),
        engine_off=Reading(hours=_text(counts.engine_hours), starts=str(counts.engine_starts)),
        part_on=Reading(hours=_text(before[2]), cycles=_text(before[3])),
        part_off=Reading(hours=_text(counts.hours), cycles=_text(counts.cycles)),
        operating_class=use,
        table=table.version,
        flown={k: str(n) for k, n in flown.items()},
        document=f"card {card.serial}, line {len(card.lines) + 1}",
    )


def _text(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
