"""MDF4, read here: a library that trusts the links of a damaged file brings the whole process down."""

from __future__ import annotations

import mmap
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Final

import numpy as np

from spoolwright.errors import InputError
from spoolwright.sources.clock import TimeBase, zone_from
from spoolwright.sources.columns import Taken, column_from, told_apart
from spoolwright.sources.loaded import Loaded, Task, header_facts
from spoolwright.sources.mdfblocks import Block, Blocks, Bytes, damaged
from spoolwright.sources.mdfvalues import MdfChannel, conversion_of, values_of
from spoolwright.sources.notes import shown
from spoolwright.sources.tracks import Track, join_tracks

_HEADER: Final = 64
_SECONDS: Final = 1
_VARIABLE: Final = 1
_ELSEWHERE: Final = 8  # the clock is kept in another group, column by column (MDF 4.20)
_LOCAL_TIME: Final = 1
_DEEPEST: Final = 4
_PROPERTY: Final = re.compile(r'<e\s+name="([^"]{1,200})"[^>]{0,200}>([^<]{0,2000})</e>')


@dataclass
class _Group:
    """A channel group: channels that share records and a clock."""

    name: str
    data_group: Block
    record_id: int
    rows: int
    flags: int
    data_bytes: int
    invalid_bytes: int
    channels: list[MdfChannel] = field(default_factory=list)

    @property
    def clock(self) -> MdfChannel | None:
        return next((c for c in self.channels if c.is_clock and c.sync == _SECONDS), None)

    @property
    def record_bytes(self) -> int:
        return self.data_bytes + self.invalid_bytes


def load_mdf4(task: Task) -> Loaded:
    """The content of an MDF4 file.

    Raises
    ------
    InputError
        When it is damaged, has no channel on a clock, or is larger than the limits.
    """
    with task.path.open("rb") as file:
        data = mmap.mmap(
            file.fileno(), 0, access=mmap.ACCESS_READ
        )  # closed with the last array that looks into it
    if len(data) < _HEADER:
        raise damaged("it ends within its first block")
    return _load(Blocks(data, task.limits), task)


def _load(blocks: Blocks, task: Task) -> Loaded:
    header = blocks.at(_HEADER, "HD")
    groups = list(_groups(blocks, header, task))
    places = [(number, c) for number, g in enumerate(groups) for c in g.channels if not c.is_clock]
    columns = [column_from(i, c.name, c.unit) for i, (_, c) in enumerate(places)]
    plan = task.choose(told_apart(columns, [groups[number].name for number, _ in places]), False)
    wanted: dict[int, list[tuple[Taken, MdfChannel]]] = {}
    for taken in plan.taken:
        number, channel = places[taken.column.position]
        if _can_be_read(groups[number], channel, taken, task):
            wanted.setdefault(number, []).append((taken, channel))
    (unfinished,) = struct.unpack_from("<H", blocks.data, 60)
    tracks = [
        _track(groups[number], chosen, _records(blocks, groups, number, unfinished, task), task)
        for number, chosen in wanted.items()
    ]
    if blocks.cut or unfinished:
        task.notes.add("cut_short", "the file was not finished or is cut; every whole record was read.")
    facts = header_facts(_facts(blocks, header), task.notes)
    start = _started_at(blocks, header, task, facts)
    return join_tracks(tracks, task, TimeBase(np.empty(0), start), facts)


def _groups(blocks: Blocks, header: Block, task: Task) -> Iterator[_Group]:
    """Every channel group with its channels."""
    number = columns = 0
    for data_group in blocks.chain(header.link(0), "DG"):
        for block in blocks.chain(data_group.link(1), "CG"):
            number += 1
            record_id, rows, flags, _, _, size, invalid = blocks.fields(block, "<QQHHIII")
            name = blocks.text(block.link(2)) or f"group {number}"
            group = _Group(name, data_group, record_id, rows, flags, size, invalid)
            if not flags & _VARIABLE:
                group.channels = list(_channels(blocks, block.link(1)))
                columns += len(group.channels)
                task.limits.check_columns(columns)
            yield group


def _channels(blocks: Blocks, first: int, depth: int = 0) -> Iterator[MdfChannel]:
    """The channels of a group, those inside structures included."""
    for block in blocks.chain(first, "CN"):
        inside = blocks.at(block.link(1), "CN", "CA") if block.link(1) else None
        conversion, parameters, unit = conversion_of(blocks, block.link(4))
        kind, sync, data_type, bit, byte, bits, flags, invalid = blocks.fields(block, "<BBBBIIII")
        yield MdfChannel(
            name=blocks.text(block.link(2)),
            unit=blocks.text(block.link(6)) or unit,
            kind=kind,
            sync=sync,
            data_type=data_type,
            bit_offset=bit,
            byte_offset=byte,
            bits=bits,
            flags=flags,
            invalid_bit=invalid,
            conversion=conversion,
            parameters=parameters,
            is_array=inside is not None and inside.kind == "CA",
        )
        if inside is not None and inside.kind == "CN":
            if depth == _DEEPEST:
                raise damaged("its structures lie too deep in each other")
            yield from _channels(blocks, inside.at, depth + 1)


def _can_be_read(group: _Group, channel: MdfChannel, taken: Taken, task: Task) -> bool:
    """Whether a channel is numbers on a clock; if not, a note says why."""
    reason = channel.unreadable(group.data_bytes)
    if not reason and group.flags & _ELSEWHERE:
        reason = "is kept apart from its clock; save the file as MDF 4.10"
    if not reason and (group.clock is None or group.clock.unreadable(group.data_bytes)):
        reason = "has no clock in seconds"
    if reason:
        told = f"column '{shown(taken.column.heading)}' {reason}; it was left out."
        task.notes.add("not_numbers", told, taken.channel)
    return not reason


def _records(blocks: Blocks, groups: list[_Group], number: int, unfinished: int, task: Task) -> Bytes:
    """The records of a group, a row each."""
    group = groups[number]
    (id_bytes,) = blocks.fields(group.data_group, "<B")
    if id_bytes not in (0, 1, 2, 4, 8):
        raise damaged(f"its record numbers have {id_bytes} bytes")
    size = id_bytes + group.record_bytes
    data = blocks.records(group.data_group.link(2), unfinished)
    siblings = [g for g in groups if g.data_group.at == group.data_group.at]
    if len(siblings) > 1 or group.flags & _VARIABLE:
        data = _sorted_out(blocks, data, siblings, group, id_bytes)
    if size == 0:
        task.limits.check_values(group.rows, 1)
        return np.empty((group.rows, 0), np.uint8)
    rows = data[: data.size // size * size].reshape(-1, size)[:, id_bytes:]
    blocks.cut = blocks.cut or (len(rows) < group.rows and not unfinished)
    return rows if unfinished else rows[: group.rows]


def _sorted_out(blocks: Blocks, data: Bytes, siblings: list[_Group], wanted: _Group, id_bytes: int) -> Bytes:
    """The records of one group out of data in which several groups' records stand mixed."""
    if not id_bytes:
        raise damaged("several groups share data without record numbers")
    sizes = {g.record_id: g.record_bytes for g in siblings}
    variable = {g.record_id for g in siblings if g.flags & _VARIABLE}
    raw, at, starts = data.tobytes(), 0, []
    while at + id_bytes <= len(raw):
        record_id = int.from_bytes(raw[at : at + id_bytes], "little")
        if record_id not in sizes:
            blocks.cut = True
            break
        size = sizes[record_id]
        if record_id in variable:
            size = 4 + int.from_bytes(raw[at + id_bytes : at + id_bytes + 4], "little")
        if record_id == wanted.record_id and at + id_bytes + size <= len(raw):
            starts.append(at)
            blocks.limits.check_values(5 * len(starts), 1)  # one after another, so fewer of them
        at += id_bytes + size
    size = id_bytes + wanted.record_bytes
    if not starts or not size:
        return np.empty(0, np.uint8)
    records: Bytes = np.lib.stride_tricks.sliding_window_view(data, size)[np.asarray(starts)]
    return records.ravel()


def _track(group: _Group, chosen: list[tuple[Taken, MdfChannel]], records: Bytes, task: Task) -> Track:
    """The chosen channels of one group."""
    clock = group.clock
    if clock is None:
        raise InputError("a channel group lost its clock.")
    task.limits.check_values(len(records), len(chosen) + 1)
    track = Track(values_of(clock, records, group.data_bytes))
    for taken, channel in chosen:
        track.taken.append(taken)
        track.values.append(values_of(channel, records, group.data_bytes))
    return track


def _facts(blocks: Blocks, header: Block) -> list[tuple[str, str]]:
    """Properties and comment of the header."""
    raw = blocks.xml(header.link(5))
    named = [(unescape(name), unescape(value)) for name, value in _PROPERTY.findall(raw)]
    comment = blocks.text(header.link(5))
    return [*named, *([("comment", comment)] if comment and not comment.startswith("<") else [])]


def _started_at(blocks: Blocks, header: Block, task: Task, facts: dict[str, str]) -> datetime | None:
    """UTC at zero of the clocks; a header in local time needs the zone from elsewhere."""
    nanoseconds, _, _, flags = blocks.fields(header, "<QhhB")
    if not nanoseconds:
        return None
    start = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=nanoseconds // 1000)
    if not flags & _LOCAL_TIME:
        return start
    zone = task.zone(facts)
    if zone:
        return start.replace(tzinfo=zone_from(zone)).astimezone(UTC)
    told = (
        f"the start {start.replace(tzinfo=None).isoformat()} names no zone, so the start in UTC is unknown."
    )
    task.notes.add("time_zone", told)
    return None
