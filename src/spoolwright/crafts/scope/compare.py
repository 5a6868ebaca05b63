"""The alternatives of a case: exact choice, drawn days, chance to pass; plain numbers in and out."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from spoolwright.core.planning.days import Duration, Task, draw, scope_days
from spoolwright.core.planning.passing import joint_passing, shared_part
from spoolwright.core.planning.scope import alternatives
from spoolwright.core.planning.scope_case import Bounds, Opening, Scope, ScopeCase, WorkOption
from spoolwright.crafts.scope.case import Case

NAME = ("scope.alternatives", "1")
DRAWS, SEED, MOST = 4000, 1, 7


def inputs_of(case: Case) -> dict[str, Any]:
    """The case as plain JSON values."""
    n = case.numbers
    return {
        "items": [[_option(o) for o in options] for options in n.items],
        "openings": [[o.cost, o.hours] for o in n.openings],
        "hours_a_day": n.hours_a_day,
        "margins": list(n.margins),
        "changes": [list(c) for c in n.changes],
        "passing": case.margins.passing if case.margins else None,
        "tasks": [_task(t) for t in case.tasks],
    }


def compute(inputs: dict[str, Any]) -> dict[str, Any]:
    """The alternatives of a case.

    Raises
    ------
    RangeError
        No scope keeps what was asked.
    """
    case = ScopeCase(
        items=tuple(tuple(_read_option(o) for o in options) for options in inputs["items"]),
        openings=tuple(Opening(c, h) for c, h in inputs["openings"]),
        hours_a_day=inputs["hours_a_day"],
        margins=tuple(inputs["margins"]),
        changes=tuple(tuple(c) for c in inputs["changes"]),
    )
    tasks = [_read_task(t) for t in inputs["tasks"]]
    drawn = draw(tasks, draws=DRAWS, seed=SEED)
    shared = 0.0
    if case.margins:
        shared = shared_part(np.array(case.margins), inputs["passing"])
    told = []
    for scope in alternatives(case, Bounds(), most=MOST):
        days = scope_days(drawn, _tasks_of(case, scope), case.hours_a_day)
        told.append(
            {
                "chosen": list(scope.chosen),
                "opened": list(scope.opened),
                "money": scope.cost,
                "hours": scope.hours,
                "days_50": float(np.quantile(days, 0.5)),
                "days_80": float(np.quantile(days, 0.8)),
                "life_h": scope.life if math.isfinite(scope.life) else None,
                "margin": scope.margin if case.margins else None,
                "passing": joint_passing(np.array(scope.margins), shared) if case.margins else None,
            }
        )
    return {"alternatives": told}


def _tasks_of(case: ScopeCase, scope: Scope) -> list[int]:
    """Numbers of the tasks of a scope: the visit, its modules, its options."""
    first = 1 + len(case.openings)
    found = [0, *(1 + m for m in scope.opened)]
    for options, n in zip(case.items[1:], scope.chosen[1:], strict=True):
        found.append(first + n)
        first += len(options)
    return found


def _option(o: WorkOption) -> dict[str, Any]:
    return {
        "cost": o.cost,
        "hours": o.hours,
        "wait": o.wait,
        "life": o.life if math.isfinite(o.life) else None,
        "changes": sorted(o.changes),
        "opens": sorted(o.opens),
    }


def _read_option(o: dict[str, Any]) -> WorkOption:
    life = math.inf if o["life"] is None else o["life"]
    return WorkOption(o["cost"], o["hours"], o["wait"], life, frozenset(o["changes"]), frozenset(o["opens"]))


def _task(t: Task) -> list[Any]:
    durations = [[d.usual, d.slow] for d in (t.hours, t.wait, t.instead)]
    return [*durations, t.scrap]


def _read_task(raw: list[Any]) -> Task:
    hours, wait, instead = (Duration(*d) for d in raw[:3])
    return Task(hours, wait, raw[3], instead)


def recompute(inputs: dict[str, Any], _read: object) -> dict[str, Any]:
    """The same again, for `verify`."""
    return compute(inputs)
