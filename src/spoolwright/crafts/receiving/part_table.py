"""Parts by serial as a CSV table: every mistake told at once; what is written reads back the same."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from io import StringIO

from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.parts import PartFitted
from spoolwright.errors import InputError, MistakesError, Problem

COLUMNS = ("part", "part_number", "serial", "module_serial", "position")
REQUIRED = ("part", "part_number", "serial")
MOST_ROWS = 5000
LONGEST = 60


class PartTableError(MistakesError):
    """Mistakes in a table of parts."""

    noun = "table of parts"


def parts_from_csv(
    text: str, name: str, bill: Sequence[PartKind], engine_serial: str, modules: Mapping[str, str], on: date
) -> list[PartFitted]:
    """The parts of a table, one a row.

    `modules` gives the serial of each received module, for rows that leave theirs out. A part may be
    named by its id in the bill of material; else its part number says it, if only one kind carries it.

    Raises
    ------
    PartTableError
        Every row and field that is wrong, in the table's order.
    """
    rows = csv.reader(StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    problems: list[Problem] = []
    parts: list[PartFitted] = []
    try:
        head = [cell.strip() for cell in next(rows, [])]
        _check_head(head, name)
        first: dict[tuple[str, str], int] = {}
        for cells in rows:
            line = rows.line_num
            if not any(cell.strip() for cell in cells):
                continue
            row = {k: v.strip() for k, v in zip(head, cells, strict=False)}
            wrong = _row_mistakes(cells, head, row, bill, first)
            problems += [Problem(name, line, where, what, mend) for where, what, mend in wrong]
            if not wrong:
                first[row["part_number"], row["serial"]] = line
                parts.append(_part(row, _kind(row, bill), engine_serial, modules, on))
            if line > MOST_ROWS:
                raise InputError(f"more than {MOST_ROWS} rows.", mend="Split the table.", where=name)
    except csv.Error as fault:
        what = f"not a CSV table: {fault}."
        raise InputError(what, mend="Save it as comma-separated text in UTF-8.", where=name) from fault
    if problems:
        raise PartTableError(problems)
    return parts


def _check_head(head: list[str], name: str) -> None:
    missing = [c for c in ("part_number", "serial") if c not in head]
    unknown = [c for c in head if c not in COLUMNS]
    twice = sorted({c for c in head if head.count(c) > 1})
    mend = f"The first row names the columns: {', '.join(COLUMNS)}."
    if missing or unknown or twice:
        told = [f"no column {', '.join(missing)}"] if missing else []
        told += [f"unknown column {', '.join(repr(u) for u in unknown)}"] if unknown else []
        told += [f"column {', '.join(twice)} twice"] if twice else []
        raise InputError("; ".join(told) + ".", mend=mend, where=name)


def _kind(row: Mapping[str, str], bill: Sequence[PartKind]) -> PartKind | None:
    """The kind a row names, or the only one its number fits."""
    if row.get("part"):
        return next((k for k in bill if k.id == row["part"]), None)
    fits = [k for k in bill if row.get("part_number") in (k.part_number, *k.alternates)]
    return fits[0] if len(fits) == 1 else None


def _row_mistakes(
    cells: Sequence[str],
    head: Sequence[str],
    row: Mapping[str, str],
    bill: Sequence[PartKind],
    first: Mapping[tuple[str, str], int],
) -> list[tuple[str, str, str]]:
    """Where, what and how to mend it, of one row."""
    if len(cells) != len(head):
        return [
            ("row", f"has {len(cells)} fields, the first row has {len(head)}.", "Give each column one field.")
        ]
    wrong = []
    for column in ("part_number", "serial"):
        if not row[column]:
            wrong.append(
                (column, "is empty.", "Copy it from the part's plate; without one, leave the row out.")
            )
    wrong += [
        (c, f"is longer than {LONGEST} characters.", "Copy it from the part's plate.")
        for c, v in row.items()
        if len(v) > LONGEST
    ]
    if not wrong and _kind(row, bill) is None:
        named = f"'{row['part']}'" if row.get("part") else f"part number {row['part_number']}"
        wrong.append(
            ("part", f"{named} is not in the bill of material.", "Name the part by its id in column part.")
        )
    if (seen := first.get((row.get("part_number", ""), row.get("serial", "")))) is not None:
        wrong.append(("serial", f"stands in line {seen} already.", "Each part once."))
    return wrong


def _part(
    row: Mapping[str, str], kind: PartKind | None, engine_serial: str, modules: Mapping[str, str], on: date
) -> PartFitted:
    assert kind is not None
    return PartFitted(
        part=kind.id,
        part_number=row["part_number"],
        serial=row["serial"],
        module=kind.module,
        engine_serial=engine_serial,
        module_serial=row.get("module_serial") or modules.get(kind.module, ""),
        position=row.get("position", ""),
        on=on,
    )


def parts_to_csv(parts: Iterable[PartFitted]) -> str:
    """The table of these parts."""
    out = StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([getattr(p, c) for c in COLUMNS] for p in parts)
    return out.getvalue()
