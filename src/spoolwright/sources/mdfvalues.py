"""Numbers out of the records of an MDF4 file: bits to integers and reals, then the channel's conversion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.sources.mdfblocks import Blocks, Bytes

_MOST_RANGES: Final = 256
_ALL_INVALID: Final = 1
_INVALID_BIT: Final = 2
_REALS: Final = {4: "<", 5: ">"}
_BIG_ENDIAN: Final = (1, 3, 5)
_SIGNED: Final = (2, 3)
_VIRTUAL: Final = (3, 6)
_NO_CONVERSION: Final = (0, 7, 8, 9, 10, 11)  # none, or to text: the number itself is kept
_LINEAR, _RATIONAL, _FORMULA, _INTERPOLATED, _NEAREST, _RANGES = range(1, 7)


@dataclass(frozen=True)
class MdfChannel:
    """A channel as its block describes it."""

    name: str
    unit: str
    kind: int
    sync: int
    data_type: int
    bit_offset: int
    byte_offset: int
    bits: int
    flags: int
    invalid_bit: int
    conversion: int
    parameters: FloatArray
    is_array: bool = False

    @property
    def is_clock(self) -> bool:
        """Whether it is the master of its group."""
        return self.kind in (2, 3)

    def unreadable(self, data_bytes: int) -> str:
        """Why it gives no numbers; empty when it does."""
        if self.is_array:
            return "is an array"
        if self.kind not in (0, 2, *_VIRTUAL) or self.data_type > 5:
            return "holds no numbers"
        if self.conversion not in (*_NO_CONVERSION, _LINEAR, _RATIONAL, _INTERPOLATED, _NEAREST, _RANGES):
            return "is converted by a formula in text, which is not run"
        if self.conversion == _RANGES and self.parameters.size > 3 * _MOST_RANGES + 1:
            return f"is converted by more than {_MOST_RANGES} ranges"
        if self.conversion in (_INTERPOLATED, _NEAREST) and not (np.diff(self.parameters[::2]) > 0).all():
            return "is converted by a table whose keys do not rise"
        if self.kind in _VIRTUAL:
            return ""
        if not 1 <= self.bits <= 64 or self.bit_offset > 7 or self.bit_offset + self.bits > 64:
            return f"has {self.bits} bits at bit {self.bit_offset}"
        if self.data_type in _REALS and (self.bit_offset or self.bits not in (16, 32, 64)):
            return f"is a real number of {self.bits} bits"
        reach = self.byte_offset + (self.bit_offset + self.bits + 7) // 8
        return "lies outside its record" if reach > data_bytes else ""


def conversion_of(blocks: Blocks, address: int) -> tuple[int, FloatArray, str]:
    """Kind, parameters and unit of a conversion."""
    if not address:
        return 0, np.empty(0), ""
    block = blocks.at(address, "CC")
    kind, _, _, _, count, _, _ = blocks.fields(block, "<BBHHHdd")
    *_, values = blocks.fields(block, f"<BBHHHdd{8 * count}s")
    return int(kind), np.frombuffer(values, "<f8"), blocks.text(block.link(1))


def values_of(channel: MdfChannel, records: Bytes, data_bytes: int) -> FloatArray:
    """A channel's values, converted; NaN where the file marks them invalid.

    Parameters
    ----------
    channel : MdfChannel
        A channel whose `unreadable` is empty.
    records : array of bytes, shape (rows, bytes of a record)
        The records of its group.
    data_bytes : int
        Where the invalidation bits begin in a record.
    """
    if channel.kind in _VIRTUAL:
        raw = np.arange(len(records), dtype=np.float64)
    elif channel.data_type in _REALS:
        width = channel.bits // 8
        raw = _slice(records, channel.byte_offset, width).view(f"{_REALS[channel.data_type]}f{width}").ravel()
    else:
        raw = _integers(channel, records)
    values = _converted(channel, raw.astype(np.float64))
    if channel.flags & _ALL_INVALID:
        values[:] = np.nan
    elif channel.flags & _INVALID_BIT and data_bytes + channel.invalid_bit // 8 < records.shape[1]:
        marks = records[:, data_bytes + channel.invalid_bit // 8] >> (channel.invalid_bit % 8) & 1
        values[marks.astype(bool)] = np.nan
    return values


def _slice(records: Bytes, start: int, width: int) -> Bytes:
    return np.ascontiguousarray(records[:, start : start + width])


def _integers(channel: MdfChannel, records: Bytes) -> NDArray[Any]:
    """Integers of any width up to 64 bits, either byte order."""
    width = (channel.bit_offset + channel.bits + 7) // 8
    taken = _slice(records, channel.byte_offset, width)
    if channel.data_type in _BIG_ENDIAN:
        taken = taken[:, ::-1]
    wide = np.zeros((len(records), 8), np.uint8)
    wide[:, :width] = taken
    number = wide.view("<u8").ravel() >> np.uint64(channel.bit_offset)
    spare = np.uint64(64 - channel.bits)
    if channel.data_type in _SIGNED:
        return (number << spare).view(np.int64) >> spare.astype(np.int64)
    return number << spare >> spare


def _converted(channel: MdfChannel, raw: FloatArray) -> FloatArray:
    """Raw numbers through the channel's conversion, ASAM MDF 4.1.1, block CC."""
    p = channel.parameters
    with np.errstate(all="ignore"):
        if channel.conversion == _LINEAR and p.size >= 2:
            return np.asarray(np.polyval(p[1::-1], raw), dtype=np.float64)
        if channel.conversion == _RATIONAL and p.size >= 6:
            return np.asarray(np.polyval(p[0:3], raw) / np.polyval(p[3:6], raw), dtype=np.float64)
        if channel.conversion in (_INTERPOLATED, _NEAREST) and p.size >= 2:
            return _table(p[0 : p.size // 2 * 2 : 2], p[1::2], raw, channel.conversion == _INTERPOLATED)
        if channel.conversion == _RANGES and p.size >= 4:
            return _ranges(p, raw, channel.data_type in _REALS)
    return raw


def _table(keys: FloatArray, values: FloatArray, raw: FloatArray, interpolated: bool) -> FloatArray:
    """A table of keys and values, constant beyond its ends; without interpolation the nearest key counts."""
    if interpolated:
        return np.interp(raw, keys, values)
    after = np.clip(np.searchsorted(keys, raw), 1, max(keys.size - 1, 1))
    before = after - 1
    if keys.size == 1:
        return np.full(raw.shape, values[0])
    return np.where(raw - keys[before] <= keys[after] - raw, values[before], values[after])


def _ranges(p: FloatArray, raw: FloatArray, real: bool) -> FloatArray:
    """A table of ranges and values with a default; ranges of reals leave out their upper end."""
    low, high, value = (p[: (p.size - 1) // 3 * 3].reshape(-1, 3)[:, i] for i in range(3))
    out = np.full(raw.shape, p[-1])
    for first, last, constant in zip(low[::-1], high[::-1], value[::-1], strict=True):
        inside = (raw >= first) & ((raw < last) if real else (raw <= last))
        out[inside] = constant
    return out
