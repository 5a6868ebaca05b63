"""What the wanted columns of a Parquet file unpack to, read before anything is unpacked.

Parquet's reader takes each page's word for its size, so a small file can ask for any amount of memory. The
footer and the page headers tell the sizes, in the compact form of Thrift; what is needed of it is read here.
The library's own view of the footer is no help: on a damaged one it ends the process.

References
----------
Apache Parquet format, `parquet.thrift`: FileMetaData (4 row groups), RowGroup (1 columns), ColumnChunk (3
metadata), ColumnMetaData (3 path, 7 packed size, 9 data page, 11 dictionary page), PageHeader (2 unpacked, 3
packed size). Apache Thrift, compact protocol.
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits

_LARGEST_FOOTER: Final = 32 * 2**20
_MOST_PAGES: Final = 500_000
_LONGEST_HEADER: Final = 2**14
_DEEPEST: Final = 32
_TRUE, _FALSE, _BYTE, _DOUBLE, _BINARY, _LIST, _SET, _MAP, _STRUCT = 1, 2, 3, 7, 8, 9, 10, 11, 12


def check_pages(path: Path, names: set[str], limits: Limits) -> None:
    """Refuse a file whose wanted columns unpack to more, row group by row group, than the limit.

    Raises
    ------
    InputError
        When they do, or when footer or page headers contradict themselves.
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        footer = _footer(data)
        pages = 0
        try:
            for number, group in enumerate(_row_groups(footer, names)):
                total = 0
                for start, packed in group:
                    for unpacked in _pages(data, start, packed):
                        total, pages = total + unpacked, pages + 1
                        if total > limits.unpacked_bytes:
                            told = (
                                f"row group {number + 1} unpacks to more than {limits.unpacked_bytes} bytes."
                            )
                            raise InputError(told, mend="Write smaller row groups.")
                        if pages > _MOST_PAGES:
                            raise InputError(
                                f"it has more than {_MOST_PAGES} pages.", mend="Write larger pages."
                            )
        except (IndexError, struct.error) as error:
            raise damaged("its footer or a page header is cut") from error


def damaged(what: str) -> InputError:
    """What is raised on a file that contradicts itself."""
    return InputError(f"it is damaged: {what}.", mend="Copy or export the recording again.")


def _footer(data: mmap.mmap) -> bytes:
    if len(data) < 12 or data[-4:] != b"PAR1":
        raise damaged("its end is missing")
    (length,) = struct.unpack("<I", data[-8:-4])
    if length > min(_LARGEST_FOOTER, len(data) - 12):
        raise damaged(f"its footer has {length} bytes")
    return data[len(data) - 8 - length : len(data) - 8]


def _row_groups(footer: bytes, names: set[str]) -> Iterator[list[tuple[int, int]]]:
    """Start and packed size of the wanted columns, one row group after another."""
    thrift = _Compact(footer)
    for number, kind in thrift.fields():
        if number != 4 or kind != _LIST:
            thrift.skip(kind)
            continue
        for _ in thrift.items(_STRUCT):
            chunks: list[tuple[int, int]] = []
            for inner, inner_kind in thrift.fields():
                if inner != 1 or inner_kind != _LIST:
                    thrift.skip(inner_kind)
                    continue
                for _ in thrift.items(_STRUCT):
                    name, start, packed = _chunk(thrift)
                    if name in names:
                        chunks.append((start, packed))
            yield chunks


def _chunk(thrift: _Compact) -> tuple[str, int, int]:
    """Name, start and packed size of a column chunk."""
    path: list[str] = []
    numbers: dict[int, int] = {}
    for number, kind in thrift.fields():
        if number != 3 or kind != _STRUCT:
            thrift.skip(kind)
            continue
        for inner, inner_kind in thrift.fields():
            if inner == 3 and inner_kind == _LIST:
                path = [thrift.text() for _ in thrift.items(_BINARY)]
            elif inner in (7, 9, 11) and inner_kind in (5, 6):
                numbers[inner] = thrift.integer()
            else:
                thrift.skip(inner_kind)
    start = min((numbers[n] for n in (9, 11) if numbers.get(n, 0) > 0), default=0)
    return ".".join(path), start, numbers.get(7, 0)


def _pages(data: mmap.mmap, start: int, packed: int) -> Iterator[int]:
    """What each page of a column chunk unpacks to."""
    at, end = start, start + packed
    if packed == 0:
        return
    if start < 4 or packed < 0 or end > len(data):
        raise damaged("a column lies outside the file")
    while at < end:
        thrift = _Compact(data[at : at + _LONGEST_HEADER])
        sizes = {2: 0, 3: 0}
        for number, kind in thrift.fields():
            if number in sizes and kind == 5:
                sizes[number] = thrift.integer()
            else:
                thrift.skip(kind)
        if min(sizes.values()) < 0:
            raise damaged("a page has a negative size")
        yield sizes[2]
        at += thrift.at + sizes[3]


class _Compact:
    """Reads the compact form of Thrift."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def varint(self) -> int:
        value = shift = 0
        while True:
            byte = self.data[self.at]
            self.at += 1
            value |= (byte & 0x7F) << shift
            if byte < 0x80:
                return value
            shift += 7
            if shift > 63:
                raise damaged("a number in its footer has no end")

    def integer(self) -> int:
        value = self.varint()
        return value >> 1 ^ -(value & 1)

    def text(self) -> str:
        length = self.varint()
        self.at += length
        return self.data[self.at - length : self.at].decode("utf-8", "replace")

    def fields(self) -> Iterator[tuple[int, int]]:
        """Number and kind of each field of a struct; the caller reads or skips its value."""
        number = 0
        while True:
            head = self.data[self.at]
            self.at += 1
            if head == 0:
                return
            number = number + (head >> 4) if head >> 4 else self.integer()
            yield number, head & 0x0F

    def items(self, kind: int) -> Iterator[None]:
        """One step for each item of a list, which must be of the kind."""
        count, found = self._list_head()
        if count and found != kind:
            raise damaged("its footer holds another list than expected")
        for _ in range(count):
            yield

    def _list_head(self) -> tuple[int, int]:
        head = self.data[self.at]
        self.at += 1
        count = self._count() if head >> 4 == 15 else head >> 4
        return count, head & 0x0F

    def _count(self) -> int:
        """A number of items, each of which takes a byte at least."""
        count = self.varint()
        if count > len(self.data) - self.at:
            raise damaged(f"its footer promises {count} items in fewer bytes")
        return count

    def skip(self, kind: int, depth: int = 0, in_list: bool = False) -> None:
        """Pass over a value."""
        if depth > _DEEPEST:
            raise damaged("its footer is nested too deep")
        if kind in (_TRUE, _FALSE):
            self.at += in_list
        elif kind == _BYTE:
            self.at += 1
        elif kind in (4, 5, 6):
            self.varint()
        elif kind == _DOUBLE:
            self.at += 8
        elif kind == _BINARY:
            length = self.varint()
            self.at += length
        elif kind in (_LIST, _SET):
            count, inner = self._list_head()
            for _ in range(count):
                self.skip(inner, depth + 1, in_list=True)
        elif kind == _MAP:
            self._skip_map(depth)
        elif kind == _STRUCT:
            for _, inner in self.fields():
                self.skip(inner, depth + 1)
        else:
            raise damaged(f"its footer holds a value of unknown kind {kind}")

    def _skip_map(self, depth: int) -> None:
        count = self._count()
        kinds = self.data[self.at] if count else 0
        self.at += bool(count)
        for _ in range(count):
            self.skip(kinds >> 4, depth + 1, in_list=True)
            self.skip(kinds & 0x0F, depth + 1, in_list=True)
