"""What the chain itself can prove: nothing changed, nothing left out, nothing put in between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, text

from spoolwright.store.chain import BEGINNING, digest_of
from spoolwright.store.tables import ENTRY

_NUMBERS = ("seq", "revision")
_TEXTS = tuple(column.name for column in ENTRY.columns if column.name not in _NUMBERS)


@dataclass
class ChainCheck:
    """Takes the rows one after another, in order; says what is wrong with each."""

    seq: int = 0
    digest: str = BEGINNING
    _revisions: dict[str, int] = field(default_factory=dict)

    def faults(self, row: dict[str, Any]) -> Iterator[str]:
        """What is wrong with the next row."""
        if not all(isinstance(row[n], int) for n in _NUMBERS) or not all(
            isinstance(row[t], str) for t in _TEXTS
        ):
            yield "the database holds no values where a record's must be."
            return
        if row["seq"] != self.seq + 1:
            yield f"record(s) {self.seq + 1} to {row['seq'] - 1} are missing."
        elif row["previous"] != self.digest:
            yield "it does not follow the record before it: one of them was changed or exchanged."
        if self._digest(row) != row["digest"]:
            yield "it is not what was recorded: its content does not give its digest."
        if row["revision"] != self._revisions.get(row["subject"], 0) + 1:
            yield f"revision {row['revision']} of '{row['subject']}' does not follow the one before."
        self.seq, self.digest = row["seq"], row["digest"]
        self._revisions[row["subject"]] = row["revision"]

    def _digest(self, row: dict[str, Any]) -> str:
        try:
            return digest_of(row)
        except (ValueError, TypeError):  # a changed column holds what no column may hold
            return ""


def damage(connection: Connection) -> list[str]:
    """What the database itself finds wrong with its file; PostgreSQL checks its pages as it reads them."""
    if connection.dialect.name != "sqlite":
        return []
    told = [str(line) for line in connection.scalars(text("PRAGMA integrity_check(20)"))]
    return [] if told == ["ok"] else told
