"""The release pack: what is printed for the certifying person, put together from a visit's records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from spoolwright.crafts.release.drafts import DraftField


@dataclass(frozen=True)
class Section:
    """A table of the pack."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    empty: str = "nothing is recorded"
    widths: tuple[float, ...] = ()
    """Relative widths of the columns; all the same when left out."""


@dataclass(frozen=True)
class ChainHead:
    """The end of the chain when something was printed: what a later check is made against."""

    seq: int
    digest: str


@dataclass(frozen=True)
class Pack:
    """A release pack before it is set."""

    visit: str
    title: str
    facts: tuple[tuple[str, str], ...]
    made_at: datetime
    made_by: str
    head: ChainHead
    address: str
    demonstration: bool
    open: tuple[tuple[str, str], ...]
    """What is open, and who closes it."""
    holes: tuple[tuple[str, str], ...]
    certificate: tuple[DraftField, ...]
    entry: tuple[DraftField, ...]
    sections: tuple[Section, ...]

    @property
    def complete(self) -> bool:
        """True when nothing is open and no records disagree."""
        return not self.open and not self.holes

    @property
    def proposal(self) -> str:
        """The pack in a sentence."""
        if self.complete:
            return "Nothing is open and the records agree with each other. Ready for the certifying person."
        parts = [_counted(self.open, "thing is open", "things are open")] if self.open else []
        if self.holes:
            parts.append(_counted(self.holes, "disagreement of records", "disagreements of records"))
        return f"Not ready for release: {' and '.join(parts)}."


def _counted(rows: Sequence[object], one: str, many: str) -> str:
    return f"{len(rows)} {one if len(rows) == 1 else many}"
