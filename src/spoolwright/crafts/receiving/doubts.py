"""What cannot be right about what was received, each told in a sentence; a person answers it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

from spoolwright.crafts.receiving.model import EngineAtVisit, ModuleReceived
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import Counts, ModuleFitted, PartFitted

COUNTED = (("hours", "h"), ("cycles", "cycles"), ("starts", "starts"))
HOURS_A_DAY = 24


@dataclass(frozen=True)
class Doubt:
    """Something implausible: a key that stays, and the sentence."""

    key: str
    text: str
    module: str = ""


@dataclass(frozen=True)
class Known:
    """What the shop's records say of this engine and its modules from before."""

    earlier: tuple[EngineAtVisit, ...] = ()
    in_shop_as: tuple[str, ...] = field(default=(), metadata={"help": "open visits of the same serial"})
    modules: tuple[ModuleFitted, ...] = ()
    parts: tuple[PartFitted, ...] = ()


def doubts(
    opened: VisitOpened,
    counts: Counts,
    modules: Iterable[ModuleReceived],
    parts: Iterable[PartFitted],
    known: Known,
    bill: Iterable[PartKind],
    today: date,
) -> list[Doubt]:
    """Everything implausible, in the order a person would look at it."""
    return [
        *_dates(opened, today),
        *_serial(opened, known),
        *_inside("engine", f"engine {opened.engine_serial}", counts),
        *_against_earlier(opened, counts, known),
        *(d for m in modules for d in _module(opened, m, known)),
        *_parts(opened, parts, known, {k.id: k for k in bill}),
    ]


def _dates(opened: VisitOpened, today: date) -> Iterator[Doubt]:
    if opened.received_on > today:
        yield Doubt("received_on", f"received on {opened.received_on}, which is after today, {today}.")
    if opened.promised_on and opened.promised_on < opened.received_on:
        told = f"promised for {opened.promised_on}, before it was received on {opened.received_on}."
        yield Doubt("promised_on", told)


def _serial(opened: VisitOpened, known: Known) -> Iterator[Doubt]:
    for other in known.in_shop_as:
        yield Doubt(
            f"in_shop-{other}",
            f"engine {opened.engine_serial} is already in the shop under visit {other}: "
            "the plate was misread, or that visit was never closed.",
        )


def _inside(key: str, what: str, counts: Counts, module: str = "") -> Iterator[Doubt]:
    """Since overhaul can't be more than since new."""
    for name, unit in COUNTED:
        new, overhaul = getattr(counts, f"{name}_since_new"), getattr(counts, f"{name}_since_overhaul")
        if new is not None and overhaul is not None and overhaul > new:
            told = f"{what}: {overhaul:g} {unit} since overhaul, more than the {new:g} {unit} since new."
            yield Doubt(f"{key}-{name}-overhaul", told, module)


def _growth(
    key: str, what: str, now: Counts, then: Counts, days: int, where: str, module: str = ""
) -> Iterator[Doubt]:
    """Counts never fall, and no more hours are flown than passed."""
    for name, unit in COUNTED:
        new, old = getattr(now, f"{name}_since_new"), getattr(then, f"{name}_since_new")
        if new is None or old is None:
            continue
        if new < old:
            told = f"{what}: {new:g} {unit} since new, fewer than the {old:g} {unit} recorded {where}."
            yield Doubt(f"{key}-{name}-fell", told, module)
        elif name == "hours" and new - old > HOURS_A_DAY * max(days, 0):
            told = f"{what}: {new - old:g} h more than {where}, but only {days} days have passed since."
            yield Doubt(f"{key}-{name}-grew", told, module)


def _against_earlier(opened: VisitOpened, counts: Counts, known: Known) -> Iterator[Doubt]:
    before = [e for e in known.earlier if e.received_on <= opened.received_on]
    for last in sorted(before, key=lambda e: e.received_on)[-1:]:
        where = f"at visit {last.visit} on {last.received_on}"
        days = (opened.received_on - last.received_on).days
        yield from _growth("engine", f"engine {opened.engine_serial}", counts, last.counts, days, where)


def _module(opened: VisitOpened, module: ModuleReceived, known: Known) -> Iterator[Doubt]:
    key, what = f"module-{module.module}", f"module {module.module} {module.serial}"
    yield from _inside(key, what, module.counts, module.module)
    for last in known.modules:
        if (last.module, last.serial) != (module.module, module.serial) or last.visit == opened.number:
            continue
        where = f"at visit {last.visit} on {last.on}"
        if last.engine_serial != opened.engine_serial:
            yield Doubt(
                f"{key}-elsewhere",
                f"{what} was in engine {last.engine_serial} {where}: "
                "its papers should show when it was moved, or the plate was misread.",
                module.module,
            )
        days = (opened.received_on - last.on).days
        yield from _growth(key, what, module.counts, last.counts, days, where, module.module)


def _parts(
    opened: VisitOpened, parts: Iterable[PartFitted], known: Known, bill: dict[str, PartKind]
) -> Iterator[Doubt]:
    before = {(p.part_number, p.serial): p for p in known.parts}
    for part in parts:
        kind = bill.get(part.part)
        key = f"part-{part.part_number}-{part.serial}"
        numbers = (kind.part_number, *kind.alternates) if kind else ()
        if kind and part.part_number not in numbers:
            yield Doubt(
                f"{key}-number",
                f"{kind.name} {part.serial} carries part number {part.part_number}; "
                f"the bill of material names {' or '.join(numbers)}. Refer to engineering.",
                part.module,
            )
        last = before.get((part.part_number, part.serial))
        if last and last.engine_serial and last.engine_serial != opened.engine_serial:
            yield Doubt(
                f"{key}-elsewhere",
                f"part {part.part_number} {part.serial} was in engine {last.engine_serial} on {last.on}: "
                "its card should show when it was moved, or the plate was misread.",
                part.module,
            )
