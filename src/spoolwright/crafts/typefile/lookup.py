"""Finds things in a type file by id, role, alias or set."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.checking.mistake import choice
from spoolwright.crafts.typefile.model import Cell, Channel, Limit, Rating, Role, ScheduleItem, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import INNER_UNIT, to_inner


class _Named(Protocol):
    @property
    def id(self) -> str: ...


N = TypeVar("N", bound=_Named)


def channel_named(type_file: TypeFile, name: str) -> Channel | None:
    """The channel with this id or alias; capitals and blanks around it do not matter."""
    wanted = name.strip().casefold()
    for c in type_file.channel:
        if wanted == c.id or any(wanted == a.casefold() for a in c.aliases):
            return c
    return None


def channel_of(type_file: TypeFile, role: Role) -> Channel | None:
    """The channel of a role; the first one for roles that many may have."""
    return next((c for c in type_file.channel if c.role == role), None)


def channels_of(type_file: TypeFile, role: Role) -> tuple[Channel, ...]:
    """Every channel of a role."""
    return tuple(c for c in type_file.channel if c.role == role)


def rating_named(type_file: TypeFile, name: str) -> Rating:
    """The rating with this id; raises InputError when there is none."""
    return _named(type_file.rating, name, "rating")


def cell_named(type_file: TypeFile, name: str) -> Cell:
    """The test cell with this id; raises InputError when there is none."""
    return _named(type_file.cell, name, "cell")


def limits_of(type_file: TypeFile, limit_set: str) -> tuple[Limit, ...]:
    """Limits of a set, in file order; raises InputError when there is no such set."""
    _named(type_file.limit_set, limit_set, "limit set")
    return tuple(x for x in type_file.limit if limit_set in x.sets)


def schedule_of(type_file: TypeFile, limit_set: str) -> tuple[ScheduleItem, ...]:
    """Schedule items that a set owes, in order; raises InputError when there is no such set."""
    _named(type_file.limit_set, limit_set, "limit set")
    return tuple(x for x in type_file.schedule if limit_set in x.sets)


def module_owning(type_file: TypeFile, factor: str) -> str | None:
    """Id of the module that owns a condition factor."""
    return next((m.id for m in type_file.module if factor in m.factors), None)


def source_text(type_file: TypeFile, source: Source) -> str:
    """A source as it is printed: document, revision, paragraph."""
    revision = next((d.revision for d in type_file.document if d.id == source.document), "?")
    return f"{source.document}, revision {revision}, paragraph {source.paragraph}"


def percent_to_inner(channel: Channel, percent: float) -> float:
    """A reading in % of a channel's full scale, in the inner unit; raises InputError without a full scale."""
    if channel.full_scale is None:
        what = f"channel '{channel.id}' has no full_scale, so a reading in % means nothing."
        raise InputError(what, where="type file", mend=f"Add full_scale, in {channel.unit}.")
    return to_inner(percent / 100.0 * channel.full_scale, channel.unit)


def inner_unit_of(channel: Channel) -> str:
    """The unit that readings of a channel have inside."""
    return INNER_UNIT[channel.dimension]


def _named(records: Sequence[N], name: str, noun: str) -> N:
    found = next((r for r in records if r.id == name), None)
    if found is None:
        raise InputError(f"there is no {noun} '{name}'.", mend=choice(name, _ids(records), f"{noun}s"))
    return found


def _ids(records: Iterable[_Named]) -> list[str]:
    return [r.id for r in records]
