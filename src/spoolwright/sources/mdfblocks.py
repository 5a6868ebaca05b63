"""A first walk over the blocks of an MDF4 file, before the library that reads it follows their links.

The file is a graph of blocks. A damaged or hostile one may link in a circle, into itself, or promise data
that is not there; the library would follow without end or fill the memory. This walk refuses such a file in
bounded time.

References
----------
ASAM MDF 4.1, block structure: every block begins with `##` and two letters, four bytes kept free, its length,
its number of links, then the links, each an offset from the start of the file.
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits

_FIRST: Final = 64  # the header block follows the identification
_HEAD: Final = 24
_CHAINS: Final[dict[bytes, slice]] = {
    b"##HD": slice(0, 6),
    b"##FH": slice(0, 1),
    b"##AT": slice(0, 1),
    b"##EV": slice(0, 1),
    b"##CH": slice(0, 2),
    b"##DG": slice(0, 3),
    b"##CG": slice(0, 2),
    b"##CN": slice(0, 2),
    b"##CA": slice(0, 1),
    b"##DL": slice(0, None),
    b"##LD": slice(0, None),
    b"##HL": slice(0, 1),
}
"""Links that a reader follows from block to block. Each block they lead to belongs to one place only."""

_MOST_BLOCKS: Final = 2_000_000
_INFLATION: Final = 1100  # deflate cannot inflate beyond 1032 times
_SLACK: Final = 2**16


def check_blocks(path: Path, limits: Limits) -> None:
    """Walk the blocks.

    Raises
    ------
    InputError
        When blocks link in a circle, lie outside the file, hold more channels than the limit, or promise more
        data than they can hold.
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if len(data) < _FIRST + _HEAD or data[_FIRST : _FIRST + 4] != b"##HD":
            raise _damaged("it has no header block")
        channels = inflated = 0
        for kind, at in _blocks(data):
            channels += kind == b"##CN"
            inflated += _inflated(data, at) if kind == b"##DZ" else 0
        limits.check_columns(channels)
        if inflated > 16 * limits.values:
            raise InputError(f"it unpacks to {inflated} bytes, more than the limit of {16 * limits.values}.")


def _blocks(data: mmap.mmap) -> Iterator[tuple[bytes, int]]:
    """Every block that can be reached, each once."""
    seen = {_FIRST}
    stack = [_FIRST]
    while stack:
        at = stack.pop()
        kind = data[at : at + 4]
        yield kind, at
        for link in _links(data, at, kind):
            if link in seen:
                raise _damaged(f"two links lead to the block at byte {link}")
            seen.add(link)
            stack.append(link)
        if len(seen) > _MOST_BLOCKS:
            raise _damaged(f"it has more than {_MOST_BLOCKS} blocks")


def _links(data: mmap.mmap, at: int, kind: bytes) -> list[int]:
    """The links of a block that are followed, checked to lie in the file and to lead to a block."""
    length, count = struct.unpack_from("<QQ", data, at + 8)
    if count * 8 + _HEAD > length or at + _HEAD + count * 8 > len(data):
        raise _damaged(f"the block at byte {at} has {count} links in {length} bytes")
    if kind not in _CHAINS:
        return []
    followed = [link for link in struct.unpack_from(f"<{count}Q", data, at + _HEAD)[_CHAINS[kind]] if link]
    for link in followed:
        if link + _HEAD > len(data) or data[link : link + 2] != b"##":
            raise _damaged(f"a link of the block at byte {at} leads nowhere")
    return followed


def _inflated(data: mmap.mmap, at: int) -> int:
    """Bytes that a compressed block unpacks to."""
    if at + _HEAD + 24 > len(data):
        raise _damaged(f"the block at byte {at} is cut")
    unpacked, packed = struct.unpack_from("<QQ", data, at + _HEAD + 8)
    if unpacked > _INFLATION * packed + _SLACK:
        raise _damaged(f"the block at byte {at} promises {unpacked} bytes out of {packed}")
    return int(unpacked)


def _damaged(what: str) -> InputError:
    return InputError(f"it is damaged: {what}.", mend="Copy or export the recording again.")
