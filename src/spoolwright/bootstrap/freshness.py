"""What a kept result was read from, so that only records which bear on it make it stale."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Generic, TypeVar

from spoolwright.crafts.visit.entry import KINDS, B, Body, Entry, New
from spoolwright.store.records import Mark, StoredRecords

T = TypeVar("T")
_LOG = 20_000
_ANSWERS = 40_000


@dataclass(frozen=True)
class _Question:
    """Something that was asked of the records: the newest of each subject, or a subject's past."""

    kinds: tuple[type[Body], ...]
    visit: str | None
    under: str | None
    past: bool = False

    def meets(self, mark: Mark) -> bool:
        """Whether a record belongs to the answer."""
        if self.visit is not None and mark.visit != self.visit:
            return False
        if self.under is not None and not _is_under(mark.subject, self.under):
            return False
        kind = KINDS.get(mark.kind)
        return not self.kinds or kind is None or issubclass(kind, self.kinds)


_Asked = Mapping[_Question, frozenset[str]]
"""Questions with the subjects that were in their answers.

A subject that was in an answer counts whatever its next revision is: of another visit or kind, it leaves.
"""


def _is_under(subject: str, base: str) -> bool:
    base = base.rstrip("/")
    return subject == base or subject.startswith(base + "/")


class News:
    """What was recorded lately, and the answers that still hold."""

    def __init__(self, records: StoredRecords) -> None:
        self.records = records
        self._lock = threading.Lock()
        self._log: list[Mark] = []
        self._seen = self._began = records.head()[0]
        self._answers: OrderedDict[_Question, tuple[int, list[Any], frozenset[str]]] = OrderedDict()

    def look(self) -> int:
        """Take note of what is new; gives the number of the last record."""
        with self._lock:
            self._log += (new := self.records.marks_since(self._seen))
            if new:
                self._seen = new[-1].seq
            if len(self._log) > _LOG:
                self._log = self._log[-_LOG // 2 :]
                self._began = self._log[0].seq - 1
            return self._seen

    def untouched(self, asked: _Asked, since: int) -> bool:
        """Whether nothing that was recorded after a place in the chain belongs to an answer."""
        with self._lock:
            return self._untouched(asked, since)

    def answer(
        self, question: _Question, ask: Callable[[], list[Entry[B]]]
    ) -> tuple[list[Entry[B]], frozenset[str]]:
        """The answer to a question, kept while it holds, and the subjects in it."""
        with self._lock:
            seen, kept = self._seen, self._answers.get(question)
            if kept is not None and self._untouched({question: kept[2]}, kept[0]):
                self._keep(question, (seen, *kept[1:]))
                return list(kept[1]), kept[2]
        found = ask()
        subjects = frozenset(e.subject for e in found)
        with self._lock:
            self._keep(question, (seen, found, subjects))
        return list(found), subjects

    def _untouched(self, asked: _Asked, since: int) -> bool:
        if since < self._began:
            return False
        newer = self._log[max(0, len(self._log) - (self._seen - since)) :] if since < self._seen else []
        return not any(
            mark.subject in answered or question.meets(mark)
            for mark in newer
            for question, answered in asked.items()
        )

    def _keep(self, question: _Question, answer: tuple[int, list[Any], frozenset[str]]) -> None:
        self._answers[question] = answer
        self._answers.move_to_end(question)
        while len(self._answers) > _ANSWERS:
            self._answers.popitem(last=False)


@dataclass
class WatchedRecords:
    """Records that remember what was asked of them."""

    news: News
    asked: dict[_Question, frozenset[str]] = field(default_factory=dict)

    @property
    def answered(self) -> set[str]:
        """Every subject that was in an answer."""
        return set().union(*self.asked.values())

    def add(self, news: Sequence[New], *, by: str, at: datetime) -> list[Entry[Body]]:
        """Write all or none."""
        return self.news.records.add(news, by=by, at=at)

    def current(self, *kinds: type[B], visit: str | None = None, under: str | None = None) -> list[Entry[B]]:
        """The newest revision of each subject."""
        question = _Question(kinds, visit, under)
        ask = self.news.records.current
        found, self.asked[question] = self.news.answer(
            question, lambda: ask(*kinds, visit=visit, under=under)
        )
        return found

    def history(self, subject: str) -> list[Entry[Body]]:
        """Every revision of a subject."""
        question = _Question((), None, subject, past=True)
        found, self.asked[question] = self.news.answer(question, lambda: self.news.records.history(subject))
        return found


@dataclass(frozen=True)
class _Kept(Generic[T]):
    value: T
    seq: int
    today: date
    asked: _Asked


class Fresh(Generic[T]):
    """Results that are kept until something is recorded that they were read from, or the day ends."""

    def __init__(self, news: News, most: int) -> None:
        self._news, self._most = news, most
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, _Kept[T]] = OrderedDict()

    def get(self, key: str, today: date, make: Callable[[str, WatchedRecords], T]) -> T:
        """The result for a key: kept, or made with records that watch what is asked."""
        return self.get_all((key,), today, make)[key]

    def get_all(
        self, keys: Collection[str], today: date, make: Callable[[str, WatchedRecords], T]
    ) -> dict[str, T]:
        """The results for many keys, with one look at what is new."""
        seen = self._news.look()
        return {key: self._one(key, seen, today, make) for key in keys}

    def _one(self, key: str, seen: int, today: date, make: Callable[[str, WatchedRecords], T]) -> T:
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and kept.today == today and self._news.untouched(kept.asked, kept.seq):
            self._keep(key, _Kept(kept.value, seen, today, kept.asked))
            return kept.value
        watched = WatchedRecords(self._news)
        value = make(key, watched)
        self._keep(key, _Kept(value, seen, today, dict(watched.asked)))
        return value

    def _keep(self, key: str, kept: _Kept[T]) -> None:
        with self._lock:
            self._kept[key] = kept
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
