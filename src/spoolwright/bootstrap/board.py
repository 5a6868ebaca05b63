"""The board: every visit in one line, kept up by reading only what was recorded since."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.store.records import StoredRecords

_DONE = frozenset({Stage.SHIPPED, Stage.INSTALLED})


@dataclass(frozen=True)
class VisitLine:
    """A visit, its stage of work and what it waits for."""

    opened: VisitOpened
    stage: Stage = Stage.RECEIVING
    waits_for: str = ""

    @property
    def number(self) -> str:
        return self.opened.number

    @property
    def is_open(self) -> bool:
        """Whether the engine is still in the shop."""
        return self.stage not in _DONE


class Board:
    """All visits. Records are append-only, so what was read once stays true until a newer one comes."""

    def __init__(self, records: StoredRecords) -> None:
        self._records = records
        self._lock = threading.Lock()
        self._seq = 0
        self._lines: dict[str, VisitLine] = {}

    def lines(self) -> list[VisitLine]:
        """Every visit, in the order they were opened."""
        with self._lock:
            for entry in self._records.since(self._seq, VisitOpened, StageSet):
                self._take(entry)
                self._seq = entry.seq
            return list(self._lines.values())

    def line(self, number: str) -> VisitLine | None:
        """One visit."""
        self.lines()
        with self._lock:
            return self._lines.get(number)

    def _take(self, entry: Entry[Body]) -> None:
        body, old = entry.body, self._lines.get(entry.visit)
        if isinstance(body, VisitOpened):
            self._lines[body.number] = VisitLine(body, old.stage, old.waits_for) if old else VisitLine(body)
        elif isinstance(body, StageSet) and old is not None:
            self._lines[entry.visit] = VisitLine(old.opened, body.stage, body.waits_for)
