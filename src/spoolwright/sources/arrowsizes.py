"""What an Arrow stream says it will unpack to, read before anything is unpacked.

Arrow's reader takes a message's word for the size of its rows and buffers. A few bytes can so ask for any
amount of memory; this look at the metadata of the messages (flatbuffers) refuses that.

References
----------
Apache Arrow columnar format, serialization and interprocess communication; `Message.fbs`: Message = version,
header type, header, body length; RecordBatch = length, nodes, buffers, compression; DictionaryBatch = id,
data. A compressed buffer begins with its unpacked length, 8 bytes, -1 where it is not compressed.
"""

from __future__ import annotations

import struct
from typing import Any, Final

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits

_DICTIONARY, _BATCH = 2, 3
_HEADER_KIND, _HEADER = 1, 2
_LENGTH, _BUFFERS, _COMPRESSION = 0, 2, 3
_MOST_BUFFERS: Final = 100_000


def check_message(message: Any, rows_before: int, channels: int, limits: Limits) -> int:
    """Refuse a message that would unpack to more than the limits; returns its rows.

    Raises
    ------
    InputError
        When the message declares more rows or bytes than the limits allow.
    struct.error, IndexError
        When its metadata are cut; the reader will say so in its own words.
    """
    data = message.metadata.to_pybytes()
    root = struct.unpack_from("<I", data, 0)[0]
    kind = data[_field(data, root, _HEADER_KIND)] if _field(data, root, _HEADER_KIND) else 0
    if kind not in (_DICTIONARY, _BATCH):
        return 0
    table = _follow(data, _field(data, root, _HEADER))
    if kind == _DICTIONARY:
        table = _follow(data, _field(data, table, 1))
    place = _field(data, table, _LENGTH)
    rows = struct.unpack_from("<q", data, place)[0] if place else 0
    limits.check_values(rows if kind == _DICTIONARY else rows_before + rows, channels)
    if _field(data, table, _COMPRESSION):
        _check_buffers(data, table, message.body, limits)
    return int(rows) if kind == _BATCH else 0


def _check_buffers(data: bytes, table: int, body: Any, limits: Limits) -> None:
    """Refuse buffers that unpack to too much in all."""
    vector = _follow(data, _field(data, table, _BUFFERS))
    count = struct.unpack_from("<I", data, vector)[0]
    if count > _MOST_BUFFERS:
        raise InputError(f"a batch has {count} buffers, the limit is {_MOST_BUFFERS}.")
    total = 0
    for i in range(count):
        offset, length = struct.unpack_from("<qq", data, vector + 4 + 16 * i)
        if length >= 8 and 0 <= offset <= body.size - 8:
            total += max(struct.unpack("<q", body[offset : offset + 8].to_pybytes())[0], 0)
    if total > limits.unpacked_bytes:
        told = f"a batch unpacks to {total} bytes, the limit is {limits.unpacked_bytes}."
        raise InputError(told, mend="Write shorter batches.")


def _field(data: bytes, table: int, slot: int) -> int:
    """Where a field of a flatbuffers table stands, 0 when it is absent."""
    directory = table - struct.unpack_from("<i", data, table)[0]
    if 4 + 2 * slot >= struct.unpack_from("<H", data, directory)[0]:
        return 0
    offset = struct.unpack_from("<H", data, directory + 4 + 2 * slot)[0]
    return int(table + offset) if offset else 0


def _follow(data: bytes, place: int) -> int:
    """Where the table or vector at a place begins."""
    return int(place + struct.unpack_from("<I", data, place)[0])
