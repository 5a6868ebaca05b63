"""Coming visits: which life-limited part is best replaced at which, when every opening costs too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.planning.visits import LifedPart, VisitPlan, visit_plan
from spoolwright.crafts.scope.case import terms_of
from spoolwright.crafts.scope.facts import Facts
from spoolwright.crafts.typefile.shop.model import ShopPart

_SECONDS = 4.0


@dataclass(frozen=True)
class Coming:
    """A visit of the plan: hours flown until then, what is opened, what is replaced."""

    hours: float
    modules: tuple[str, ...]
    parts: tuple[str, ...]
    money: float


@dataclass(frozen=True)
class Future:
    """The plan over coming visits beside what limits alone force; `gap` zero: proved best."""

    visits: tuple[Coming, ...]
    money: float
    gap: float
    forced_money: float
    forced_visits: int
    currency: str
    horizon_h: float
    left_out: tuple[str, ...]


def future_of(shop: ShopPart, facts: Facts, *, coming_now: bool = True) -> Future | None:
    """The cheapest plan over coming visits; None: no part with a limit is known."""
    terms = terms_of(shop)
    modules = [o.module for o in shop.scope_opening]
    own = {k.id: k.module for k in shop.part}
    names, parts, out = [], [], []
    for item in shop.scope_item:
        known, new = facts.parts.get(item.part), [o for o in item.option if o.kind == "replace" and o.life_h]
        if known is None or known.life_h is None or not new:
            continue
        life = int((new[0].life_h or 0.0) // terms.step_h)
        if life < 1 or own.get(item.part) not in modules:
            out.append(item.title)
            continue
        left = 0 if known.need == "replace" else int(known.life_h // terms.step_h)
        names.append(item.title)
        parts.append(LifedPart(modules.index(own[item.part]), min(left, life), life, new[0].money))
    if not parts:
        return None
    opening = np.array([o.money for o in shop.scope_opening])
    plan = visit_plan(parts, terms.steps, opening, terms.visit_money, coming_now=coming_now, seconds=_SECONDS)
    forced = forced_only(parts, terms.steps)
    opened_anyway = opening @ _opened(parts, forced, len(modules)).sum(axis=1)
    came = np.array([bool(column.any()) for column in forced.T])
    forced_money = sum(p.cost * n for p, n in zip(parts, forced.sum(axis=1), strict=True))
    forced_money += opened_anyway + terms.visit_money * (came[1:].sum() + (came[0] and not coming_now))
    return Future(
        visits=tuple(
            _coming(plan, parts, names, modules, int(t), terms.step_h)
            for t in np.flatnonzero(plan.replace.max(axis=0))
        ),
        money=plan.cost,
        gap=plan.gap,
        forced_money=float(forced_money),
        forced_visits=int(came.sum()),
        currency=terms.currency,
        horizon_h=terms.steps * terms.step_h,
        left_out=tuple(out),
    )


def forced_only(parts: list[LifedPart], steps: int) -> NDArray[np.bool_]:
    """Each part replaced when its life is used up and never before; shape (parts, steps)."""
    out = np.zeros((len(parts), steps), dtype=bool)
    for i, p in enumerate(parts):
        out[i, list(range(p.left, steps, p.life))] = True
    return out


def _opened(parts: list[LifedPart], replaced: NDArray[np.bool_], modules: int) -> NDArray[np.bool_]:
    out = np.zeros((modules, replaced.shape[1]), dtype=bool)
    for p, row in zip(parts, replaced, strict=True):
        out[p.module] |= row
    return out


def _coming(
    plan: VisitPlan, parts: list[LifedPart], names: list[str], modules: list[str], step: int, hours: float
) -> Coming:
    replaced = [i for i in range(len(parts)) if plan.replace[i, step]]
    opened = tuple(modules[m] for m in np.flatnonzero(plan.opened[:, step]))
    money = sum(parts[i].cost for i in replaced)
    return Coming(step * hours, opened, tuple(names[i] for i in replaced), money)
