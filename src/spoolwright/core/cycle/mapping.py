"""Engine data to and from plain nested mappings, the form in which a type file carries them."""

from __future__ import annotations

import math
import types
import typing
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from typing import Any

from spoolwright.core.cycle.engine import EngineData, Table
from spoolwright.errors import InputError


def engine_to_mapping(engine: EngineData) -> dict[str, Any]:
    """Engine data as nested dictionaries of strings, floats and lists.

    Parameters
    ----------
    engine : EngineData
        Engine data [-].

    Returns
    -------
    dict
        One key per field; fields that are None are left out [-].
    """
    return typing.cast("dict[str, Any]", _plain(engine))


def engine_from_mapping(mapping: dict[str, Any]) -> EngineData:
    """Engine data from nested dictionaries, as `engine_to_mapping` gives them.

    Parameters
    ----------
    mapping : dict
        Nested mapping; SI values in the units of `EngineData`'s fields [-].

    Returns
    -------
    EngineData
        The engine [-].

    Raises
    ------
    InputError
        Lists every unknown, missing or malformed field with its path.
    """
    problems: list[str] = []
    engine = _build(EngineData, mapping, "", problems)
    if problems:
        raise InputError("; ".join(problems), mend="Correct these model parameters.", where="engine model")
    return typing.cast(EngineData, engine)


def _plain(x: Any) -> Any:
    if is_dataclass(x):
        return {f.name: _plain(v) for f in fields(x) if (v := getattr(x, f.name)) is not None}
    if isinstance(x, tuple):
        return [_plain(v) for v in x]
    return x


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _build(hint: Any, raw: Any, path: str, problems: list[str]) -> Any:
    if isinstance(hint, types.UnionType):
        hint = next(a for a in typing.get_args(hint) if a is not type(None))
    if is_dataclass(hint):
        return _build_class(typing.cast(type, hint), raw, path, problems)
    if hint is str:
        return _expect(isinstance(raw, str), raw, path, "text", problems)
    if hint is float:
        return float(_expect(_is_number(raw), raw, path, "a finite number", problems) or 0.0)
    if hint == Table:
        rows = _expect(isinstance(raw, list | tuple) and len(raw) > 0, raw, path, "a list of rows", problems)
        table = tuple(_row(r, f"{path}[{i}]", problems) for i, r in enumerate(rows or ()))
        if len({len(r) for r in table}) > 1:
            problems.append(f"{path}: rows differ in length")
        return table
    return _row(raw, path, problems)


def _build_class(cls: type, raw: Any, path: str, problems: list[str]) -> Any:
    if not isinstance(raw, dict):
        problems.append(f"{path or 'model'}: expected a table, got {type(raw).__name__}")
        return None
    before = len(problems)
    known = {f.name: f for f in fields(cls)}
    problems += [f"{_join(path, k)}: unknown field" for k in raw if k not in known]
    values = {}
    for name, f in known.items():
        if name in raw:
            values[name] = _build(_hints(cls)[name], raw[name], _join(path, name), problems)
        elif f.default is MISSING and f.default_factory is MISSING:
            problems.append(f"{_join(path, name)}: missing")
    return cls(**values) if len(problems) == before else None


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and math.isfinite(x)


def _row(raw: Any, path: str, problems: list[str]) -> tuple[float, ...]:
    good = isinstance(raw, list | tuple) and len(raw) > 0 and all(_is_number(v) for v in raw)
    return tuple(float(v) for v in _expect(good, raw, path, "a list of finite numbers", problems) or ())


def _expect(good: bool, raw: Any, path: str, what: str, problems: list[str]) -> Any:
    if good:
        return raw
    problems.append(f"{path}: expected {what}, got {raw!r:.60}")
    return None
