"""The fleet's figures, kept up by reading only what was recorded since they were last asked for."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.testcell.performance.basis import inner
from spoolwright.crafts.testcell.visit.fleet import (
    Decision,
    MarginSeen,
    Share,
    StageTime,
    first_pass,
    stage_times,
    stays,
)
from spoolwright.crafts.testcell.visit.model import RunDisposed, RunsAssessed
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened

_LEFT = frozenset({Stage.RELEASE, Stage.SHIPPED, Stage.INSTALLED})
_HALF = 1.96


@dataclass
class _Visit:
    """What the fleet's figures need of a visit."""

    engine: str
    type_id: str
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
        self._assessed: dict[str, tuple[float, float] | None] = {}
        self._rated: dict[str, tuple[str, float]] = {}

    def figures(self, now: datetime) -> FleetFigures:
        """The figures as the records stand."""
        with self._lock:
            kinds = (VisitOpened, StageSet, RunsAssessed, RunDisposed)
            for entry in self._shop.records.since(self._seq, *kinds):
                self._take(entry)
                self._seq = entry.seq
            visits = dict(self._visits)
            decisions = [v.first for v in visits.values() if v.first is not None]
            passed, causes = first_pass(decisions)
            all_stays = [s for n, v in visits.items() for s in stays(n, v.opened_at, v.moves, now)]
            return FleetFigures(
                len(visits),
                passed,
                causes,
                stage_times(all_stays),
                _margins(visits),
                [(d.visit, visits[d.visit].engine, d.cause) for d in decisions if not d.accepted],
            )

    def _take(self, entry: Entry[Body]) -> None:
        body, visit = entry.body, self._visits.get(entry.visit)
        if isinstance(body, VisitOpened):
            if visit is None:
                self._visits[body.number] = _Visit(body.engine_serial, body.type_id, entry.at)
            else:
                visit.engine = body.engine_serial
        elif visit is None:
            return
        elif isinstance(body, StageSet):
            visit.moves.append((entry.at, body.stage))
        elif isinstance(body, RunsAssessed):
            self._assessed[entry.subject] = self._margin(visit.type_id, body.calculation.result)
        elif isinstance(body, RunDisposed):
            self._decide(entry, body, visit)

    def _decide(self, entry: Entry[Body], body: RunDisposed, visit: _Visit) -> None:
        accepted = body.decision == "accepted"
        if visit.first is None:
            visit.first = Decision(entry.visit, accepted, body.cause)
        seen = self._assessed.get(body.assessment)
        visit.margin = (entry.at, *seen, entry.seq) if accepted and seen is not None else None

    def _margin(self, type_id: str, result: dict[str, Any]) -> tuple[float, float] | None:
        """Power at rated MGT of the newest block over rated power, less 1 [%], with its half width."""
        rating, power = self._rated_power(type_id)
        own = [
            r for r in result.get("rated", [])
            if r["rating"] == rating and r["quantity"] == "power_at_rated_mgt" and r["approved"] is not None
        ]  # fmt: skip
        if not own:
            return None
        newest = max(own, key=lambda r: r["block"] or 0)
        half = 100.0 * _HALF * (newest["uncertainty"] or 0.0) / power
        return 100.0 * (newest["approved"] / power - 1.0), half

    def _rated_power(self, type_id: str) -> tuple[str, float]:
        if type_id not in self._rated:
            type_file = self._shop.types.of(type_id).type_file
            rating = rating_named(type_file, type_file.data_sheet.rating)
            self._rated[type_id] = (rating.id, inner(rating.power))
        return self._rated[type_id]


def _margins(visits: dict[str, _Visit]) -> list[MarginSeen]:
    found = [
        MarginSeen(number, v.engine, v.margin[0], v.margin[1], v.margin[2], v.margin[3], v.left)
        for number, v in visits.items()
        if v.margin is not None
    ]
    return sorted(found, key=lambda m: m.at)
