"""Reads an operator's checks on the aircraft, a plain table with a header line; every mistake with its line.

Columns, in any order, with the unit in brackets: `date`, `hours [h]`, `pressure_altitude [ft]` or
`pressure [hPa]`, `oat [degC]`, `ng [%]`, `np [%]`, `torque [%]`, `mgt [degC]`; further `bleed` and `anti_ice`
(on, off), `by`, `remark`. % of a speed or torque is of the type file's full scale.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pydantic import ValidationError

from spoolwright.crafts.installation.model import CheckReading
from spoolwright.crafts.installation.reading import ALTITUDE, PRESSURE, QUANTITIES, Quantity, check_reading
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.checking.mistake import choice
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, MistakesError, Problem
from spoolwright.sources.plainfile import read_whole
from spoolwright.units import unit_of

LARGEST = 2_000_000
MOST_CHECKS = 5_000
_SHOWN = 60
_HEAD = re.compile(r"\s*(?P<name>[^\[\]]*?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\])?\s*")
_HOURS = Quantity("hours", "hours since installation", "hours", "time", "")
_WITH_UNIT = {q.short: q for q in (_HOURS, ALTITUDE, PRESSURE, *QUANTITIES)}
_PLAIN = ("date", "bleed", "anti_ice", "by", "remark")
_ONE_OF = ("pressure_altitude", "pressure")
_SWITCH = {"on": True, "off": False, "1": True, "0": False, "": False}


class ChecksError(MistakesError):
    """Mistakes in a table of checks on the aircraft."""

    noun = "table of checks on the aircraft"


@dataclass(frozen=True)
class ReadChecks:
    """The checks of a file, each with its line."""

    readings: tuple[CheckReading, ...]
    lines: tuple[int, ...]


def read_checks(path: Path, type_file: TypeFile) -> ReadChecks:
    """The checks of a file.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    ChecksError
        The table holds mistakes; `problems` lists them all, by line.
    """
    return checks_from(read_whole(path, ChecksError.noun, LARGEST), path.name, type_file)


def checks_from(data: bytes, name: str, type_file: TypeFile) -> ReadChecks:
    """The checks of a file's content.

    Raises
    ------
    ChecksError
        The table holds mistakes; `problems` lists them all, by line.
    """
    table = _Table(name, type_file)
    rows = table.rows(data)
    columns = table.columns(rows[0][1], rows[0][0])
    found = [(line, table.reading(columns, cells, line)) for line, cells in rows[1:]]
    if len(rows) == 1:
        table.tell(rows[0][0], "file", "there is no check below the header.", "Give a row for each check.")
    if len(rows) > MOST_CHECKS:
        table.tell(
            None, "file", f"{len(rows) - 1} checks are too many for one engine.", "Is it another file?"
        )
    table.stop()
    kept = [(line, r) for line, r in found if r is not None]
    kept.sort(key=lambda x: (x[1].checked_on, x[1].hours))
    return ReadChecks(tuple(r for _, r in kept), tuple(line for line, _ in kept))


@dataclass(frozen=True)
class _Column:
    name: str
    unit: str


class _Table:
    """A table being read, and the mistakes found so far."""

    def __init__(self, file: str, type_file: TypeFile) -> None:
        self.file, self.type_file = file, type_file
        self.problems: list[Problem] = []

    def tell(self, line: int | None, where: str, what: str, mend: str) -> None:
        clean = ["".join(c if c.isprintable() else "?" for c in t) for t in (where, what, mend)]
        self.problems.append(Problem(self.file, line, *clean))

    def stop(self) -> None:
        """End here where there is a mistake."""
        if self.problems:
            raise ChecksError(sorted(self.problems, key=lambda p: p.line or 0))

    def rows(self, data: bytes) -> list[tuple[int, list[str]]]:
        """Rows that are not empty, each with its line."""
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            self.tell(line, "file", "the file is not text in UTF-8.", "Save it as CSV in UTF-8.")
            self.stop()
            raise
        head = text.lstrip("\r\n").partition("\n")[0]
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count), strict=True)
        out: list[tuple[int, list[str]]] = []
        line = 1
        try:
            for cells in reader:
                if any(c.strip() for c in cells):
                    out.append((line, cells))
                line = reader.line_num + 1
        except csv.Error as error:
            self.tell(line, "row", f"the row cannot be read: {error}.", "Close every quotation mark.")
        if not out:
            self.tell(1, "file", "there is no header line.", "Begin with: date,hours [h],oat [degC],…")
        self.stop()
        return out

    def columns(self, head: Sequence[str], line: int) -> list[_Column | None]:
        """The columns with their units; a mistake in the header ends the reading."""
        out = [self._column(cell, line) for cell in head]
        names = [c.name for c in out if c is not None]
        for name in dict.fromkeys(n for n in names if names.count(n) > 1):
            self.tell(line, "header", f"column '{name}' stands twice.", "Keep one.")
        for name in ("date", "hours", *(q.short for q in QUANTITIES)):
            if name not in names:
                self.tell(
                    line, "header", f"column '{name}' is missing.", "Add it, with its unit in brackets."
                )
        if sum(n in names for n in _ONE_OF) != 1:
            what = "one of the columns 'pressure_altitude' and 'pressure' is needed, not both."
            self.tell(line, "header", what, "Keep the one that was read on the aircraft.")
        self.stop()
        return out

    def _column(self, cell: str, line: int) -> _Column | None:
        match = _HEAD.fullmatch(cell)
        name, unit = (match["name"].lower(), match["unit"] or "") if match else (cell, "")
        if name in _PLAIN:
            return _Column(name, "")
        if name not in _WITH_UNIT:
            mend = choice(name, {*_WITH_UNIT, *_PLAIN}, "columns")
            self.tell(line, "header", f"column '{cell.strip()[:_SHOWN]}' is not known.", mend)
            return None
        if not unit:
            what = f"column '{name}' does not state its unit."
            self.tell(line, "header", what, f"Write it in brackets: {name} [{_EXAMPLE[name]}].")
            return _Column(name, "")
        q = _WITH_UNIT[name]
        if unit == "%" and q.role:
            return _Column(name, "%")
        try:
            return _Column(name, unit_of(unit, q.dimension).name)
        except InputError as error:
            self.tell(line, f"column {name}", error.what, error.mend)
            return _Column(name, "")

    def reading(
        self, columns: Sequence[_Column | None], cells: Sequence[str], line: int
    ) -> CheckReading | None:
        """A row as a check; None where it holds a mistake."""
        if len(cells) > len(columns) and any(c.strip() for c in cells[len(columns) :]):
            what = f"{len(cells)} cells, the header has {len(columns)}."
            self.tell(line, "row", what, "Write decimals with a point, or part cells with semicolons.")
            return None
        before = len(self.problems)
        padded = [*cells, *[""] * (len(columns) - len(cells))]
        given: dict[str, object] = {}
        for column, cell in zip(columns, padded, strict=False):
            if column is not None:
                self._cell(column, cell.strip(), line, given)
        if len(self.problems) > before:
            return None
        try:
            reading = CheckReading.model_validate(given)
            check_reading(reading, self.type_file)
        except ValidationError as error:
            first = error.errors()[0]
            self.tell(line, str(first["loc"][0]), f"{first['msg']}.", "Correct the cell.")
            return None
        except InputError as error:
            self.tell(line, error.where or "row", error.what, error.mend)
            return None
        return reading

    def _cell(self, column: _Column, text: str, line: int, given: dict[str, object]) -> None:
        if column.name == "date":
            try:
                given["checked_on"] = date.fromisoformat(text)
            except ValueError:
                self.tell(line, "date", f"'{text[:_SHOWN]}' is not a day.", "Write it as 2026-05-04.")
        elif column.name in ("bleed", "anti_ice"):
            if text.lower() not in _SWITCH:
                self.tell(line, column.name, f"'{text[:_SHOWN]}' is neither on nor off.", "Write on or off.")
            given[column.name] = _SWITCH.get(text.lower(), False)
        elif column.name in ("by", "remark"):
            given["made_by" if column.name == "by" else "remark"] = text[:500]
        else:
            self._number(column, text, line, given)

    def _number(self, column: _Column, text: str, line: int, given: dict[str, object]) -> None:
        try:
            value = float(text)
            if not math.isfinite(value):
                raise ValueError
        except ValueError:
            what = f"'{text[:_SHOWN]}' is not a number." if text else "the cell is empty."
            self.tell(line, column.name, what, "Write it as 12.5.")
            return
        q = _WITH_UNIT[column.name]
        if q is _HOURS:
            given["hours"] = value * unit_of(column.unit, "time").factor / 3600.0
        else:
            given[q.name] = Amount.model_construct(value=value, unit=column.unit)


_EXAMPLE = {
    "hours": "h", "pressure_altitude": "ft", "pressure": "hPa", "oat": "degC", "ng": "%", "np": "%",
    "torque": "%", "mgt": "degC",
}  # fmt: skip
