"""Any record in words: what it is, then each of its fields that says something."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from typing import Any

from pydantic import BaseModel

from spoolwright.crafts.visit.entry import Attachment, Body

_UNITS = {
    "h": "h", "c": "°C", "k": "K", "rpm": "rpm", "pa": "Pa", "kpa": "kPa", "kw": "kW", "w": "W", "nm": "N·m",
    "mm": "mm", "um": "µm", "m": "m", "s": "s", "min": "min", "kg": "kg", "g": "g", "days": "d",
    "percent": "%",
}  # fmt: skip


@dataclass(frozen=True)
class Line:
    """A field: its name in words, its value as text, or what is inside it, or a file."""

    name: str
    text: str = ""
    inside: tuple[Line, ...] = ()
    file: Attachment | None = None


def title_of(body: Body) -> str:
    """What kind of record it is: the first sentence of its description."""
    first = re.split(r"(?<=[.:])\s", (type(body).__doc__ or body.kind).strip())[0]
    return first.rstrip(".:")


def lines_of(value: BaseModel | Mapping[str, Any]) -> tuple[Line, ...]:
    """The fields that say something, in their order."""
    if isinstance(value, BaseModel):
        pairs = [(name, getattr(value, name)) for name in type(value).model_fields]
    else:
        pairs = list(value.items())
    return tuple(line for name, inner in pairs for line in _line(words_of(str(name)), inner))


def words_of(name: str) -> str:
    """A field's name in words, its unit in brackets: `time_since_new_h` is 'Time since new [h]'."""
    *rest, last = name.split("_")
    words = f"{' '.join(rest)} [{_UNITS[last]}]" if rest and last in _UNITS else name.replace("_", " ")
    return words[:1].upper() + words[1:]


def _line(name: str, value: Any) -> Iterator[Line]:
    if value is None or value == "" or value == () or value == [] or value == {}:
        return
    if isinstance(value, Attachment):
        yield Line(name, value.name, file=value)
    elif isinstance(value, BaseModel | Mapping):
        yield Line(name, inside=lines_of(value))
    elif isinstance(value, list | tuple | set | frozenset):
        plain = [text_of(v) for v in value if not isinstance(v, BaseModel | Mapping | list | tuple)]
        if len(plain) == len(value):
            yield Line(name, ", ".join(plain))
        else:
            yield Line(name, inside=tuple(line for n, v in enumerate(value, 1) for line in _line(str(n), v)))
    else:
        yield Line(name, text_of(value))


def text_of(value: Any) -> str:
    """A plain value as people write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M} UTC"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)
