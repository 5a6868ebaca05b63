"""The blocks of an MDF4 file, reached safely: no link is followed twice, none leads out of the file.

An MDF4 file is a graph of blocks. Each begins with `##` and two letters, four free bytes, its length and its
number of links, then the links (offsets from the start of the file), then its own fields.

References
----------
ASAM MDF 4.1.1, Measurement Data Format, base standard: block structure and the fields of each block.
"""

from __future__ import annotations

import mmap
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import unescape
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits

Bytes = NDArray[np.uint8]

_HEAD: Final = 24
_MOST_LINKS: Final = 2_000_000
_LONGEST_TEXT: Final = 4_096
_LONGEST_XML: Final = 65_536
_XML_TEXT: Final = re.compile(r"<TX(?:\s[^>]*)?>([^<]*)</TX>")
_LENGTH_NOT_UPDATED: Final = 4  # flag of an unfinished file: the last data block is longer than it says


@dataclass(frozen=True)
class Block:
    """A block: its links, and where its own fields begin and the block ends."""

    kind: str
    at: int
    links: tuple[int, ...]
    body: int
    end: int

    def link(self, number: int) -> int:
        """A link, 0 (nowhere) where the block has fewer."""
        return self.links[number] if number < len(self.links) else 0


@dataclass
class Blocks:
    """Access to the blocks of one file. `cut` tells whether data was missing at the end of a data block."""

    data: mmap.mmap
    limits: Limits
    cut: bool = False
    inflated: int = 0
    followed: int = field(default=0)

    def at(self, address: int, *kinds: str) -> Block:
        """The block at an address, which must be of one of the kinds."""
        if address + _HEAD > len(self.data) or self.data[address : address + 2] != b"##":
            raise damaged(f"a link leads to byte {address}, where no block is")
        kind = self.data[address + 2 : address + 4].decode("latin-1")
        if kinds and kind not in kinds:
            raise damaged(f"a link to {' or '.join(kinds)} leads to {kind!r} at byte {address}")
        length, count = struct.unpack_from("<QQ", self.data, address + 8)
        body = address + _HEAD + 8 * count
        self.followed += 1 + count
        if self.followed > _MOST_LINKS:
            raise damaged(f"it has more than {_MOST_LINKS} links")
        if 8 * count + _HEAD > length or body > len(self.data):
            raise damaged(f"the block at byte {address} has {count} links in {length} bytes")
        links = struct.unpack_from(f"<{count}Q", self.data, address + _HEAD)
        return Block(kind, address, links, body, address + length)

    def fields(self, block: Block, layout: str) -> tuple[Any, ...]:
        """The block's own fields."""
        if block.body + struct.calcsize(layout) > min(block.end, len(self.data)):
            raise damaged(f"the block at byte {block.at} is too short")
        return struct.unpack_from(layout, self.data, block.body)

    def chain(self, address: int, kind: str) -> Iterator[Block]:
        """Blocks of a kind, each linking to the next by its first link."""
        seen: set[int] = set()
        while address:
            if address in seen:
                raise damaged(f"the block at byte {address} is its own successor")
            seen.add(address)
            block = self.at(address, kind)
            yield block
            address = block.link(0)

    def text(self, address: int) -> str:
        """A text, or the text within XML; empty where there is none."""
        raw = self.xml(address, _LONGEST_TEXT)
        found = _XML_TEXT.search(raw) if raw.lstrip().startswith("<") else None
        return (unescape(found[1]) if found else raw).strip()

    def xml(self, address: int, longest: int = _LONGEST_XML) -> str:
        """A text block as it stands."""
        if not address:
            return ""
        block = self.at(address, "TX", "MD")
        end = min(block.end, block.body + longest, len(self.data))
        return bytes(self.data[block.body : end]).partition(b"\0")[0].decode("utf-8", "replace")

    def records(self, address: int, unfinished: int) -> Bytes:
        """The bytes of all records behind a data link, joined and unpacked, up to where data is missing."""
        parts: list[Bytes] = []
        leaves = list(self._leaves(address)) if address else []
        for number, leaf in enumerate(leaves):
            if leaf.kind == "DZ":
                part = self._unpacked(leaf)
            else:
                open_end = bool(unfinished & _LENGTH_NOT_UPDATED) and number == len(leaves) - 1
                end = len(self.data) if open_end else min(leaf.end, len(self.data))
                self.cut = self.cut or leaf.end > len(self.data)
                part = np.frombuffer(self.data, np.uint8, max(end - leaf.body, 0), leaf.body)
            parts.append(part)
            if self.cut:  # records may straddle blocks, so nothing behind a gap can be told apart
                break
        return parts[0] if len(parts) == 1 else np.concatenate([np.empty(0, np.uint8), *parts])

    def _leaves(self, address: int) -> Iterator[Block]:
        """Data blocks behind a data link, in order."""
        block = self.at(address)
        if block.kind == "HL":
            block = self.at(block.link(0), "DL") if block.link(0) else block
        if block.kind in ("DT", "DZ"):
            yield block
        elif block.kind == "DL":
            for part in self.chain(block.at, "DL"):
                for link in part.links[1:]:
                    if link:
                        yield self.at(link, "DT", "DZ")
        elif block.kind != "HL":
            raise InputError(
                f"its data are kept in blocks of kind {block.kind!r}.", mend="Save it as MDF 4.10."
            )

    def _unpacked(self, block: Block) -> Bytes:
        """The content of a compressed block; empty, and the file counts as cut, where it does not unpack."""
        _, how, _, columns, length, packed = self.fields(block, "<2sBBIQQ")
        self.inflated += length
        if self.inflated > self.limits.unpacked_bytes:
            raise InputError(f"it unpacks to more than {self.limits.unpacked_bytes} bytes, the limit.")
        start = block.body + 24
        try:
            raw = zlib.decompressobj().decompress(self.data[start : start + packed], length or 1)
        except zlib.error:
            raw = b""
        if len(raw) != length or how not in (0, 1):
            self.cut = True
            return np.empty(0, np.uint8)
        content = np.frombuffer(raw, np.uint8)
        if how == 0 or not columns:
            return content
        whole = length // columns * columns
        turned = content[:whole].reshape(columns, -1).T.ravel()
        return np.concatenate([turned, content[whole:]])


def damaged(what: str) -> InputError:
    """What is raised on a file that contradicts itself."""
    return InputError(f"it is damaged: {what}.", mend="Copy or export the recording again.")
