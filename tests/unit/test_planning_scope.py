"""The scope of a visit against trying every choice there is."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from spoolwright.core.planning.scope import alternatives, best_scope
from spoolwright.core.planning.scope_case import Bounds, Opening, Scope, ScopeCase, WorkOption, scope_of
from spoolwright.errors import RangeError

CASES = 12
"""Random cases here; `make prove ONLY=planning` runs 200."""
AIMS = ("cost", "days", "margin", "life")
CLOSE = 1e-9


def random_case(rng: np.random.Generator) -> ScopeCase:
    """Up to six parts with two to four options in three modules, two margins; some lives without a limit."""
    items = []
    for _ in range(int(rng.integers(2, 7))):
        options = [
            WorkOption(
                cost=float(rng.uniform(0.0, 50_000.0)),
                hours=float(rng.uniform(0.0, 40.0)),
                wait=float(rng.choice([0.0, 5.0, 12.0, 40.0])),
                life=math.inf if rng.random() < 0.3 else float(rng.uniform(100.0, 6000.0)),
                changes=frozenset(int(c) for c in np.flatnonzero(rng.random(5) < 0.3)),
                opens=frozenset(int(m) for m in np.flatnonzero(rng.random(3) < 0.4)),
            )
            for _ in range(int(rng.integers(2, 5)))
        ]
        items.append(tuple(options))
    openings = tuple(Opening(float(c), float(h)) for c, h in rng.uniform([0, 5], [20_000, 60], (3, 2)))
    margins = tuple(float(x) for x in rng.normal(1.0, 1.0, 2))
    changes = tuple((float(a), float(b)) for a, b in rng.normal(0.2, 0.6, (5, 2)))
    return ScopeCase(tuple(items), openings, 8.0, margins, changes)


def every(case: ScopeCase) -> list[Scope]:
    """What follows from each choice, by arithmetic of this file's own."""
    out = []
    for chosen in product(*(range(len(options)) for options in case.items)):
        picked = [options[n] for options, n in zip(case.items, chosen, strict=True)]
        opened = {m for o in picked for m in o.opens}
        hours = sum(o.hours for o in picked) + sum(case.openings[m].hours for m in opened)
        cost = sum(o.cost for o in picked) + sum(case.openings[m].cost for m in opened)
        made = {c for o in picked for c in o.changes}
        margins = tuple(m + sum(case.changes[c][k] for c in made) for k, m in enumerate(case.margins))
        days = max(o.wait for o in picked) + hours / case.hours_a_day
        life = min(o.life for o in picked)
        out.append(Scope(chosen, tuple(sorted(opened)), cost, hours, days, margins, min(margins), life))
    return out


def within(scopes: list[Scope], bounds: Bounds) -> list[Scope]:
    return [
        s
        for s in scopes
        if s.cost <= bounds.cost + CLOSE * abs(s.cost)
        and s.days <= bounds.days + CLOSE * s.days
        and s.margin >= bounds.margin - CLOSE
        and s.life >= bounds.life
    ]


def best_by_trying(scopes: list[Scope], first: str) -> Scope:
    """The best in one aim, then in the others, cost first: equal values of an aim pass on to the next."""
    order = [AIMS.index(first), *(i for i, a in enumerate(AIMS) if a != first)]
    left = scopes
    for i in order:
        least = min(s.aims[i] for s in left)
        left = [s for s in left if math.isclose(s.aims[i], least, rel_tol=CLOSE, abs_tol=CLOSE)]
    return left[0]


def dominated(a: Scope, by: Scope) -> bool:
    gains = [x - y for x, y in zip(a.aims, by.aims, strict=True) if x != y]
    return bool(gains) and min(gains) >= 0.0 and max(gains) > 1e-6


def faults(case: ScopeCase, rng: np.random.Generator) -> list[str]:
    """Where the programme and trying every choice differ; empty: nowhere."""
    scopes, told = every(case), []
    for s in scopes[:: max(1, len(scopes) // 20)]:
        mine = scope_of(case, s.chosen)
        if mine.opened != s.opened or not np.allclose(mine.aims, s.aims, rtol=1e-12):
            told.append(f"scope_of {s.chosen}")
    some = scopes[int(rng.integers(len(scopes)))]
    bounds = Bounds(days=some.days, margin=some.margin) if rng.random() < 0.5 else Bounds(life=some.life)
    for asked in (Bounds(), bounds):
        for aim in AIMS:
            best, tried = best_scope(case, aim, asked), best_by_trying(within(scopes, asked), aim)
            if best is None or not np.allclose(best.aims, tried.aims, rtol=1e-9, atol=1e-9):
                told.append(f"{aim} {asked}: {best and best.aims} but {tried.aims}")
    small = alternatives(case)
    told += [f"{a.chosen} is dominated by {b.chosen}" for a in small for b in scopes if dominated(a, b)]
    if len({a.chosen for a in small}) != len(small) or len(small) > 7:
        told.append("the same scope twice, or too many")
    return told


def test_programme_equals_trying_every_choice() -> None:
    rng = np.random.default_rng(5001)
    for _ in range(CASES):
        assert faults(random_case(rng), rng) == []


def test_a_module_is_paid_once() -> None:
    opens = frozenset({0})
    case = ScopeCase(
        ((WorkOption(10.0, 2.0, opens=opens),), (WorkOption(20.0, 3.0, 4.0, opens=opens),)),
        (Opening(100.0, 11.0),),
        8.0,
    )
    found = best_scope(case)
    assert found is not None
    assert (found.cost, found.hours, found.days, found.opened) == (130.0, 16.0, 6.0, (0,))
    assert found.life == math.inf


def test_opening_a_module_for_one_thing_makes_the_next_one_cheap() -> None:
    """Two repairs in one module: each alone does not pay its opening, the margin asks for both."""
    opens = frozenset({0})
    keep = WorkOption(0.0)
    one, two = (WorkOption(5.0, 1.0, changes=frozenset({c}), opens=opens) for c in (0, 1))
    case = ScopeCase(((keep, one), (keep, two)), (Opening(50.0, 10.0),), 8.0, (-1.5,), ((1.0,), (1.0,)))
    cheapest, surest = best_scope(case), best_scope(case, "margin")
    assert cheapest is not None and surest is not None
    assert (cheapest.cost, cheapest.margin) == (0.0, -1.5)
    assert (surest.cost, surest.margin) == (60.0, 0.5)
    half = best_scope(case, "cost", Bounds(margin=-0.6))
    assert half is not None and half.cost == 55.0


def test_the_same_change_counts_once() -> None:
    both = (WorkOption(1.0, changes=frozenset({0})),)
    case = ScopeCase((both, both), (), 8.0, (0.0,), ((0.7,),))
    found = best_scope(case, "margin")
    assert found is not None and found.margin == pytest.approx(0.7)


def test_what_no_scope_can_keep() -> None:
    case = ScopeCase(((WorkOption(1.0, life=100.0),),), (), 8.0)
    assert best_scope(case, "cost", Bounds(life=200.0)) is None
    with pytest.raises(RangeError, match="no scope"):
        alternatives(case, Bounds(life=200.0))
    with pytest.raises(RangeError, match="items"):
        best_scope(ScopeCase(((),), (), 8.0))
    with pytest.raises(RangeError, match="change"):
        best_scope(ScopeCase(((WorkOption(1.0, changes=frozenset({0})),),), (), 8.0))
