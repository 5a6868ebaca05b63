"""What a visit needs against what it holds, what is free, and what is on order."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property

from spoolwright.crafts.supply.calc import day_by_which_enough_came, lead_time_bound
from spoolwright.crafts.supply.model import BuildPlanned, KitLine, PartOrdered
from spoolwright.crafts.supply.stock import Stock, numbers_of, stock_of, stock_under
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.entry import Entry, Records
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartNeeded, segment


class State(StrEnum):
    """How a need stands, worst first."""

    NOT_ORDERED = "not ordered"
    NO_DATE = "on order, no date"
    LATE = "on order, late"
    MAY_BE_LATE = "on order, may be late"
    ALTERNATE = "only an alternate in store"
    IN_TIME = "on order, in time"
    IN_STORE = "in store, not kitted"
    KITTED = "kitted"


SHORT = tuple(State)[:4]
MANY = 12
"""From so many kinds on, one reading of the whole store is quicker than one for each number."""


@dataclass(frozen=True)
class Need:
    """What a visit needs of one kind of part, and how it stands."""

    kind: PartKind
    needed: int
    why: tuple[str, ...]
    lines: tuple[KitLine, ...]
    stock: tuple[Stock, ...]
    orders: tuple[PartOrdered, ...]
    build_on: date | None
    arrival: date | None = None
    late_bound: date | None = None
    deliveries: int = 0

    @cached_property
    def kitted(self) -> int:
        return sum(line.quantity for line in self.lines)

    @property
    def still(self) -> int:
        """What is not kitted yet."""
        return max(self.needed - self.kitted, 0)

    def usable(self, alternates: bool = False) -> list[Stock]:
        """Accepted stock with something free that lasts until the build: own number, or alternates."""
        return [
            s
            for s in self.stock
            if s.accepted
            and s.free > 0
            and not (self.build_on and s.expired(self.build_on))
            and (s.body.part_number != self.kind.part_number) == alternates
        ]

    @property
    def quarantined(self) -> list[Stock]:
        return [s for s in self.stock if not s.accepted and s.free > 0]

    @property
    def ends_before_build(self) -> list[Stock]:
        """Free stock whose shelf life ends before the build."""
        return [
            s for s in self.stock if s.accepted and s.free > 0 and self.build_on and s.expired(self.build_on)
        ]

    @cached_property
    def missing(self) -> int:
        """What neither the kit nor the store holds under its own number."""
        return max(self.still - sum(s.free for s in self.usable()), 0)

    @property
    def late_days(self) -> int:
        """Days from the build date to the promised arrival, 0 in time."""
        return max((self.arrival - self.build_on).days, 0) if self.arrival and self.build_on else 0

    @cached_property
    def state(self) -> State:
        if not self.still:
            return State.KITTED
        if not self.missing:
            return State.IN_STORE
        if self.missing <= sum(s.free for s in self.usable(alternates=True)):
            return State.ALTERNATE
        if sum(o.quantity for o in self.orders) < self.missing:
            return State.NOT_ORDERED
        if self.arrival is None:
            return State.NO_DATE
        if self.late_days:
            return State.LATE
        late = self.late_bound and self.build_on and self.late_bound > self.build_on
        return State.MAY_BE_LATE if late else State.IN_TIME


def build_date(folder: Folder) -> date | None:
    """The day the parts are needed, or the promised day where no build date is set."""
    for planned in folder.of(BuildPlanned):
        return planned.body.build_on
    return next((v.body.promised_on for v in folder.of(VisitOpened)), None)


def kit_lines(folder: Folder, module: str = "") -> list[Entry[KitLine]]:
    """What the visit holds, of one module or all; what was put back is not in it."""
    return [e for e in folder.of(KitLine) if e.body.quantity and module in ("", e.body.module)]


def needed(folder: Folder) -> dict[str, int]:
    """Quantity by kind of part."""
    total: Counter[str] = Counter()
    for entry in folder.of(PartNeeded):
        if not entry.body.withdrawn:
            total[entry.body.part] += entry.body.quantity
    return dict(total)


def lead_times(orders: Iterable[PartOrdered], part: str) -> list[int]:
    """Days from order to arrival of the deliveries of a kind of part."""
    return [
        (o.arrived_on - o.ordered_on).days
        for o in orders
        if o.part == part and o.arrived_on is not None and not o.cancelled
    ]


def orders_of(records: Records, kind: PartKind) -> list[Entry[PartOrdered]]:
    """Every order of a kind of part, whichever visit it was for."""
    return [e for n in numbers_of(kind) for e in records.current(PartOrdered, under=f"order/{segment(n)}")]


@dataclass(frozen=True)
class Source:
    """Where stock and orders of a kind come from."""

    stock: Callable[[PartKind], list[Stock]]
    orders: Callable[[PartKind], list[PartOrdered]]


def by_number(records: Records) -> Source:
    """Each part number asked for by itself: right for a few kinds."""
    return Source(
        lambda kind: stock_of(records, kind), lambda kind: [e.body for e in orders_of(records, kind)]
    )


def whole_store(records: Records, kinds: Sequence[PartKind]) -> Source:
    """The whole store read once: right for many kinds."""
    stock: defaultdict[str, list[Stock]] = defaultdict(list)
    orders: defaultdict[str, list[PartOrdered]] = defaultdict(list)
    for s in stock_under(records, kinds):
        stock[s.body.part_number].append(s)
    for entry in records.current(PartOrdered, under="order"):
        orders[entry.body.part_number].append(entry.body)
    return Source(
        lambda kind: [s for n in numbers_of(kind) for s in stock[n] if s.body.part == kind.id],
        lambda kind: [o for n in numbers_of(kind) for o in orders[n]],
    )


def needs_of(folder: Folder, records: Records) -> list[Need]:
    """Everything a visit needs or holds, shortages first."""
    parts = set(needed(folder)) | {e.body.part for e in kit_lines(folder)}
    kinds = [k for k in folder.kind.shop.part if k.id in parts]
    source = whole_store(records, kinds) if len(kinds) > MANY else by_number(records)
    found = [_need(folder, source, kind) for kind in kinds]
    return sorted(found, key=lambda n: (tuple(State).index(n.state), -n.late_days))


def need_of(folder: Folder, records: Records, kind: PartKind) -> Need:
    """What a visit needs of one kind, and how it stands."""
    return _need(folder, by_number(records), kind)


def _need(folder: Folder, source: Source, kind: PartKind) -> Need:
    asked = [e.body for e in folder.of(PartNeeded) if e.body.part == kind.id and not e.body.withdrawn]
    lines = tuple(e.body for e in kit_lines(folder) if e.body.part == kind.id)
    quantity = sum(a.quantity for a in asked)
    stock = tuple(source.stock(kind)) if quantity or lines else ()
    need = Need(kind, quantity, tuple(a.why for a in asked), lines, stock, (), build_date(folder))
    return _with_orders(folder, source, need) if need.missing else need


def _with_orders(folder: Folder, source: Source, need: Need) -> Need:
    """The need with what is on order for this visit, and when enough will have come."""
    known = source.orders(need.kind)
    orders = [o for o in known if o.visit == folder.visit and o.arrived_on is None and not o.cancelled]
    history = lead_times(known, need.kind.id)
    promised = [(o.promised_on, o.quantity) for o in orders if o.promised_on]
    bounds = [(day, o.quantity) for o in orders if (day := _bound(o, history, folder.today))]
    return replace(
        need,
        orders=tuple(orders),
        arrival=day_by_which_enough_came(promised, need.missing),
        late_bound=day_by_which_enough_came(bounds, need.missing),
        deliveries=len(history),
    )


def _bound(order: PartOrdered, history: Sequence[int], today: date) -> date | None:
    """The day by which four of five such orders would have come."""
    lead = lead_time_bound(history, waited=max((today - order.ordered_on).days, 0))
    return order.ordered_on + timedelta(days=lead) if lead is not None else None


def proposed(folder: Folder, module: str) -> list[tuple[PartKind, int]]:
    """What the bill of material renews each time a module is opened, as far as it is not asked for yet."""
    asked = needed(folder)
    kinds = [k for k in folder.kind.shop.part if k.module == module and k.renewed_when_opened]
    return [(k, k.quantity - asked.get(k.id, 0)) for k in kinds if k.quantity > asked.get(k.id, 0)]
