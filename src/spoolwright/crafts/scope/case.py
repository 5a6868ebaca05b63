"""From the type's options, what was asked and what is known to the case that is computed."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from spoolwright.core.planning.days import Duration, Task
from spoolwright.core.planning.scope_case import Opening, ScopeCase, WorkOption
from spoolwright.crafts.scope.facts import Facts, MarginFacts, Missing, PartFacts
from spoolwright.crafts.scope.model import ScopeAsked
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.typefile.shop.scope import ScopeItem, ScopeOption, ScopeTerms, Takes
from spoolwright.errors import InputError

_ALLOWED = {
    "": frozenset({"keep", "repair", "replace", "exchange", "nozzle class"}),
    "repair": frozenset({"repair", "replace", "exchange", "nozzle class"}),
    "replace": frozenset({"replace", "exchange", "nozzle class"}),
}


@dataclass(frozen=True)
class Offered:
    """A part with the options that are left, and why others are not."""

    item: ScopeItem
    facts: PartFacts
    options: tuple[ScopeOption, ...]
    out: tuple[str, ...]


@dataclass(frozen=True)
class Case:
    """The case as it is computed, with the words that belong to its numbers."""

    offered: tuple[Offered, ...]
    modules: tuple[str, ...]
    numbers: ScopeCase
    tasks: tuple[Task, ...]
    """Of the visit, of each module, then of each option in order."""
    margins: MarginFacts | None
    missing: tuple[Missing, ...]


def case_of(shop: ShopPart, asked: ScopeAsked, facts: Facts) -> Case:
    """The case of a visit.

    Raises
    ------
    InputError
        The type has no scope terms, or a part is left without any option.
    """
    terms = terms_of(shop)
    modules = tuple(o.module for o in shop.scope_opening)
    offered = tuple(_offered(i, facts.parts.get(i.part, PartFacts(i.part)), asked) for i in shop.scope_item)
    for o in (o for o in offered if not o.options):
        raise InputError(
            f"{o.item.title}: nothing is left to do about it ({'; '.join(o.out)}).",
            mend="Ask for less life, or add an option to the type's scope.toml.",
            where="least_life_h",
        )
    changes = _changes(offered, facts.margins)
    forced = _forced(asked, modules)
    own = {k.id: k.module for k in shop.part}
    items = [tuple(_numbers(o, x, own, modules, list(changes)) for x in o.options) for o in offered]
    numbers = ScopeCase(
        items=((WorkOption(terms.visit_money, terms.visit_hours, opens=forced),), *items),
        openings=tuple(Opening(o.money, o.hours) for o in shop.scope_opening),
        hours_a_day=terms.hours_a_day,
        margins=_scaled(facts.margins, facts.margins.means) if facts.margins else (),
        changes=tuple(changes.values()),
    )
    visit = Task(Duration(terms.visit_hours, terms.visit_hours), Duration(0.0, 0.0))
    tasks = [visit, *map(_task, shop.scope_opening)]
    tasks += [_option_task(x, o.options) for o in offered for x in o.options]
    missing = (*facts.missing, *_unreached(offered, facts.margins))
    return Case(offered, modules, numbers, tuple(tasks), facts.margins, missing)


def terms_of(shop: ShopPart) -> ScopeTerms:
    """On what a quote stands.

    Raises
    ------
    InputError
        The type's shop part has none.
    """
    if shop.scope_terms is None or not shop.scope_item:
        raise InputError(
            "the type has no options for a scope.", mend="Enter them in scope.toml of its shop part."
        )
    return shop.scope_terms


def _offered(item: ScopeItem, facts: PartFacts, asked: ScopeAsked) -> Offered:
    left, out = [], []
    for option in item.option:
        life = life_after(option, facts)
        if option.kind not in _ALLOWED[facts.need]:
            out.append(f"{option.title.lower()}: its findings ask for more")
        elif life is not None and life < max(asked.least_life_h, 1e-9):
            out.append(f"{option.title.lower()}: {life:.0f} h left, {asked.least_life_h:.0f} h asked")
        else:
            left.append(option)
    return Offered(item, facts, tuple(left), tuple(out))


def life_after(option: ScopeOption, facts: PartFacts) -> float | None:
    """Hours that the part may run afterwards; none without a limit."""
    if option.kind in ("keep", "repair", "nozzle class"):
        return facts.life_h
    return option.life_h


def _forced(asked: ScopeAsked, modules: tuple[str, ...]) -> frozenset[int]:
    for name in asked.must_open:
        if name not in modules:
            raise InputError(
                f"opening module '{name}' has no price.",
                mend="Add it to scope.toml of the type's shop part.",
                where="must_open",
            )
    return frozenset(modules.index(m) for m in asked.must_open)


def _scaled(margins: MarginFacts, values: Iterable[float]) -> tuple[float, ...]:
    return tuple(v / u for v, u in zip(values, margins.uncertainties, strict=True))


def _changes(offered: Iterable[Offered], margins: MarginFacts | None) -> dict[str, tuple[float, ...]]:
    """The changes that any option brings and the forecast knows."""
    named = dict.fromkeys(x.forecast for o in offered for x in o.options if x.forecast)
    known = margins.changes if margins else {}
    return {name: _scaled(margins, known[name]) for name in named if name in known} if margins else {}


def _numbers(
    offered: Offered, option: ScopeOption, own: dict[str, str], modules: tuple[str, ...], changes: list[str]
) -> WorkOption:
    life = life_after(option, offered.facts)
    opens = opened_by(option, offered.item.part, own)
    for name in opens:
        if name not in modules:
            raise InputError(
                f"opening module '{name}' has no price.", mend="Add it to the type's scope.toml."
            )
    return WorkOption(
        cost=option.money,
        hours=option.hours,
        wait=option.wait_days,
        life=math.inf if life is None else life,
        changes=frozenset({changes.index(option.forecast)}) if option.forecast in changes else frozenset(),
        opens=frozenset(modules.index(m) for m in opens),
    )


def opened_by(option: ScopeOption, part: str, own: dict[str, str]) -> tuple[str, ...]:
    """The modules that an option opens."""
    if option.opens is not None:
        return option.opens
    if option.kind == "keep":
        return ()
    if part not in own:
        raise InputError(
            f"scope item '{part}' is no part of the bill of material.", mend="Correct scope.toml."
        )
    return (own[part],)


def _task(takes: Takes) -> Task:
    return Task(
        Duration(takes.hours, takes.hours_slow or takes.hours),
        Duration(takes.wait_days, takes.wait_days_slow or takes.wait_days),
    )


def _option_task(option: ScopeOption, others: Iterable[ScopeOption]) -> Task:
    """A repair that ends in scrap waits for the part that comes soonest instead."""
    plain = _task(option)
    instead = [_task(o).wait for o in others if o.kind in ("replace", "exchange")]
    if not option.scrap_share or not instead:
        return plain
    return Task(plain.hours, plain.wait, option.scrap_share, min(instead, key=lambda d: d.usual))


def _unreached(offered: Iterable[Offered], margins: MarginFacts | None) -> list[Missing]:
    """Options whose effect the forecast does not know: counted as none, and told."""
    if margins is None:
        return []
    named = dict.fromkeys(x.forecast for o in offered for x in o.options if x.forecast)
    lost = [n for n in named if n not in margins.changes]
    if not lost:
        return []
    listed = ", ".join(n.replace("_", " ") for n in lost)
    return [
        Missing(f"The forecast says nothing of: {listed}. No effect on the margins is counted for these.", "")
    ]
