"""Which columns of a file are channels, in which unit, and which one is time."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Final, Protocol

from spoolwright import units
from spoolwright.errors import InputError
from spoolwright.sources.channelmap import ChannelMap, Entry
from spoolwright.sources.notes import Notes, listed, shown

_BRACKET: Final = re.compile(r"^(?P<name>.*?)\s*\[(?P<unit>[^\[\]]*)\]$", re.DOTALL)
_PARENTHESIS: Final = re.compile(r"^(?P<name>.*\S)\s*\((?P<unit>[^()]+)\)$", re.DOTALL)
_LONGEST_HEADING: Final = 300
_TIME_NAMES: Final = frozenset({"time", "timestamp", "datetime", "timeutc", "utc", "utctime", "elapsedtime"})


class ChannelSpec(Protocol):
    """What reading needs to know of a channel of the type file."""

    @property
    def id(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def dimension(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def aliases(self) -> Sequence[str]: ...
    @property
    def full_scale(self) -> float | None: ...


@dataclass(frozen=True)
class Column:
    """A column as the file names it. `other_unit` is a second, different unit where the file gives two."""

    position: int
    heading: str
    name: str
    unit: str
    other_unit: str = ""


@dataclass(frozen=True)
class Taken:
    """A column that becomes a channel: inner = value * factor + offset."""

    column: Column
    channel: str
    factor: float
    offset: float
    inner_unit: str
    entered_unit: str
    unit_source: str


@dataclass(frozen=True)
class Plan:
    """What to read."""

    time: Column | None
    time_unit: str
    taken: tuple[Taken, ...]


def column_from(position: int, heading: str, unit: str = "") -> Column:
    """A column from its heading `name [unit]` or `name (unit)` and a unit kept elsewhere, where there is one.

    Text in round brackets is a unit only when it names one: `T45 (left)` stays a name.
    """
    heading, unit = heading.strip(), unit.strip()
    if len(heading) > _LONGEST_HEADING:
        return Column(position, heading, heading, unit)
    match = _BRACKET.match(heading)
    if match is None:
        match = _PARENTHESIS.match(heading)
        if match is not None and not _is_unit(match["unit"]):
            match = None
    if match is None:
        return Column(position, heading, heading, unit)
    own = match["unit"].strip()
    if unit and own and not _same_unit(own, unit):
        return Column(position, heading, match["name"], own, other_unit=unit)
    return Column(position, heading, match["name"], own or unit)


def told_apart(columns: Sequence[Column], groups: Sequence[str]) -> list[Column]:
    """Columns with their group in front of the heading wherever a heading occurs more than once."""
    counts = Counter(column.heading for column in columns)
    return [
        replace(column, heading=f"{group}/{column.heading}") if counts[column.heading] > 1 else column
        for column, group in zip(columns, groups, strict=True)
    ]


def is_unit_text(text: str) -> bool:
    """Whether a cell of a unit line holds a unit, bare or in brackets, or nothing."""
    bare = text.strip().strip("[]()").strip()
    return not bare or bare == "-" or _is_unit(bare)


def _is_unit(text: str) -> bool:
    try:
        units.unit_named(text)
    except InputError:
        return False
    return True


def _same_unit(one: str, other: str) -> bool:
    try:
        return units.unit_named(one) == units.unit_named(other)
    except InputError:
        return one == other


def plan_columns(
    columns: Sequence[Column],
    specs: Iterable[ChannelSpec],
    channel_map: ChannelMap,
    notes: Notes,
    *,
    time_needed: bool = True,
) -> Plan:
    """Which columns to read as what.

    Raises
    ------
    InputError
        When there is no time column or more than one, when two columns are the same channel, or when the
        channel map names an unknown channel.
    """
    finder = _Finder(specs, channel_map)
    time = _time_column(columns, finder, channel_map) if time_needed else None
    found: dict[str, Column] = {}
    unused: list[str] = []
    for column in columns:
        if column is time or not column.heading or finder.ignored(column):
            continue
        channel = finder.channel_of(column)
        if channel is None:
            unused.append(column.heading)
        elif channel in found:
            raise InputError(
                f"columns '{shown(found[channel].heading)}' (no. {found[channel].position + 1}) and "
                f"'{shown(column.heading)}' (no. {column.position + 1}) are both channel '{channel}'.",
                mend="Name the one to leave out in the channel map: ignore = […].",
            )
        else:
            found[channel] = column
    finder.note_strays(columns, notes)
    if not found:
        raise InputError(
            f"none of its columns is a channel of the type: {listed([c.heading for c in columns])}.",
            mend="Check that it is the right type file, or give a channel map.",
        )
    if unused:
        notes.add("unused_columns", f"{len(unused)} column(s) belong to no channel: {listed(unused, 50)}.")
    taken = [
        _taken(column, finder.specs[channel], finder.entry_of(column), notes)
        for channel, column in found.items()
    ]
    return Plan(time, _time_unit(time, channel_map, notes), tuple(t for t in taken if t is not None))


class _Finder:
    """Column names to channels: the channel map first, then exact names, then without case and marks."""

    def __init__(self, specs: Iterable[ChannelSpec], channel_map: ChannelMap) -> None:
        self.specs = {spec.id: spec for spec in specs}
        self.map = channel_map
        self.exact: dict[str, set[str]] = defaultdict(set)
        self.folded: dict[str, set[str]] = defaultdict(set)
        for spec in self.specs.values():
            for name in (spec.id, spec.name, *spec.aliases):
                self.exact[name].add(spec.id)
                self.folded[_fold(name)].add(spec.id)
        for name, entry in channel_map.entries.items():
            if entry.channel not in self.specs:
                near = get_close_matches(entry.channel, self.specs, n=1)
                known = f"Did you mean '{near[0]}'?" if near else f"Channels: {listed(sorted(self.specs))}."
                told = f"the channel map says '{shown(name)}' is '{shown(entry.channel)}'"
                raise InputError(f"{told}, which is no channel of the type.", mend=known)

    def entry_of(self, column: Column) -> Entry | None:
        return self.map.entries.get(column.heading) or self.map.entries.get(column.name)

    def ignored(self, column: Column) -> bool:
        return column.heading in self.map.ignore or column.name in self.map.ignore

    def channel_of(self, column: Column) -> str | None:
        entry = self.entry_of(column)
        if entry is not None:
            return entry.channel
        for names, form in ((self.exact, str), (self.folded, _fold)):
            for text in (column.heading, column.name):
                ids = names.get(form(text), set())
                if len(ids) == 1:
                    return next(iter(ids))
        return None

    def note_strays(self, columns: Sequence[Column], notes: Notes) -> None:
        """Entries of the channel map that no column answers to."""
        present = {c.heading for c in columns} | {c.name for c in columns}
        strays = [name for name in self.map.entries if name not in present]
        if strays:
            notes.add(
                "channel_map", f"no column of this file is named {listed(strays)}, as the channel map says."
            )


def _fold(name: str) -> str:
    return "".join(c for c in name.casefold() if c not in " _-.")


def _time_column(columns: Sequence[Column], finder: _Finder, channel_map: ChannelMap) -> Column:
    wanted = channel_map.time_column
    if wanted:
        found = [c for c in columns if wanted in (c.heading, c.name)]
    else:
        found = [
            c for c in columns if names_time(c) and finder.channel_of(c) is None and not finder.ignored(c)
        ]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(
            f"{listed([c.heading for c in found])} could each be the time column.",
            mend='Name it in the channel map: [time] column = "…".',
        )
    what = f"no column is named '{shown(wanted)}'" if wanted else "no column is named 'time'"
    raise InputError(
        f"{what}; columns are {listed([c.heading for c in columns])}.",
        mend='Name the time column in the channel map: [time] column = "…".',
    )


def names_time(column: Column) -> bool:
    """Whether a column's name and unit say that it is time."""
    named = _fold(column.name) in _TIME_NAMES or column.name == "t"
    return named and (
        not column.unit or (_is_unit(column.unit) and units.unit_named(column.unit).dimension == "time")
    )


def _time_unit(time: Column | None, channel_map: ChannelMap, notes: Notes) -> str:
    if time is None:
        return "s"
    text = channel_map.time_unit or time.unit
    try:
        return units.unit_of(text, "time").name if text else ""
    except InputError as error:
        raise InputError(f"the time column: {error.what}", mend=error.mend) from error


def _taken(column: Column, spec: ChannelSpec, entry: Entry | None, notes: Notes) -> Taken | None:
    """The column with its unit settled, or None (with a note) when its unit cannot be read."""
    override = entry.unit if entry else ""
    text = override or column.unit
    source = "channel map" if override else "file" if column.unit else "type file"
    try:
        if column.other_unit and not override:
            raise InputError(f"two units are given, '{shown(column.unit)}' and '{shown(column.other_unit)}'.")
        unit = _unit_for(text or spec.unit, spec)
    except InputError as error:
        told = f"column '{shown(column.heading)}' was left out: {error.what} "
        notes.add("unit_refused", told + f"State the unit in the channel map. {error.mend}".strip(), spec.id)
        return None
    _note_unit(column, spec, text, override, notes)
    inner = units.INNER_UNIT[spec.dimension]
    return Taken(column, spec.id, unit.factor, unit.offset, inner, text, source)


def _unit_for(text: str, spec: ChannelSpec) -> units.Unit:
    """The unit of a channel; per cent of full scale where the type file gives one."""
    if spec.dimension == "ratio" or units.unit_named(text).name != "%":
        return units.unit_of(text, spec.dimension)
    if spec.full_scale is None:
        raise InputError(
            f"it is in % and the type file gives no full_scale for channel '{spec.id}'.",
            mend="Give full_scale in the type file.",
        )
    own = units.unit_of(spec.unit, spec.dimension)
    return units.Unit("%", spec.dimension, spec.full_scale * own.factor / 100, own.offset)


def _note_unit(column: Column, spec: ChannelSpec, text: str, override: str, notes: Notes) -> None:
    heading = shown(column.heading)
    if not text:
        if spec.dimension != "state":
            notes.add("unit_assumed", f"column '{heading}' gives no unit; read as {spec.unit}.", spec.id)
        return
    if override and column.unit and not _same_unit(override, column.unit):
        told = f"column '{heading}' says {shown(column.unit)}; read as {override}, as the channel map says."
        notes.add("unit_overridden", told, spec.id)
    if spec.dimension != "ratio" and units.unit_named(text).name == "%":
        notes.add("percent", f"column '{heading}' is in %: 100 % = {spec.full_scale:g} {spec.unit}.", spec.id)
    doubt = units.ambiguity(text, spec.dimension)
    if doubt:
        notes.add("unit_ambiguous", f"column '{heading}': {doubt}.", spec.id)
