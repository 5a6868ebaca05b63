"""Runs stored calculations again and compares: numbers to 1e-9 relative, everything else identical."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from spoolwright.crafts.visit.entry import Attachment, Body, Calculation, Recompute, canonical

RELATIVE = 1e-9


def calculations_in(value: Any) -> Iterator[Calculation]:
    """Every calculation that a body holds, however deep."""
    yield from _of(value, Calculation)


def attachments_in(body: Body) -> Iterator[Attachment]:
    """Every file that a body names, however deep."""
    yield from _of(body, Attachment)


def _of(value: Any, wanted: type[Any]) -> Iterator[Any]:
    if isinstance(value, wanted):
        yield value
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _of(getattr(value, name), wanted)
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _of(inner, wanted)
    elif isinstance(value, list | tuple | set | frozenset):
        for inner in value:
            yield from _of(inner, wanted)


def recomputed(stored: Calculation, again: Recompute, read: Callable[[str], bytes]) -> list[str]:
    """Where a calculation that is run again differs from what is stored; empty when it agrees."""
    inputs = json.loads(canonical(stored.inputs))  # a copy: the calculation may do with it what it likes
    result = json.loads(canonical(again(inputs, read)))
    return list(differences(stored.result, result))


def differences(stored: Any, again: Any, path: str = "result") -> Iterator[str]:
    """Each value that is not the same, with its path."""
    if isinstance(stored, dict) and isinstance(again, dict):
        for key in sorted(stored.keys() | again.keys()):
            yield from differences(stored.get(key, _NONE), again.get(key, _NONE), f"{path}.{key}")
    elif isinstance(stored, list) and isinstance(again, list) and len(stored) == len(again):
        for i, (a, b) in enumerate(zip(stored, again, strict=True), 1):
            yield from differences(a, b, f"{path}[{i}]")
    elif not _same(stored, again):
        yield f"{path} is stored as {_shown(stored)}, computed again it is {_shown(again)}"


_NONE = object()


def _same(a: Any, b: Any) -> bool:
    if _number(a) and _number(b):
        return math.isclose(a, b, rel_tol=RELATIVE, abs_tol=0.0)
    return type(a) is type(b) and bool(a == b)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(value: Any) -> str:
    return "nothing" if value is _NONE else repr(value)[:80]
