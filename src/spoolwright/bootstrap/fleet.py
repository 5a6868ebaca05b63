"""The fleet's figures, kept up by reading only what was recorded since they were last asked for."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import date, datetime

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
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened

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
            for entry in self._shop.records.since(self._seq, VisitOpened, StageSet, RunDisposed):
                self._take(entry)
                self._seq = entry.seq
            state = (self._seq, now.date())
            if self._kept is None or self._kept[0] != state:
                self._kept = (state, _figures(self._visits, now))
            return self._kept[1]

    def _take(self, entry: Entry[Body]) -> None:
        body, visit = entry.body, self._visits.get(entry.visit)
        if isinstance(body, VisitOpened):
            if visit is None:
                self._visits[body.number] = _Visit(body.engine_serial, entry.at)
            else:
                visit.engine = body.engine_serial
        elif visit is None:
            return
        elif isinstance(body, StageSet):
            visit.moves.append((entry.at, body.stage))
        elif isinstance(body, RunDisposed):
            self._decide(entry, body, visit)

    def _decide(self, entry: Entry[Body], body: RunDisposed, visit: _Visit) -> None:
        accepted = body.decision == "accepted"
        if visit.first is None:
            visit.first = Decision(entry.visit, accepted, body.cause)
        seen = body.power_margin
        visit.margin = (entry.at, seen.value, seen.half_width, entry.seq) if accepted and seen else None


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
