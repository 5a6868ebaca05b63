"""Reads ledgers of life-limited parts from a table: a row for each birth and each line of use.

`event` tells which: `birth` (day in `on`, counts in `part_hours_on` and so on) or `use`. Rows of a part stand
in the order of its ledger; `line` may number them. `flown` holds cycles of each kind: `full=120; partial=34`.
An empty cell is something that the card does not say. Days are written 2026-03-14.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from pydantic import ValidationError

from spoolwright.crafts.life.figure import exact
from spoolwright.crafts.life.model import PartBorn, PartUsed, Reading
from spoolwright.errors import InputError, LedgerError, Problem
from spoolwright.sources.plainfile import read_whole

LARGEST = 20_000_000
NEEDED = ("part_number", "serial", "event")
COUNTS = tuple(
    f"{what}_{measure}_{end}"
    for what, measures in (("engine", ("hours", "starts")), ("part", ("hours", "cycles", "starts")))
    for measure in measures
    for end in ("on", "off")
)
PLAIN = (
    "line",
    "began",
    "ended",
    "engine",
    "module",
    "on",
    "off",
    "class",
    "table",
    "flown",
    "reason",
    "document",
)
COLUMNS = (*NEEDED, *PLAIN, *COUNTS)


@dataclass
class CardRead:
    """What a table holds of one part."""

    part_number: str
    serial: str
    born: PartBorn | None = None
    lines: list[PartUsed] = field(default_factory=list)


def read_ledgers(path: Path | str) -> list[CardRead]:
    """Ledgers from a file.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    LedgerError
        The table holds mistakes; `problems` lists them all, by line.
    """
    file = Path(path)
    return ledgers_from(read_whole(file, LedgerError.noun, LARGEST), file.name)


def ledgers_from(content: bytes, name: str) -> list[CardRead]:
    """Ledgers from the bytes of a table."""
    problems: list[Problem] = []
    cards: dict[tuple[str, str], CardRead] = {}
    for number, cells in _rows(content, name):
        try:
            _take(cells, cards)
        except InputError as error:
            problems.append(Problem(name, number, error.where or "row", error.what, error.mend))
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(x) for x in first["loc"])
            problems.append(Problem(name, number, where, f"{first['msg']}.", "Correct the cell."))
    if problems:
        raise LedgerError(problems)
    if not cards:
        raise LedgerError([Problem(name, None, "file", "there is no row.", "Give a row for each line.")])
    return list(cards.values())


def _rows(content: bytes, name: str) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("the file is not text in UTF-8.", where=name, mend="Save it as UTF-8.") from error
    mark = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        head = [c.strip() for c in next(reader, [])]
        _check_header(head, name)
        for cells in reader:
            if any(c.strip() for c in cells):
                if any(c.strip() for c in cells[len(head) :]):
                    raise InputError(
                        "the row has more cells than the header.", where=f"{name}:{reader.line_num}"
                    )
                yield reader.line_num, {h: c.strip() for h, c in zip(head, cells, strict=False)}
    except csv.Error as error:
        raise InputError(
            f"the table cannot be read: {error}.",
            where=f"{name}:{reader.line_num}",
            mend="Close quotation marks.",
        ) from error


def _check_header(head: list[str], name: str) -> None:
    unknown = [c for c in head if c not in COLUMNS]
    absent = [c for c in NEEDED if c not in head]
    twice = sorted({c for c in head if head.count(c) > 1})
    for columns, what in ((absent, "lacks"), (unknown, "has unknown"), (twice, "has twice")):
        if columns:
            raise InputError(
                f"the header {what}: {', '.join(c[:40] for c in columns)}.",
                where=f"{name}:1",
                mend=f"Columns are: {', '.join(COLUMNS)}.",
            )


def _take(cells: dict[str, str], cards: dict[tuple[str, str], CardRead]) -> None:
    number, serial = cells.get("part_number", ""), cells.get("serial", "")
    if not number or not serial:
        raise InputError("part number or serial is missing.", where="part_number", mend="Write both.")
    for column in COUNTS:
        exact(cells.get(column, ""), column)
    card = cards.setdefault((number, serial), CardRead(number, serial))
    if cells.get("event") == "birth":
        if card.born:
            raise InputError(f"part {serial} has two births.", where="event", mend="Keep the true one.")
        card.born = PartBorn(
            part_number=number,
            serial=serial,
            made_on=_day(cells, "on"),
            counts=_reading(cells, "part", "on"),
            document=cells.get("document", ""),
        )
    elif cells.get("event") == "use":
        line = _use(cells, len(card.lines) + 1)
        if any(line.line == x.line for x in card.lines):
            raise InputError(f"line {line.line} stands twice.", where="line", mend="Number the lines anew.")
        card.lines.append(line)
    else:
        raise InputError(f"event '{cells.get('event', '')[:40]}'.", where="event", mend="Write birth or use.")


def _use(cells: dict[str, str], number: int) -> PartUsed:
    text = cells.get("line", "")
    if (text and not text.isascii()) or not (text or "1").isdigit():
        raise InputError(f"line '{text[:40]}' is no number.", where="line", mend="Write 1, 2, 3.")
    return PartUsed.model_validate(
        {
            "part_number": cells["part_number"],
            "serial": cells["serial"],
            "line": int(text) if text else number,
            "began": cells.get("began") or "installed",
            "ended": cells.get("ended") or "removed",
            "engine_serial": cells.get("engine", ""),
            "module_serial": cells.get("module", ""),
            "on": _day(cells, "on"),
            "off": _day(cells, "off"),
            **{
                f"{what}_{end}": _reading(cells, what, end)
                for what in ("engine", "part")
                for end in ("on", "off")
            },
            "operating_class": cells.get("class", ""),
            "table": cells.get("table", ""),
            "flown": flown_from(cells.get("flown", "")),
            "reason": cells.get("reason", ""),
            "document": cells.get("document", ""),
        }
    )


def _reading(cells: dict[str, str], what: str, end: str) -> Reading:
    return Reading(**{m: cells.get(f"{what}_{m}_{end}", "") for m in ("hours", "cycles", "starts")})


def flown_from(text: str) -> dict[str, str]:
    """Cycles of each kind from `full=120; partial=34`.

    Raises
    ------
    InputError
        A part of the text is no kind with a number, or a kind stands twice.
    """
    out: dict[str, str] = {}
    for piece in filter(None, (p.strip() for p in text.split(";"))):
        kind, given, count = (p.strip() for p in piece.partition("="))
        if not given or not kind or kind in out:
            raise InputError(
                f"'{piece[:40]}' is no count.", where="flown", mend="Write full=120; partial=34."
            )
        exact(count, "flown")
        out[kind] = count
    return out


def _day(cells: dict[str, str], column: str) -> date | None:
    text = cells.get(column, "")
    if not text:
        return None
    try:
        if len(text) != 10:
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text[:40]}' is not a day.", where=column, mend="Write 2026-03-14.") from None
