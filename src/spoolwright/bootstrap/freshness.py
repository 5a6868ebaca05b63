"""What a kept result was read from, so that only records which bear on it make it stale."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Generic, TypeVar

from spoolwright.crafts.visit.entry import KINDS, B, Body, Entry, New
from spoolwright.store.records import Mark, StoredRecords

T = TypeVar("T")
_LOG = 20_000


@dataclass(frozen=True)
class _Question:
    """Something that was asked of the records."""

    kinds: tuple[type[Body], ...]
    visit: str | None
    under: str | None

    def meets(self, mark: Mark) -> bool:
        """Whether a record belongs to the answer."""
        if self.visit is not None and mark.visit != self.visit:
            return False
        if self.under is not None and not _is_under(mark.subject, self.under):
            return False
        kind = KINDS.get(mark.kind)
        return not self.kinds or kind is None or issubclass(kind, self.kinds)


def _is_under(subject: str, base: str) -> bool:
    base = base.rstrip("/")
    return subject == base or subject.startswith(base + "/")


@dataclass
class WatchedRecords:
    """Records that remember what was asked of them, and which subjects were in the answers.

    A subject that was in an answer counts whatever its next revision is: of another visit or kind, it leaves.
    """

    records: StoredRecords
    asked: set[_Question] = field(default_factory=set)
    answered: set[str] = field(default_factory=set)

    def add(self, news: Sequence[New], *, by: str, at: datetime) -> list[Entry[Body]]:
        """Write all or none."""
        return self.records.add(news, by=by, at=at)

    def current(self, *kinds: type[B], visit: str | None = None, under: str | None = None) -> list[Entry[B]]:
        """The newest revision of each subject."""
        self.asked.add(_Question(kinds, visit, under))
        found = self.records.current(*kinds, visit=visit, under=under)
        self.answered.update(e.subject for e in found)
        return found

    def history(self, subject: str) -> list[Entry[Body]]:
        """Every revision of a subject."""
        self.asked.add(_Question((), None, subject))
        found = self.records.history(subject)
        self.answered.update(e.subject for e in found)
        return found


@dataclass(frozen=True)
class _Kept(Generic[T]):
    value: T
    seq: int
    today: date
    asked: frozenset[_Question]
    answered: frozenset[str]


class Fresh(Generic[T]):
    """Results that are kept until something is recorded that they were read from, or the day ends."""

    def __init__(self, records: StoredRecords, most: int) -> None:
        self._records, self._most = records, most
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, _Kept[T]] = OrderedDict()
        self._log: list[Mark] = []
        self._seen = self._began = records.head()[0]

    def get(self, key: str, today: date, make: Callable[[str, WatchedRecords], T]) -> T:
        """The result for a key: kept, or made with records that watch what is asked."""
        return self.get_all((key,), today, make)[key]

    def get_all(
        self, keys: Collection[str], today: date, make: Callable[[str, WatchedRecords], T]
    ) -> dict[str, T]:
        """The results for many keys, with one look at what is new."""
        found: dict[str, T] = {}
        with self._lock:
            self._look()
            seen = self._seen
            for key in keys:
                kept = self._kept.get(key)
                if kept is not None and kept.today == today and self._holds(kept):
                    self._keep(key, replace(kept, seq=seen))
                    found[key] = kept.value
        for key in keys:
            if key not in found:
                watched = WatchedRecords(self._records)
                found[key] = make(key, watched)
                with self._lock:
                    asked, answered = frozenset(watched.asked), frozenset(watched.answered)
                    self._keep(key, _Kept(found[key], seen, today, asked, answered))
        return found

    def _look(self) -> None:
        """Take note of what was recorded since the last look."""
        self._log += (new := self._records.marks_since(self._seen))
        if new:
            self._seen = new[-1].seq
        if len(self._log) > _LOG:
            self._log = self._log[-_LOG // 2 :]
            self._began = self._log[0].seq - 1

    def _holds(self, kept: _Kept[T]) -> bool:
        if kept.seq < self._began:
            return False
        newer = self._log[max(0, len(self._log) - (self._seen - kept.seq)) :]
        return not any(
            mark.subject in kept.answered or any(q.meets(mark) for q in kept.asked) for mark in newer
        )

    def _keep(self, key: str, kept: _Kept[T]) -> None:
        self._kept[key] = kept
        self._kept.move_to_end(key)
        while len(self._kept) > self._most:
            self._kept.popitem(last=False)
