"""The shop's history for sister engines, filled from the records of every craft that used something."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.bootstrap.shop import Shop
from spoolwright.core.diagnosis.causes import Kind
from spoolwright.crafts.cards.model import ReadingTaken, ToolMoved
from spoolwright.crafts.release.model import ReleaseSigned
from spoolwright.crafts.supply.model import KitLine
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis, Sister
from spoolwright.crafts.testcell.diagnosis.sisters import ShopHistory
from spoolwright.crafts.testcell.visit.history import (
    UsedOn,
    VisitSeen,
    cells_used,
    parts_of,
    shop_history,
    sisters_in,
)
from spoolwright.crafts.testcell.visit.model import RunAttached, RunsDiagnosed
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder

_BALANCER = "balancer"


def history_of(shop: Shop, folder: Folder) -> ShopHistory:
    """Every visit of the type of a visit, with what was used on it."""
    type_file = folder.kind.type_file
    lines = [v for v in shop.visits(open_only=False) if v.opened.type_id == type_file.type.id]
    released = {e.visit: e.body.completed_on for e in shop.records.current(ReleaseSigned)}
    visits = [VisitSeen(v.opened.engine_serial, v.number, released.get(v.number)) for v in lines]
    used = [*_lots(shop), *_gauges(shop, folder), *_tools(shop)]
    runs: dict[str, list[RunAttached]] = {}
    for e in shop.records.current(RunAttached):
        runs.setdefault(e.visit, []).append(e.body)
    for number, own in runs.items():
        used += cells_used(number, own, type_file)
    return shop_history(visits, used, type_file)


def _lots(shop: Shop) -> list[UsedOn]:
    """Lots of parts that were kitted; a serial is one part alone and shared by nobody."""
    return [
        UsedOn(e.visit, "lot", f"{e.body.part_number} lot {e.body.tag}", e.body.module)
        for e in shop.records.current(KitLine)
        if not e.body.serialised and e.body.quantity
    ]


def _gauges(shop: Shop, folder: Folder) -> list[UsedOn]:
    """Gauges that readings on route cards were taken with."""
    modules = {c.id: c.module for c in folder.kind.shop.route_card}
    return [
        UsedOn(e.visit, "gauge", e.body.gauge, modules.get(e.body.card, ""), on=e.at.date())
        for e in shop.records.current(ReadingTaken)
        if e.body.gauge
    ]


def _tools(shop: Shop) -> list[UsedOn]:
    """Balancers that were taken to a module."""
    return [
        UsedOn(e.visit, _BALANCER, e.body.item, e.body.module, on=e.at.date())
        for e in shop.records.current(ToolMoved)
        if _BALANCER in e.body.item.casefold() and e.body.direction == "out"
    ]


@dataclass(frozen=True)
class SistersTold:
    """Engines that share what a cause can come from: the found one, else the most probable suspect."""

    cause: str
    is_found: bool
    engines: tuple[Sister, ...]


def sisters(
    shop: Shop, folder: Folder, diagnosis: Entry[RunsDiagnosed], result: Diagnosis
) -> SistersTold | None:
    """Sister engines of a diagnosed one; None where nothing is suspected that others could share."""
    suspect = next((s for s in result.suspects if s.kind != "mechanical"), None)
    if suspect is None:
        return None
    cause = diagnosis.body.calculation.result.get("cause") or {}
    kind: Kind = "reading" if suspect.kind == "reading" else "module"
    parts = (cause["module"],) if cause else parts_of(suspect.module, folder.kind.type_file)
    if kind == "reading":
        parts = (suspect.module,)
    history = history_of(shop, folder)
    found = {x.engine: x for part in parts for x in sisters_in(history, folder.visit, kind, part)}
    return SistersTold(suspect.text, bool(cause), tuple(found.values()))
