"""Changed limits over the stock of a shop: every serial of the part number on record, and where it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.life.build import card_from, standing_of
from spoolwright.crafts.life.model import AffectedSerial, LimitChangeSeen, PartBorn, PartUsed
from spoolwright.crafts.life.service import limit_change_subject
from spoolwright.crafts.life.stock import LimitChange, affected_by, limit_changes
from spoolwright.crafts.supply.model import StockReceived
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.parts import PartFitted, segment


@dataclass(frozen=True)
class ChangedLimit:
    """A changed limit of a type, the serials it touches now, and what was recorded about it."""

    type_id: str
    name: str
    change: LimitChange
    affected: tuple[AffectedSerial, ...]
    seen: Entry[Body] | None

    @property
    def up_to_date(self) -> bool:
        """Whether the record names the same serials with the same figures."""
        return (
            self.seen is not None
            and isinstance(self.seen.body, LimitChangeSeen)
            and self.seen.body.affected == self.affected
        )


def changed_limits(shop: Shop, today: date) -> list[ChangedLimit]:
    """Every changed limit of every type of which an engine was here, newest first."""
    here = _in_the_shop(shop)
    return [_changed(shop, type_id, c, today, here) for type_id, c in _changes(shop, today)]


def changed_limit(shop: Shop, type_id: str, asked: tuple[str, str, str], today: date) -> ChangedLimit | None:
    """One of them: by part number, measure and day; None where there is none."""
    for known, c in _changes(shop, today):
        if known == type_id and (c.now.part_number, c.now.measure, str(c.now.effective)) == asked:
            return _changed(shop, type_id, c, today, _in_the_shop(shop))
    return None


def _changes(shop: Shop, today: date) -> Iterator[tuple[str, LimitChange]]:
    for type_id in dict.fromkeys(line.opened.type_id for line in shop.visits(open_only=False)):
        for change in limit_changes(shop.types.of(type_id).shop.life_limit, today):
            yield type_id, change


def _in_the_shop(shop: Shop) -> dict[str, str]:
    """The visit of each engine in the shop."""
    return {line.opened.engine_serial: line.number for line in shop.visits()}


def _changed(
    shop: Shop, type_id: str, change: LimitChange, today: date, here: Mapping[str, str]
) -> ChangedLimit:
    part, number = shop.types.of(type_id).shop, change.now.part_number
    history = shop.records.history(limit_change_subject(type_id, change))
    kinds = {n: k.name for k in part.part for n in (k.part_number, *k.alternates)}
    stock = _by_serial(shop, number)
    standings = [standing_of(number, s, card_from(own), part, today) for s, own in stock.items()]
    affected = affected_by(change, standings, lambda _, serial: _place(stock[serial], here))
    return ChangedLimit(type_id, kinds.get(number, ""), change, affected, history[-1] if history else None)


def _by_serial(shop: Shop, part_number: str) -> dict[str, list[Entry[Body]]]:
    """Every serial of a part number that has a birth, a line, a place, or lies in store, with its records."""
    kinds = (PartBorn, PartUsed, PartFitted, StockReceived)
    out: dict[str, list[Entry[Body]]] = {}
    for entry in shop.records.current(*kinds, under=f"part/{segment(part_number)}"):
        body = entry.body
        if isinstance(body, StockReceived):
            if body.serialised:
                out.setdefault(body.tag, []).append(entry)
        elif isinstance(body, PartBorn | PartUsed | PartFitted):
            out.setdefault(body.serial, []).append(entry)
    return out


def _place(own: Sequence[Entry[Body]], here: Mapping[str, str]) -> str:
    """Where a part is: in an engine in the shop, in one that is out, in store, or off."""
    fitted = next((e.body for e in own if isinstance(e.body, PartFitted)), None)
    engine = fitted.engine_serial if fitted else ""
    if engine in here:
        return f"in engine {engine}, in the shop (visit {here[engine]})"
    if engine:
        return f"installed in engine {engine}"
    if any(isinstance(e.body, StockReceived) for e in own):
        return "in store"
    return (fitted.state if fitted else "") or "not recorded where"
