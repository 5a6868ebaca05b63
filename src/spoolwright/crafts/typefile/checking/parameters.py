"""Parameters under [model] are fields of the engine model, and the data sheet closes."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any

from spoolwright.core.cycle.engine import EngineData, Table
from spoolwright.crafts.typefile.checking.context import Context
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path, choice
from spoolwright.crafts.typefile.engine import engine_from_parts
from spoolwright.crafts.typefile.model import DataSheet
from spoolwright.errors import SpoolwrightError


def model_parameters(ctx: Context) -> Iterator[Mistake]:
    """Every parameter is known and well-formed; then the whole model can be built."""
    given = ctx.draft.top.get("model")
    shape = list(_class_shape(EngineData, given, ("model",))) if isinstance(given, dict) else []
    yield from shape
    if not shape:
        yield from _model_closes(ctx, given or {})


def _model_closes(ctx: Context, given: dict[str, Any]) -> Iterator[Mistake]:
    sheets = ctx.draft.whole(DataSheet)
    rating = ctx.ratings.get(sheets[0][1].rating) if sheets else None
    if rating is None or ctx.draft.holed:
        return
    try:
        engine_from_parts("engine", sheets[0][1], rating, given)
    except SpoolwrightError as e:
        yield Mistake(("model",) if given and e.where == "engine model" else sheets[0][0], e.what, e.mend)


def _shape(hint: Any, raw: Any, path: Path) -> Iterator[Mistake]:
    if isinstance(hint, types.UnionType):
        hint = next(a for a in typing.get_args(hint) if a is not type(None))
    if is_dataclass(hint):
        yield from _class_shape(typing.cast(type, hint), raw, path)
    elif hint is float and not _is_number(raw):
        yield Mistake(path, "expected a finite number.", f"Write {path[-1]} = ….")
    elif hint is str and not isinstance(raw, str):
        yield Mistake(path, "expected a text in quotes.", f'Write {path[-1]} = "…".')
    elif hint == Table:
        if not (_is_list(raw) and raw and all(_is_row(r) and len(r) == len(raw[0]) for r in raw)):
            yield Mistake(path, "expected a list of rows of numbers, all of one length.", "[[…], […], …]")
    elif hint not in (float, str) and not _is_row(raw):
        yield Mistake(path, "expected a list of numbers.", f"Write {path[-1]} = [ … ].")


def _class_shape(cls: type, raw: Any, path: Path) -> Iterator[Mistake]:
    known = {f.name: _hints(cls)[f.name] for f in fields(cls)}
    if not isinstance(raw, dict):
        yield Mistake(path, "expected a table.", f"Its parameters are: {', '.join(known)}.")
        return
    for name, value in raw.items():
        if name in known:
            yield from _shape(known[name], value, (*path, name))
        else:
            what = f"the engine model has no parameter '{name}' here."
            yield Mistake((*path, name), what, choice(name, list(known), "parameters"))


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _is_list(raw: Any) -> bool:
    return isinstance(raw, list | tuple)


def _is_row(raw: Any) -> bool:
    return _is_list(raw) and len(raw) > 0 and all(_is_number(x) for x in raw)


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e300 and math.isfinite(x)
