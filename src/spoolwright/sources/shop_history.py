"""Reads the shop's history, a plain table with a header line; every mistake with its line.

Columns, in any order: `engine` (serial), `visit`, `released_on`, `measured_on` (optional), and any further
columns that engines can share: part lots, gauges, balancer, cell, a code for who assembled. `X_calibrated_on`
beside a column `X` says when that gauge, balancer or cell was last calibrated before it was used. Days are
written 2026-03-14. Several entries of one cell are parted by `;` or `|`, and so are their days of
calibration.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from spoolwright.crafts.testcell.diagnosis.sisters import ShopHistory, Used, Visit
from spoolwright.crafts.typefile.checking.mistake import MOST_MISTAKES, nearest
from spoolwright.errors import Problem, ShopHistoryError
from spoolwright.sources.plainfile import read_whole

_LARGEST = 50_000_000
_NEEDED = ("engine", "visit", "released_on")
_OWN = (*_NEEDED, "measured_on")
_CALIBRATED = "_calibrated_on"
_SHOWN = 60
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def read_shop_history(path: Path | str) -> ShopHistory:
    """Read and check a table of the shop's history.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    ShopHistoryError
        The table holds mistakes; `problems` lists them all, by line.
    """
    file = Path(path)
    found = _Mistakes(file.name)
    text = _text(read_whole(file, ShopHistoryError.noun, _LARGEST), found)
    rows = _rows(text, found)
    columns = [c.strip() for c in rows[0][1]] if rows else []
    if not rows:
        found.tell(1, "file", "there is no header line.", f"Begin with: {','.join(_OWN)},part_lot,gauge")
    else:
        _check_header(columns, rows[0][0], found)
    found.stop()
    whole = _whole(rows, found)
    visits = [_visit(dict(zip(columns, cells, strict=True)), line, found) for line, cells in whole]
    _check_twice(visits, [line for line, _ in rows[1:]], found)
    if len(rows) == 1:
        found.tell(rows[0][0], "file", "there is no row below the header.", "Give a row for every visit.")
    found.stop()
    shared = tuple(c for c in columns if c not in _OWN and not c.endswith(_CALIBRATED))
    return ShopHistory(tuple(visits), shared)


class _Mistakes:
    """Mistakes found so far."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def tell(self, line: int, where: str, what: str, mend: str) -> None:
        self.problems.append(Problem(self.file, line, _clean(where), _clean(what), _clean(mend)))
        if len(self.problems) > MOST_MISTAKES:
            self.stop()

    def stop(self) -> None:
        """End here where there is a mistake."""
        if self.problems:
            raise ShopHistoryError(sorted(self.problems, key=lambda p: p.line or 0))


def _text(data: bytes, found: _Mistakes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found.tell(line, "file", "the file is not text in UTF-8.", "Save it as CSV in UTF-8.")
        found.stop()
        raise


def _rows(text: str, found: _Mistakes) -> list[tuple[int, list[str]]]:
    """Rows that are not empty, each with its line. The header tells what parts the cells."""
    head = text.lstrip("\r\n").partition("\n")[0]
    mark = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    out: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for cells in reader:
            if any(c.strip() for c in cells):
                out.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        found.tell(line, "row", f"the row cannot be read: {error}.", "Close every quotation mark.")
        found.stop()
    return out


def _check_header(columns: Sequence[str], line: int, found: _Mistakes) -> None:
    for needed in _NEEDED:
        if needed not in columns:
            near = nearest(needed, [c for c in columns if c not in _OWN])
            mend = f"Is '{near}' meant?" if near else "Add it."
            found.tell(line, "header", f"column '{needed}' is missing.", mend)
    for i, c in enumerate(columns):
        if not _NAME.fullmatch(c):
            what = f"column {i + 1} is called '{c[:_SHOWN]}'."
            found.tell(line, "header", what, "Use small letters, digits and _: part_lot.")
        elif c in columns[:i]:
            mend = "Put several entries into one cell: A; B."
            found.tell(line, "header", f"column '{c}' stands twice.", mend)
        elif c.endswith(_CALIBRATED) and c.removesuffix(_CALIBRATED) not in columns:
            of = c.removesuffix(_CALIBRATED)
            found.tell(line, "header", f"'{c}' has no column '{of}' beside it.", f"Add '{of}', or rename it.")


def _whole(rows: Sequence[tuple[int, list[str]]], found: _Mistakes) -> Iterator[tuple[int, list[str]]]:
    """Rows with as many cells as the header; missing empty cells at the end are added."""
    width = len(rows[0][1])
    for line, cells in rows[1:]:
        extra = [c for c in cells[width:] if c.strip()]
        if extra:
            what = f"{len(cells)} cells, the header has {width}."
            found.tell(line, "row", what, "Put cells that hold the mark between cells in quotation marks.")
        yield line, [*cells[:width], *[""] * (width - len(cells))]


def _visit(cells: dict[str, str], line: int, found: _Mistakes) -> Visit:
    own = {c: cells.get(c, "").strip() for c in _OWN}
    if not own["engine"]:
        found.tell(line, "engine", "the serial is missing.", "Write the engine's serial number.")
    released = _day(own["released_on"], line, "released_on", found)
    measured = _day(own["measured_on"], line, "measured_on", found)
    if released and measured and measured > released:
        what = f"measured on {measured}, after the release on {released}."
        found.tell(line, "measured_on", what, "Correct one of the two days.")
    used = {}
    for column, text in cells.items():
        if column not in _OWN and not column.endswith(_CALIBRATED):
            days = cells.get(f"{column}{_CALIBRATED}", "")
            entry = _Entry(column, text, days, measured or released)
            if known := tuple(_used(entry, line, found)):
                used[column] = known
    return Visit(own["engine"], own["visit"], released, measured, used)


@dataclass(frozen=True)
class _Entry:
    """A cell with what was used, the cell with its days of calibration, and the last day it can have been
    used."""

    column: str
    text: str
    days: str
    by: date | None


def _used(e: _Entry, line: int, found: _Mistakes) -> Iterator[Used]:
    names = _parts(e.text)
    if not any(names) and not e.days.strip():
        return
    where = f"{e.column}{_CALIBRATED}"
    days = _parts(e.days) if e.days.strip() else [""] * len(names)
    if len(days) != len(names) or not all(names):
        what = f"'{e.column}' has {sum(map(bool, names))} entries, '{where}' {len(days)}."
        if not e.days.strip():
            where, what = e.column, f"an entry of '{e.text.strip()[:_SHOWN]}' is empty."
        found.tell(line, where, what, "Give one day for each entry, in the same order.")
        return
    for name, text in zip(names, days, strict=True):
        day = _day(text, line, where, found)
        if day and e.by and day > e.by:
            what = f"{name[:_SHOWN]} was calibrated on {day}, after it was used ({e.by} at the latest)."
            found.tell(line, where, what, "Give the last calibration before it was used.")
        yield Used(name, day)


def _parts(text: str) -> list[str]:
    return [p.strip() for p in re.split(r"[;|]", text)]


def _day(text: str, line: int, where: str, found: _Mistakes) -> date | None:
    text = text.strip()
    if not text:
        return None
    try:
        if not _DAY.fullmatch(text):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        found.tell(line, where, f"'{text[:_SHOWN]}' is not a day.", "Write year-month-day: 2026-03-14.")
        return None


def _check_twice(visits: Sequence[Visit], lines: Sequence[int], found: _Mistakes) -> None:
    seen: dict[tuple[str, str], int] = {}
    for v, line in zip(visits, lines, strict=True):
        if (v.engine, v.visit) in seen:
            what = f"engine {v.engine}, visit '{v.visit}' stands in line {seen[v.engine, v.visit]} already."
            found.tell(line, "engine", what, "Keep one row for a visit, or name the visits.")
        seen.setdefault((v.engine, v.visit), line)


def _clean(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)
