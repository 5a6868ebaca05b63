"""Invented cards of an engine's life-limited parts, back to birth, ending where the engine's counts do."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import numpy as np

from spoolwright.crafts.life.exchange import Exchange, rates_of
from spoolwright.crafts.life.model import PartBorn, PartUsed, Reading
from spoolwright.crafts.life.rules import exchange_of, limits_in_force
from spoolwright.crafts.typefile.shop.model import ShopPart

CLASSES = ("transport", "utility", "firefighting")
_SHARE = (0.15, 0.8)
"""Of its limit, what a part has used."""
_EARLIEST = date(2008, 6, 1)
"""No engine of the type is older; the first exchange tables are."""


@dataclass
class RigCard:
    """A part's card: birth and lines, in the form in which a table of ledgers is read."""

    part: str
    part_number: str
    serial: str
    module: str
    born: PartBorn | None
    lines: list[PartUsed] = field(default_factory=list)


@dataclass(frozen=True)
class _Engine:
    """An engine that ran evenly from the day it was built: every card that copies its counts has the same."""

    serial: str
    built: date
    on: date
    hours: Decimal
    starts: int

    def read(self, day: date) -> tuple[Decimal, int]:
        """Its hours and starts on a day."""
        part, whole = (day - self.built).days, max((self.on - self.built).days, 1)
        return (self.hours * part / whole).quantize(Decimal("0.1")), self.starts * part // whole

    def day_with(self, starts: int) -> date:
        """The last day with no more starts than that."""
        whole = (self.on - self.built).days
        return self.built + timedelta(starts * whole // max(self.starts, 1))


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
    """A sound card for every life-limited kind of part of an engine that came with these counts on a day.

    Parameters
    ----------
    hours, starts : the engine's own counts when it came
    used : share of its limit that every part has used; drawn for each when None
    """
    kinds = [k.id for k in shop.part if k.life_limited]
    return [
        card_of_part(
            shop, kind, engine, hours=hours, starts=starts, on=on, seed=seed * len(kinds) + n, used=used
        )
        for n, kind in enumerate(kinds)
    ]


def card_of_part(
    shop: ShopPart,
    part: str,
    engine: str,
    *,
    hours: Decimal,
    starts: int,
    on: date,
    seed: int,
    used: float | None = None,
) -> RigCard:
    """A sound card of one kind of part, by its id in the bill of material; otherwise as `cards_of_engine`."""
    draw = np.random.default_rng(seed)
    kind = next(k for k in shop.part if k.id == part)
    share = used if used is not None else float(draw.uniform(*_SHARE))
    built = max(on - timedelta(int(starts * 1.1) + 100), _EARLIEST)
    card = RigCard(
        kind.id, kind.part_number, f"{part[0].upper()}{draw.integers(1000, 9999)}", kind.module, None
    )
    other = f"H{3000 + seed % 1000}"
    _live(card, shop, _Engine(engine, built, on, hours, starts), other, share, draw)
    return card


def with_hidden_use(card: RigCard, hours: Decimal = Decimal("118.5")) -> RigCard:
    """The same card with hours before its last line that no line tells."""
    *before, last = card.lines
    moved = {
        "part_on": last.part_on.model_copy(update={"hours": str(Decimal(last.part_on.hours) + hours)}),
        "part_off": last.part_off.model_copy(update={"hours": str(Decimal(last.part_off.hours) + hours)}),
    }
    return replace(card, lines=[*before, last.model_copy(update=moved)])


def _live(
    card: RigCard, shop: ShopPart, here: _Engine, other: str, share: float, draw: np.random.Generator
) -> None:
    """Make the part, use it elsewhere for what this engine cannot have used, then here to this day."""
    whole = _starts_for(shop, card.part_number, here, share)
    elsewhere = max(whole - here.starts, 0)
    fitted = here.day_with(max(here.starts - whole, 0))
    first = max(fitted - timedelta(40 + elsewhere), _EARLIEST - timedelta(600))
    card.born = PartBorn(
        part_number=card.part_number,
        serial=card.serial,
        made_on=first - timedelta(20),
        document=f"birth certificate {draw.integers(10000, 99999)}",
    )
    use, exchange = str(draw.choice(CLASSES)), exchange_of(shop)
    if elsewhere:
        until = fitted - timedelta(20)
        before = _Engine(other, first, until, Decimal(elsewhere * 8) / 10, elsewhere)
        _stay(card, exchange, before, use, (first, until), "removed")
    _stay(card, exchange, here, use, (fitted, here.on), "still fitted")


def _starts_for(shop: ShopPart, part_number: str, here: _Engine, share: float) -> int:
    """Starts that use up a share of the shortest limit: 1.3 cycles to a start at most."""
    hours = max(0.85, float(here.hours) / max(here.starts, 1)) * 1.1
    per_start = {"cycles": 1.3, "hours": hours, "starts": 1.0}
    limits = limits_in_force(shop.life_limit, part_number, here.on)
    return int(min(float(x.limit) / per_start[x.measure] for x in limits) * share) + 1


def _stay(
    card: RigCard, exchange: Exchange, engine: _Engine, use: str, days: tuple[date, date], ended: str
) -> None:
    """A stay in one engine, in a line for each exchange table that was in force."""
    changes = [t.effective for t in exchange.of(card.part_number) if days[0] < t.effective < days[1]]
    stretches = list(pairwise([days[0], *changes, days[1]]))
    for i, stretch in enumerate(stretches):
        line = _line(card, exchange, engine, use, stretch)
        last = i == len(stretches) - 1
        ways = {"began": "continued" if i else "installed", "ended": ended if last else "continued"}
        card.lines.append(line.model_copy(update=ways))


def _line(
    card: RigCard, exchange: Exchange, engine: _Engine, use: str, stretch: tuple[date, date]
) -> PartUsed:
    table = exchange.in_force(card.part_number, stretch[0])
    rates = rates_of(table, use) if table else None
    if table is None or rates is None:
        raise ValueError(f"no exchange table for {card.part_number} on {stretch[0]}")
    (h0, s0), (h1, s1) = (engine.read(day) for day in stretch)
    ground = (s1 - s0) // 40
    flown = {"full": s1 - s0 - ground, "partial": (s1 - s0) * 2 // 5, "ground": ground}
    cycles = sum((Decimal(n) * Decimal(str(float(rates[k]))) for k, n in flown.items()), Decimal(0))
    before = card.lines[-1].part_off if card.lines else Reading(hours="0", cycles="0")
    return PartUsed(
        part_number=card.part_number,
        serial=card.serial,
        line=len(card.lines) + 1,
        engine_serial=engine.serial,
        on=stretch[0],
        off=stretch[1],
        engine_on=Reading(hours=_text(h0), starts=str(s0)),
        engine_off=Reading(hours=_text(h1), starts=str(s1)),
        part_on=before,
        part_off=Reading(
            hours=_text(Decimal(before.hours) + h1 - h0), cycles=_text(Decimal(before.cycles) + cycles)
        ),
        operating_class=use,
        table=table.version,
        flown={k: str(n) for k, n in flown.items()},
        document=f"card {card.serial}, line {len(card.lines) + 1}",
    )


def _text(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
