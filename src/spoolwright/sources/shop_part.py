"""Reads the shop part of a type: all TOML files of NAME.shop, merged; each mistake with file and line."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.checking.mistake import MOST_MISTAKES, Mistake, choice
from spoolwright.crafts.typefile.checking.wording import explain
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.errors import InputError, MistakesError, Problem
from spoolwright.sources.toml_text import TomlText, problems_of, read_toml

_SHOWN = 40


class ShopPartError(MistakesError):
    """Mistakes in the shop part of a type."""

    noun = "shop part"


@dataclass(frozen=True)
class ShopFile:
    """A file of a shop part: its name in the folder, where its bytes lie, their hash."""

    name: str
    path: Path
    sha256: str


@dataclass(frozen=True)
class LoadedShop:
    """A shop part without mistakes.

    Parameters
    ----------
    shop : the records
    files : what it was read from, by name
    sha256 : hash over names and hashes of the files
    """

    shop: ShopPart
    files: tuple[ShopFile, ...]
    sha256: str


def shop_folder(type_path: Path) -> Path:
    """Where the shop part of a type file lies: NAME.shop beside NAME.toml."""
    return type_path.with_suffix(".shop")


def load_shop_part(folder: Path, type_file: TypeFile | None = None) -> LoadedShop:
    """The shop part in a folder; an empty one when there is no such folder.

    Parameters
    ----------
    folder : NAME.shop beside the type file
    type_file : the type; when given, documents that sources name are looked for in it

    Raises
    ------
    InputError
        A file cannot be opened or is too large, or the path is no folder.
    ShopPartError
        The files hold mistakes; `problems` lists them all, by file and line.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError("it is not a folder.", where=str(folder), mend="Give the folder NAME.shop.")
    named = [(path.name, path) for path in sorted(folder.glob("*.toml"))]
    return load_shop_files(named, type_file)


def load_shop_files(named: Sequence[tuple[str, Path]], type_file: TypeFile | None = None) -> LoadedShop:
    """The shop part of files that are known by other names than they lie under."""
    merged: dict[str, Any] = {}
    files: list[ShopFile] = []
    problems: list[Problem] = []
    for name, path in sorted(named):
        read = read_toml(path, ShopPartError)
        files.append(ShopFile(name, path, read.sha256))
        found = [*_shape(read), *_merge(merged, read.raw)]
        if not found:
            found = list(_unknown_documents(read.raw, type_file))
        problems += [_renamed(p, name) for p in problems_of(found, read)]
    if problems:
        raise ShopPartError(problems)
    return LoadedShop(_shop_of(merged), tuple(files), hash_of([(f.name, f.sha256) for f in files]))


def hash_of(files: Sequence[tuple[str, str]]) -> str:
    """One hash for names and hashes of files."""
    return hashlib.sha256(
        "".join(f"{sha256}  {name}\n" for name, sha256 in sorted(files)).encode()
    ).hexdigest()


def _shop_of(raw: dict[str, Any]) -> ShopPart:
    # JSON is where pydantic is strict about a number and yet takes a word for a choice and a list for a tuple
    return ShopPart.model_validate_json(json.dumps(raw, default=_plain), strict=True)


def _plain(value: object) -> str:
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} is no value of TOML")


def _shape(read: TomlText) -> Iterator[Mistake]:
    try:
        _shop_of(read.raw)
    except ValidationError as error:
        for e in error.errors(include_url=False)[:MOST_MISTAKES]:
            yield _mistake(e)
    except ValueError as error:  # an infinite number
        yield Mistake((), f"a value cannot be read: {error}.", "Correct or remove it.")


def _mistake(error: Any) -> Mistake:
    path = tuple(step for step in error["loc"] if isinstance(step, str | int))
    name = str(path[-1]) if path else ""
    if error["type"] == "extra_forbidden":
        what = f"key '{name[:_SHOWN]}' is not known here."
        return Mistake(path, what, choice(name, _fields_at(path[:-1]), "keys"))
    if error["type"] == "missing":
        return Mistake(path[:-1], f"'{name}' is missing.", f"Write {name} = …")
    what, mend = explain(error, f"'{str(error['input'])[:_SHOWN]}'")
    return Mistake(path, what, mend)


def _fields_at(path: Sequence[str | int]) -> set[str]:
    """Keys that a table at this path may have."""
    model: type[BaseModel] = ShopPart
    for step in path:
        if isinstance(step, str) and step in model.model_fields:
            model = _model_in(model.model_fields[step].annotation) or model
    return set(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_model_in(a) for a in getattr(annotation, "__args__", ()))
    return next((m for m in inner if m), None)


def _merge(merged: dict[str, Any], raw: dict[str, Any]) -> Iterator[Mistake]:
    """Lists of tables go on from file to file, each id once; anything else stands in one file."""
    for key, value in raw.items():
        if key not in merged:
            merged[key] = [] if isinstance(value, list) else value
        elif not isinstance(value, list) or not isinstance(merged[key], list):
            yield Mistake((key,), f"'{key}' stands in two files.", "Keep it in one of them.")
            continue
        if isinstance(value, list):
            yield from _ids_twice(key, merged[key], value)
            merged[key] += value


def _ids_twice(table: str, before: list[Any], rows: list[Any]) -> Iterator[Mistake]:
    seen = {row["id"] for row in before if isinstance(row, dict) and isinstance(row.get("id"), str)}
    for i, row in enumerate(rows):
        name = row.get("id") if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        if name in seen:
            yield Mistake(
                (table, i, "id"), f"id '{name[:_SHOWN]}' stands twice.", "Give each row its own id."
            )
        seen.add(name)


def _unknown_documents(raw: dict[str, Any], type_file: TypeFile | None) -> Iterator[Mistake]:
    if type_file is None:
        return
    known = {d.id for d in type_file.document}
    for path, table in _tables(raw, ()):
        document = table.get("document")
        if set(table) == set(Source.model_fields) and isinstance(document, str) and document not in known:
            what = f"document '{document[:_SHOWN]}' is not in the type file."
            yield Mistake((*path, "document"), what, choice(document, known, "documents"))


def _tables(
    value: Any, path: tuple[str | int, ...]
) -> Iterator[tuple[tuple[str | int, ...], dict[str, Any]]]:
    if isinstance(value, dict):
        yield path, value
        for key, inner in value.items():
            yield from _tables(inner, (*path, key))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _tables(inner, (*path, i))


def _renamed(problem: Problem, name: str) -> Problem:
    return Problem(name, problem.line, problem.where, problem.what, problem.mend)
