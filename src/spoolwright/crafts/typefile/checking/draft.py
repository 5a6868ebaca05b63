"""Reads a type file's raw tables into records and keeps going at every mistake.

A record with a bad or missing field still becomes a record, with `None` there, so that the checks that follow
see the rest of it. Only a file without mistakes becomes a `TypeFile`.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.typefile.checking.mistake import (
    MOST_ELEMENTS,
    MOST_MISTAKES,
    Mistake,
    Path,
    TooManyMistakes,
    listed,
    nearest,
)
from spoolwright.crafts.typefile.checking.wording import explain
from spoolwright.crafts.typefile.model import TypeFile

R = TypeVar("R", bound=Record)

_SHOWN_TEXT = 40


@dataclass
class Draft:
    """Every record that could be read, whole or holed, with its path.

    Parameters
    ----------
    records : path and record of every table element, nested ones included, in file order
    holed : paths of records in which a field is missing or bad (that field is None)
    """

    records: list[tuple[Path, Record]] = field(default_factory=list)
    holed: set[Path] = field(default_factory=set)
    top: dict[str, Any] = field(default_factory=dict)

    def of(self, kind: type[R]) -> list[tuple[Path, R]]:
        """Records of a kind, holed ones included."""
        return [(p, r) for p, r in self.records if isinstance(r, kind)]

    def whole(self, kind: type[R]) -> list[tuple[Path, R]]:
        """Records of a kind in which nothing is missing."""
        return [(p, r) for p, r in self.of(kind) if p not in self.holed]

    def named(self, table: str) -> set[str]:
        """Every id that a table claims."""
        return {str(r.id) for r in self.top.get(table) or () if getattr(r, "id", None) is not None}


def read_draft(raw: dict[str, Any], kind: type[Record] = TypeFile) -> tuple[Draft, list[Mistake]]:
    """All records of a raw file of this kind and the mistakes of their shape."""
    draft = Draft()
    mistakes: list[Mistake] = []
    try:
        draft.top = _read_fields(kind, raw, (), draft, mistakes)
    except TooManyMistakes:
        what = f"more than {MOST_MISTAKES} mistakes: reading stopped here."
        return Draft(), [*mistakes, Mistake((), what, "Is this the right file? Mend these first.")]
    return draft, mistakes


def _read_record(
    kind: type[Record], raw: Any, path: Path, draft: Draft, mistakes: list[Mistake]
) -> Record | None:
    if len(mistakes) > MOST_MISTAKES:
        raise TooManyMistakes
    if not isinstance(raw, dict):
        fields = listed(list(kind.model_fields))
        mistakes.append(Mistake(path, f"expected a table, found {_shown(raw)}.", f"Its keys are: {fields}."))
        return None
    slot = len(draft.records)
    before = len(mistakes)
    values = _read_fields(kind, raw, path, draft, mistakes)
    record = kind.model_construct(**values)
    draft.records.insert(slot, (path, record))
    if len(mistakes) > before:
        draft.holed.add(path)
    return record


def _read_fields(
    kind: type[Record], raw: dict[str, Any], path: Path, draft: Draft, mistakes: list[Mistake]
) -> dict[str, Any]:
    given = _match_keys(kind, raw, path, mistakes)
    values: dict[str, Any] = {}
    for name, info in kind.model_fields.items():
        if name in given:
            key = given[name]
            values[name] = _read_value(kind, name, raw[key], (*path, key), draft, mistakes)
        elif info.is_required():
            values[name] = None
            mistakes.append(Mistake(path, f"'{name}' is missing.", _how_to_give(name, info)))
        else:
            values[name] = info.get_default(call_default_factory=True)
    return values


def _match_keys(
    kind: type[Record], raw: dict[str, Any], path: Path, mistakes: list[Mistake]
) -> dict[str, str]:
    """Field to the key that gives it; a misspelt key counts for the field it was meant for."""
    fields = kind.model_fields
    given = {k: k for k in raw if k in fields}
    for key in raw:
        if key in fields:
            continue
        if len(mistakes) > MOST_MISTAKES:
            raise TooManyMistakes
        near = nearest(key, list(fields))
        if near:
            given.setdefault(near, key)
            mend = f"Did you mean '{near}'?"
        else:
            mend = f"Known here: {listed(list(fields))}. Remove it, or write it as a comment."
        mistakes.append(Mistake((*path, key), f"key '{key[:_SHOWN_TEXT]}' is not known here.", mend))
    return given


def _read_value(
    kind: type[Record], name: str, raw: Any, path: Path, draft: Draft, mistakes: list[Mistake]
) -> Any:
    info: Any = kind.model_fields[name]
    element, many = _record_kind(info.annotation)
    if element is None:
        return _read_plain(kind, name, raw, path, mistakes)
    if not many:
        return _read_record(element, raw, path, draft, mistakes)
    if not isinstance(raw, list):
        how = f"Write [[{path[-1]}]] above it." if len(path) == 1 else "Put it in square brackets: [ { … } ]."
        mistakes.append(Mistake(path, f"expected a list of tables, found {_shown(raw)}.", how))
        return None
    if len(raw) > MOST_ELEMENTS:
        what = f"a list of {len(raw)} elements; {MOST_ELEMENTS} are the most that is read."
        mistakes.append(Mistake(path, what, "Give a type file."))
        return ()
    if not raw and any(getattr(m, "min_length", 0) for m in info.metadata):
        mistakes.append(Mistake(path, f"'{name}' is empty.", _how_to_give(name, info)))
    read = (_read_record(element, r, (*path, i), draft, mistakes) for i, r in enumerate(raw))
    return tuple(r for r in read if r is not None)


def _read_plain(kind: type[Record], name: str, raw: Any, path: Path, mistakes: list[Mistake]) -> Any:
    try:
        return _adapter(kind, name).validate_python(frozen(raw))
    except ValidationError as error:
        for e in error.errors(include_url=False):
            steps = tuple(s for s in e["loc"] if isinstance(s, str | int))
            what, mend = explain(e, _shown(e["input"]))
            mistakes.append(
                Mistake((*path, *steps), what, mend or _how_to_give(name, kind.model_fields[name]))
            )
        return None


@cache
def _adapter(kind: type[Record], name: str) -> TypeAdapter[Any]:
    info: Any = kind.model_fields[name]
    annotated: Any = Annotated[info.annotation, info]
    return TypeAdapter(annotated, config=ConfigDict(strict=True, allow_inf_nan=False))


@cache
def _record_kind(annotation: Any) -> tuple[type[Record] | None, bool]:
    """The record class an annotation holds, if any, and whether it holds many."""
    many = typing.get_origin(annotation) is tuple
    for a in _leaves(annotation):
        if isinstance(a, type) and issubclass(a, BaseModel):
            return typing.cast("type[Record]", a), many
    return None, many


def _leaves(annotation: Any) -> Iterator[Any]:
    args = typing.get_args(annotation)
    if not args:
        yield annotation
    for a in args:
        yield from _leaves(a)


def frozen(raw: Any) -> Any:
    """Lists as tuples: records are frozen."""
    if isinstance(raw, list):
        return tuple(frozen(x) for x in raw)
    if isinstance(raw, dict):
        return {k: frozen(v) for k, v in raw.items()}
    return raw


def _shown(raw: Any) -> str:
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list | tuple):
        return "a list"
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, str):
        cut = raw if len(raw) <= _SHOWN_TEXT else raw[:_SHOWN_TEXT] + "…"
        return f"the text '{cut}'"
    text = str(raw) if not isinstance(raw, int) or abs(raw) < 10**18 else "a very large number"
    return text[:_SHOWN_TEXT]


def _how_to_give(name: str, info: Any) -> str:
    element, many = _record_kind(info.annotation)
    told = f" ({info.description})" if info.description else ""
    if element is not None and not many:
        keys = ", ".join(f"{k} = …" for k, f in element.model_fields.items() if f.is_required())
        return f"Write {name} = {{ {keys} }}{told}."
    return f"Write {name} = …{told}."
