"""What engines of the shop can share, read from records: part lots, gauges, balancer, cell calibration."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from spoolwright.core.diagnosis.causes import Cause, Kind
from spoolwright.crafts.testcell.diagnosis.model import Sister
from spoolwright.crafts.testcell.diagnosis.sisters import (
    MODULES,
    ShopHistory,
    Used,
    Visit,
    columns_for,
    sharing,
)
from spoolwright.crafts.testcell.visit.model import RunAttached
from spoolwright.crafts.typefile.model import TypeFile

_PARTS_OF = {"gear": "gearbox", "accessory": "accessories", "exhaust": "exhaust"}


@dataclass(frozen=True)
class VisitSeen:
    """A visit of the shop: which engine, and when it was released if it was."""

    engine: str
    number: str
    released_on: date | None


@dataclass(frozen=True)
class UsedOn:
    """Something that went into a visit or was used on it.

    `sort` is lot, gauge, balancer or cell; `module` an id of the type file, empty where it touches all.
    """

    visit: str
    sort: str
    name: str
    module: str = ""
    on: date | None = None
    calibrated_on: date | None = None


def parts_of(module: str, type_file: TypeFile) -> tuple[str, ...]:
    """The parts of the engine, as causes name them, that a module of the type file holds."""
    known = next((m for m in type_file.module if m.id == module), None)
    if known is None:
        return ()
    found = [m for m in MODULES if any(f.startswith(m) for f in known.factors)]
    found += [part for word, part in _PARTS_OF.items() if any(f.startswith(word) for f in known.factors)]
    return tuple(dict.fromkeys(found))


def cells_used(visit: str, runs: Iterable[RunAttached], type_file: TypeFile) -> list[UsedOn]:
    """The cells of a visit's runs, each with the last calibration of its instruments before the run."""
    cells = {c.id: c for c in type_file.cell}
    out = []
    for run in runs:
        cell = cells.get(run.cell)
        days = (
            [i.calibrated_on for i in cell.instruments if i.calibrated_on <= run.performed_on] if cell else []
        )
        out.append(
            UsedOn(visit, "cell", run.cell, on=run.performed_on, calibrated_on=max(days, default=None))
        )
    return out


def shop_history(visits: Iterable[VisitSeen], used: Iterable[UsedOn], type_file: TypeFile) -> ShopHistory:
    """The history in the form in which sisters are looked for."""
    by_visit: dict[str, list[UsedOn]] = {}
    for u in used:
        by_visit.setdefault(u.visit, []).append(u)
    columns: dict[str, None] = {}
    out = []
    for v in visits:
        own = by_visit.get(v.number, [])
        shared: dict[str, dict[str, Used]] = {}
        for u in own:
            for column in _columns(u, type_file):
                columns[column] = None
                shared.setdefault(column, {})[u.name] = Used(u.name, u.calibrated_on)
        measured = max((u.on for u in own if u.on is not None), default=None)
        out.append(
            Visit(
                v.engine,
                v.number,
                v.released_on,
                measured,
                {c: tuple(x.values()) for c, x in shared.items()},
            )
        )
    return ShopHistory(tuple(out), tuple(columns))


def _columns(u: UsedOn, type_file: TypeFile) -> list[str]:
    if not u.module:
        return [u.sort]
    return [f"{part}_{u.sort}" for part in parts_of(u.module, type_file)] or [f"{u.module}_{u.sort}"]


def sisters_in(history: ShopHistory, visit: str, kind: Kind, module: str) -> tuple[Sister, ...]:
    """Engines that share with a visit what its found cause can come from, newest first."""
    own = next((v for v in history.visits if v.visit == visit), None)
    if own is None:
        return ()
    cause = Cause(id="", text="", kind=kind, module=module, unit="")
    return sharing(own, history, dict.fromkeys(columns_for(cause, history)))
