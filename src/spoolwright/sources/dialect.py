"""How a text file is written: encoding, header, delimiter, decimal mark. Told from its first part alone."""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from typing import Final

from spoolwright.errors import InputError
from spoolwright.sources.cells import MISSING
from spoolwright.sources.channelmap import ChannelMap
from spoolwright.sources.columns import Column, column_from, is_unit_text
from spoolwright.sources.limits import Limits
from spoolwright.sources.notes import Notes, shown

_BREAK: Final = re.compile(r"\r\n|\n|\r")
_POINT: Final = re.compile(r"^\s*[+-]?\d*\.\d+([eE][+-]?\d+)?\s*$")
_COMMA: Final = re.compile(r"^\s*[+-]?\d*,\d+([eE][+-]?\d+)?\s*$")
_THOUSANDS: Final = re.compile(r"^\s*[+-]?[1-9]\d{0,2},\d{3}\s*$")
_NUMBER: Final = re.compile(r"^\s*[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*$")
_FACT: Final = re.compile(r"^\s*(?P<key>[^:=]{1,80}?)\s*[:=]\s*(?P<value>.*)$")
_BOMS: Final = ((b"\xff\xfe\x00\x00", "utf-32"), (b"\x00\x00\xfe\xff", "utf-32"), (codecs.BOM_UTF8, "utf-8"),
                (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))  # fmt: skip
_SAMPLED_LINES: Final = 200


@dataclass
class Dialect:
    """How to read a text file. `decimal` is empty when the first lines show none."""

    encoding: str
    delimiter: str
    decimal: str
    quoted: bool
    columns: list[Column]
    facts: list[tuple[str, str]]
    data_offset: int


def dialect_of(sample: bytes, whole: bool, channel_map: ChannelMap, limits: Limits, notes: Notes) -> Dialect:
    """The dialect of a text file.

    Parameters
    ----------
    sample : bytes
        First part of the file.
    whole : bool
        Whether the sample is the whole file.
    channel_map : ChannelMap
        May state delimiter and decimal mark.
    limits : Limits
        Bound on the header line.
    notes : Notes
        Collects what a person should know.

    Raises
    ------
    InputError
        When the file is not text or has no header line that fits its rows.
    """
    encoding, bom = _encoding(sample, whole, notes)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(sample[bom:], whole)
    facts, delimiter, start, end, after = _header_line(text, channel_map, limits)
    lines = _data_lines(text[after:], whole)
    delimiter = delimiter or _delimiter(text[start:end], lines)
    names = _fields(text[start:end], delimiter)
    limits.check_columns(len(names))
    unit_row = _unit_row(names, lines, delimiter)
    if unit_row is not None:
        after += _next_line(text[after:])
        lines = lines[1:]
    _refuse_numbers(names)
    columns = [
        column_from(i, name, unit)
        for i, (name, unit) in enumerate(zip(names, unit_row or [""] * len(names), strict=True))
    ]
    if lines and _fields(lines[0], delimiter)[len(names) :] == [
        ""
    ]:  # rows end in a delimiter, the header does not
        columns.append(Column(len(names), "", "", ""))
    cells = [cell for line in lines for cell in _fields(line, delimiter)]
    return Dialect(
        encoding=encoding,
        delimiter=delimiter,
        decimal=channel_map.decimal or ("." if delimiter == "," else _decimal(cells)),
        quoted=any('"' in line for line in lines),
        columns=columns,
        facts=facts,
        data_offset=bom + len(text[:after].encode(encoding)),
    )


def _encoding(sample: bytes, whole: bool, notes: Notes) -> tuple[str, int]:
    """Encoding and length of the byte order mark."""
    for mark, name in _BOMS:
        if sample.startswith(mark):
            if name == "utf-32":
                raise InputError("it is UTF-32 text.", mend="Save it as UTF-8.")
            if name != "utf-8":
                notes.add("encoding", f"the file is {name.upper()[:6]} text; it was read as such.")
            return name, len(mark)
    nul = sample.find(b"\0")
    if nul >= 0:
        even, odd = sorted((sample[:4000:2].count(0), sample[1:4000:2].count(0)))
        if odd > 0.8 * min(len(sample), 4000) / 2 and even < odd / 10:
            raise InputError("it looks like UTF-16 text without a byte order mark.", mend="Save it as UTF-8.")
        raise InputError(
            f"it is not text: byte {nul + 1} is NUL.", mend="It may be damaged or another format."
        )
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(sample, whole)
    except UnicodeDecodeError as error:
        control = sum(byte < 32 and byte not in b"\t\n\r\f" for byte in sample[:4000])
        if control > 0.02 * min(len(sample), 4000):
            raise InputError(
                "it is not text, and of no format known here.", mend="Export it again."
            ) from None
        notes.add("encoding", latin_note(error.start))
        return "latin-1", 0
    return "utf-8", 0


def latin_note(byte: int) -> str:
    """What is told of a file read as Latin-1."""
    return (
        f"the file is not UTF-8 (byte {byte + 1}); it was read as ISO 8859-1 (Latin-1): "
        "check names with letters beyond A to Z."
    )


def _next_line(text: str) -> int:
    """Where the next line begins, or 0 when no line ends."""
    found = _BREAK.search(text)
    return found.end() if found else 0


def _header_line(
    text: str, channel_map: ChannelMap, limits: Limits
) -> tuple[list[tuple[str, str]], str, int, int, int]:
    """Facts before the header, delimiter if stated, and where the header begins, ends and its line ends."""
    facts: list[tuple[str, str]] = []
    delimiter, start = channel_map.delimiter, 0
    while True:
        found = _BREAK.search(text, start)
        end, after = (found.start(), found.end()) if found else (len(text), len(text))
        if end - start > limits.line_bytes or (found is None and len(text) > limits.line_bytes):
            raise InputError(
                f"its first line is longer than {limits.line_bytes} bytes.",
                mend="Check that it is a recording.",
            )
        line = text[start:end]
        if line.lstrip().startswith("#"):
            facts += [_fact(line.lstrip("# \t"))]
        elif line[:4].lower() == "sep=" and len(line) == 5:
            delimiter = delimiter or line[4]
        elif line.strip():
            return facts, delimiter, start, end, after
        if found is None:
            raise InputError(
                "it has no header line.", mend="The first line names the columns: time [s], ng [rpm], …"
            )
        start = after


def _fact(line: str) -> tuple[str, str]:
    match = _FACT.match(line)
    return (match["key"], match["value"]) if match else ("comment", line)


def _data_lines(text: str, whole: bool) -> list[str]:
    """The first lines with content; the last one only if it is surely complete."""
    lines = _BREAK.split(text[: 2**20], maxsplit=_SAMPLED_LINES)
    if not whole or len(lines) > _SAMPLED_LINES:
        lines = lines[:-1]
    return [line for line in lines if line.strip()]


def _fields(line: str, delimiter: str) -> list[str]:
    try:
        return next(iter(csv.reader([line], delimiter=delimiter)), [""])
    except csv.Error as error:
        raise InputError(f"its line '{shown(line)}' cannot be split: {error}.") from error


def _delimiter(header: str, lines: list[str]) -> str:
    """The delimiter that splits the header into two or more fields and most rows into just as many."""
    best = ("", 0.0, 0)
    told: list[str] = []
    for mark in (";", "\t", ",", "|"):
        if mark not in header:
            continue
        width = len(_fields(header, mark))
        fits = [len(_fields(line, mark)) == width or _fields(line, mark)[width:] == [""] for line in lines]
        share = sum(fits) / len(fits) if fits else 1.0
        told.append(f"{width} split by {mark!r}")
        if (share, width) > best[1:]:
            best = (mark, share, width)
    if not told:
        raise InputError(
            f"its first line '{shown(header)}' does not split into columns.",
            mend="Separate columns by comma, semicolon, tab or |, with the names in the first line.",
        )
    if best[1] < 0.5:
        first = next(iter(lines))
        raise InputError(
            f"its rows do not have as many fields as the header ({', '.join(told)}): '{shown(first)}'.",
            mend="A decimal comma needs semicolon or tab between columns; names with a comma need quotes.",
        )
    return best[0]


def _unit_row(names: list[str], lines: list[str], delimiter: str) -> list[str] | None:
    """A second header line that holds nothing but units."""
    if not lines or any(name.rstrip().endswith("]") for name in names):
        return None
    cells = (_fields(lines[0], delimiter) + [""] * len(names))[: len(names)]
    words = [
        cell for cell in cells if cell.strip() and not _NUMBER.match(cell) and cell.strip() not in MISSING
    ]
    if not words or not all(is_unit_text(cell) for cell in cells):
        return None
    return [cell.strip().strip("[]()").strip() for cell in cells]


def _refuse_numbers(names: list[str]) -> None:
    if sum(bool(_NUMBER.match(name)) for name in names) > len(names) / 2:
        raise InputError(
            f"its first line '{shown(', '.join(names))}' holds numbers, not names.",
            mend="Put a header line first: time [s], ng [rpm], …",
        )


def _decimal(cells: list[str]) -> str:
    """The decimal mark, or nothing when no cell shows one."""
    points = sum(bool(_POINT.match(cell)) for cell in cells)
    commas = [cell for cell in cells if _COMMA.match(cell)]
    if not commas and not points:
        return ""
    few, many = sorted((points, len(commas)))
    if few > 0.01 * many:
        raise InputError(
            f"decimal point ({points} cells) and decimal comma ({len(commas)} cells) both occur.",
            mend='Export it with one, or state it in the channel map: [csv] decimal = ",".',
        )
    if len(commas) > points and all(_THOUSANDS.match(cell) for cell in commas):
        raise InputError(
            f"the comma in '{shown(commas[0])}' may part thousands or decimals.",
            mend='State it in the channel map: [csv] decimal = "," or ".".',
        )
    return "," if len(commas) > points else "."
