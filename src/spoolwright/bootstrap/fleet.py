"""The fleet's figures, kept up by reading only what was recorded since they were last asked for."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, select

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.testcell.visit.fleet import (
    Decision,
    MarginSeen,
    Share,
    StageTime,
    first_pass,
    stage_times,
    stays,
)
from spoolwright.crafts.testcell.visit.model import RunDisposed
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.store.chain import time_of
from spoolwright.store.tables import ENTRY

_KINDS = (VisitOpened.kind, StageSet.kind, RunDisposed.kind)
_LEFT = frozenset({Stage.RELEASE, Stage.SHIPPED, Stage.INSTALLED})


@dataclass
class _Visit:
    """What the fleet's figures need of a visit."""

    engine: str
    opened_at: datetime
    moves: list[tuple[datetime, Stage]] = field(default_factory=list)
    first: Decision | None = None
    margin: tuple[datetime, float, float, int] | None = None

    @property
    def left(self) -> bool:
        return bool(self.moves) and self.moves[-1][1] in _LEFT


@dataclass(frozen=True)
class FleetFigures:
    """Everything the fleet's page shows."""

    visits: int
    passed: Share
    causes: list[Share]
    times: list[StageTime]
    margins: list[MarginSeen]
    rejects: list[tuple[str, str, str]]


class Fleet:
    """The figures of all visits. Records are append-only: what was read once stays true."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._lock = threading.Lock()
        self._seq = 0
        self._visits: dict[str, _Visit] = {}
        self._kept: tuple[tuple[int, date], FleetFigures] | None = None

    def figures(self, now: datetime) -> FleetFigures:
        """The figures as the records stand; stays that go on are told to the day."""
        with self._lock:
            for row in self._rows():
                self._take(row)
                self._seq = row.seq
            state = (self._seq, now.date())
            if self._kept is None or self._kept[0] != state:
                self._kept = (state, _figures(self._visits, now))
            return self._kept[1]

    def _rows(self) -> list[Row[Any]]:
        """What was recorded since, of the kinds that count; as plain JSON, which costs least."""
        columns = (ENTRY.c.seq, ENTRY.c.kind, ENTRY.c.visit, ENTRY.c.at, ENTRY.c.body)
        asked = select(*columns).where(ENTRY.c.kind.in_(_KINDS), ENTRY.c.seq > self._seq)
        with self._shop.database.read() as connection:
            return list(connection.execute(asked.order_by(ENTRY.c.seq)))

    def _take(self, row: Row[Any]) -> None:
        body, at, visit = json.loads(row.body), time_of(row.at), self._visits.get(row.visit)
        if row.kind == VisitOpened.kind:
            if visit is None:
                self._visits[body["number"]] = _Visit(body["engine_serial"], at)
            else:
                visit.engine = body["engine_serial"]
        elif visit is None:
            return
        elif row.kind == StageSet.kind:
            visit.moves.append((at, Stage(body["stage"])))
        else:
            _decide(visit, row, body, at)


def _decide(visit: _Visit, row: Row[Any], body: dict[str, Any], at: datetime) -> None:
    accepted = body["decision"] == "accepted"
    if visit.first is None:
        visit.first = Decision(row.visit, accepted, body["cause"])
    seen = body.get("power_margin") if accepted else None
    visit.margin = (at, seen["value"], seen["half_width"], row.seq) if seen else None


def _figures(visits: dict[str, _Visit], now: datetime) -> FleetFigures:
    decisions = [v.first for v in visits.values() if v.first is not None]
    passed, causes = first_pass(decisions)
    all_stays = [s for n, v in visits.items() for s in stays(n, v.opened_at, v.moves, now)]
    return FleetFigures(
        visits=len(visits),
        passed=passed,
        causes=causes,
        times=stage_times(all_stays),
        margins=_margins(visits),
        rejects=[(d.visit, visits[d.visit].engine, d.cause) for d in decisions if not d.accepted],
    )


def _margins(visits: dict[str, _Visit]) -> list[MarginSeen]:
    found = [
        MarginSeen(number, v.engine, v.margin[0], v.margin[1], v.margin[2], v.margin[3], v.left)
        for number, v in visits.items()
        if v.margin is not None
    ]
    return sorted(found, key=lambda m: m.at)
