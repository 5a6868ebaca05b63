"""What can stand as evidence: a signed step, a checked step, an accepted run, a look.

A record says by `proves()` what it is evidence of (`step:CARD/STEP`, `look:KEY`). An accepted run is known by
its decision; its age is that of the run, not of the decision: a run from before the work proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from spoolwright.crafts.typefile.shop.owed import ClosedBy
from spoolwright.crafts.visit.entry import Body, Entry

First = Callable[[str], int]
"""The place in the chain where a subject was first recorded; 0 for an unknown one."""


@dataclass(frozen=True)
class Evidence:
    """A record that may close an owed item."""

    entry: Entry[Body]
    done_seq: int
    told: str


def wanted_of(closed_by: ClosedBy, key: str) -> frozenset[str]:
    """What an owed item asks for, as records say it."""
    wanted = {f"step:{s}" for s in closed_by.step} | {f"run:{r}" for r in closed_by.run}
    return frozenset(wanted | ({f"look:{key}"} if closed_by.look else set()))


def proofs(entry: Entry[Body], entries: Sequence[Entry[Body]]) -> frozenset[str]:
    """What a record is evidence of."""
    says: Any = getattr(entry.body, "proves", None)
    if says is not None:
        return frozenset(says())
    if entry.kind == "test_disposition" and _field(entry, "decision") == "accepted":
        return frozenset(f"run:{_field(r, 'limit_set')}" for r in _runs(entry, entries))
    return frozenset()


def _field(entry: Entry[Body], name: str) -> Any:
    return getattr(entry.body, name, None)


def _runs(entry: Entry[Body], entries: Sequence[Entry[Body]]) -> list[Entry[Body]]:
    names = _field(entry, "runs") or ()
    return [e for e in entries if e.kind == "test_run" and _field(e, "run") in names]


def done_seq(entry: Entry[Body], entries: Sequence[Entry[Body]], first: First) -> int:
    """Where in the chain the work behind a record was first recorded.

    A check is as old as the signature it checked; a decision on runs as old as the oldest of them.
    """
    if entry.kind == "card_check":
        # The signature's own place: a step that was signed anew to another text was done anew.
        signed = entry.subject.removesuffix("/check")
        return min(first(signed) or entry.seq, entry.seq)
    if entry.kind == "test_disposition":
        return min([first(r.subject) or r.seq for r in _runs(entry, entries)], default=0)
    return min(first(entry.subject) or entry.seq, entry.seq)


def told_of(entry: Entry[Body]) -> str:
    """A record in words: who, when, and what it is about."""
    by = entry.signature.name if entry.signature else entry.author
    what = _what(entry)
    return f"{what}, {by}, {entry.at.day} {entry.at:%b %Y %H:%M} UTC"


def _what(entry: Entry[Body]) -> str:
    if entry.kind in ("card_step", "card_check"):
        verb = "checked" if entry.kind == "card_check" else "signed"
        run = _field(entry, "run")
        return f"card {_field(entry, 'card')} run {run}, step {_field(entry, 'step')} {verb}"
    if entry.kind == "test_disposition":
        return f"run {', '.join(_field(entry, 'runs') or ())} accepted"
    return f"look recorded: {_field(entry, 'found') or entry.subject}"


def candidates(
    wanted: frozenset[str], entries: Sequence[Entry[Body]], first: First, because: Sequence[Entry[Body]]
) -> list[Evidence]:
    """Records that are evidence of one of what is wanted, and whose work is younger than every event."""
    newest = max(e.seq for e in because)
    day = max((_field(e, "happened_at") or e.at).date() for e in because)
    return [
        Evidence(e, age, told_of(e))
        for e in entries
        if proofs(e, entries) & wanted
        and (age := done_seq(e, entries, first)) > newest
        and all(_field(r, "performed_on") >= day for r in _runs(e, entries))
    ]
