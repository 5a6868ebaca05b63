"""What a record says, in words: its fields as rows that people read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.visit.entry import Attachment, Body, ConflictError, Entry


@dataclass(frozen=True)
class Row:
    """A field of a record."""

    name: str
    value: str


@dataclass(frozen=True)
class Pair:
    """A field of two records."""

    name: str
    theirs: str
    yours: str

    @property
    def differ(self) -> bool:
        """Whether the two say different things."""
        return self.theirs != self.yours


def rows_of(body: Body) -> list[Row]:
    """The fields of a record, nested ones with their place."""
    return [
        Row(name.replace("_", " "), words_of(value)) for name, value in _fields(body) if name != "calculation"
    ]


def _fields(body: Body) -> Iterable[tuple[str, Any]]:
    return ((name, getattr(body, name)) for name in type(body).model_fields)


def words_of(value: Any) -> str:
    """A value in words."""
    if value is None or value == "" or value == ():
        return "not given"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return f"{value.day} {value:%b %Y, %H:%M} UTC"
    if isinstance(value, date):
        return f"{value.day} {value:%b %Y}"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Attachment):
        return f"{value.name} ({value.sha256[:12]})"
    if isinstance(value, dict):
        return "; ".join(f"{str(k).replace('_', ' ')}: {words_of(v)}" for k, v in value.items())
    if isinstance(value, (tuple, list, frozenset)):
        return "; ".join(words_of(v) for v in value)
    if hasattr(type(value), "model_fields"):
        return words_of({n: getattr(value, n) for n in type(value).model_fields})
    return str(value)


def flat_rows(value: Any, name: str = "") -> list[Row]:
    """Plain JSON values as rows, nested ones under their path."""
    if isinstance(value, dict):
        return [r for k, v in value.items() for r in flat_rows(v, f"{name}, {k}" if name else str(k))]
    if isinstance(value, list) and any(isinstance(v, dict | list) for v in value):
        return [r for n, v in enumerate(value, 1) for r in flat_rows(v, f"{name} {n}".strip())]
    return [Row(name.replace("_", " "), words_of(value))]


R = TypeVar("R", bound=Record)


def records_in(value: Any, kind: type[R]) -> Iterator[R]:
    """Every record of a kind that a value holds, however deep."""
    if isinstance(value, kind):
        yield value
    elif isinstance(value, Record):
        for name in type(value).model_fields:
            yield from records_in(getattr(value, name), kind)
    elif isinstance(value, dict):
        for inner in value.values():
            yield from records_in(inner, kind)
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from records_in(inner, kind)


def kind_word(kind: str) -> str:
    """The name of a kind of record, in words."""
    words = kind.replace("_", " ").replace(".", ", ")
    return words[:1].upper() + words[1:]


def line_of(entry: Entry[Body], longest: int = 110) -> str:
    """A record in one line: its telling fields, cut where the line ends."""
    parts = [
        words_of(value)
        for name, value in _fields(entry.body)
        if name not in ("calculation", "visit", "login")
        and value not in (None, "", (), False)
        and not hasattr(type(value), "model_fields")
    ]
    text = ", ".join(parts)
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def both_values(conflict: ConflictError) -> list[Pair]:
    """What both said, field by field, the differing ones first."""
    theirs = {r.name: r.value for r in rows_of(conflict.theirs.body)}
    yours = {r.name: r.value for r in rows_of(conflict.yours.body)}
    pairs = [Pair(n, theirs.get(n, "not given"), yours.get(n, "not given")) for n in (theirs | yours)]
    return sorted(pairs, key=lambda p: not p.differ)
