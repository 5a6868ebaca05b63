"""Parameters under [model] are fields of the engine model, and the data sheet closes."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Iterator
from dataclasses import Field, fields, is_dataclass
from functools import cache
from typing import Any

from spoolwright.core.cycle.engine import EngineData, Table
from spoolwright.crafts.typefile.checking.context import Context
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path, choice
from spoolwright.crafts.typefile.checking.procedure import reference_condition
from spoolwright.crafts.typefile.engine import data_sheet, engine_from_parts, reference_gap
from spoolwright.crafts.typefile.model import Correction, DataSheet
from spoolwright.errors import SpoolwrightError

_LARGEST_GAP = 0.005
"""By which fraction the model may miss the data sheet at its reference point."""


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
    if rating is None or ctx.draft.holed or list(_reference_mistakes(ctx)):
        return
    path, sheet = sheets[0]
    corrections = ctx.draft.whole(Correction)
    heating = corrections[0][1].reference_heating_value if corrections else None
    try:
        engine = engine_from_parts("engine", sheet, rating, given, heating)
        name, gap = reference_gap(engine.data, data_sheet("engine", sheet, rating, heating))
    except SpoolwrightError as e:
        mend = e.mend or "Correct or remove the parameters given under [model]."
        yield Mistake(("model",) if given and e.where != "data sheet" else path, e.what, mend)
        return
    if abs(gap) > _LARGEST_GAP:
        by = f" by {gap:+.2%}" if abs(gap) < 10 else ""
        what = f"with these parameters the model misses the data sheet: {name}{by}."
        yield Mistake(
            ("model",), what, "Give all the figures that belong together, or leave them to be filled."
        )


def _reference_mistakes(ctx: Context) -> Iterator[Mistake]:
    for path, correction in ctx.draft.whole(Correction):
        yield from reference_condition(ctx, path, correction)


def _shape(hint: Any, raw: Any, path: Path) -> Iterator[Mistake]:
    """A value has the form that the field's type asks for."""
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
    known = {f.name: f for f in fields(cls)}
    if not isinstance(raw, dict):
        yield Mistake(path, "expected a table.", f"Its parameters are: {', '.join(known)}.")
        return
    for name, value in raw.items():
        place = (*path, name)
        if name not in known:
            what = f"the engine model has no parameter '{name[:60]}' here."
            yield Mistake(place, what, choice(name, list(known), "parameters"))
            continue
        found = list(_shape(_hints(cls)[name], value, place))
        yield from found or _size(known[name], value, place)


def _size(f: Field[Any], value: Any, path: Path) -> Iterator[Mistake]:
    """No single parameter is negative; what has no zero default is above zero."""
    if not _is_number(value):
        return
    zero_allowed = f.default == 0.0 or path[1] == "control"
    if value < 0 or (value == 0 and not zero_allowed):
        yield Mistake(path, f"{value:g} is not above zero.", "Check the figure and its sign.")
    elif f.name == "efficiency" and value > 1:
        yield Mistake(path, f"an efficiency of {value:g}.", "As a fraction: 83 % is 0.83.")
    elif f.name == "pressure_ratio" and value <= 1:
        yield Mistake(path, f"a pressure ratio of {value:g}.", "It is above 1.")


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _is_list(raw: Any) -> bool:
    return isinstance(raw, list | tuple)


def _is_row(raw: Any) -> bool:
    return _is_list(raw) and len(raw) > 0 and all(_is_number(x) for x in raw)


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e300 and math.isfinite(x)
