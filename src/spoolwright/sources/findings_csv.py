"""Findings from a table and to one: a row each, every mistake told at once, read back the same."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from spoolwright.crafts.inspection.entering import COLUMNS, finding_from, part_named, words_of
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.typefile.shop.inspection import InspectedPart
from spoolwright.errors import InputError, MistakesError, Problem
from spoolwright.sources.plainfile import read_whole

MOST_ROWS = 20_000
NEEDED = ("part", "zone", "damage")


class FindingsError(MistakesError):
    """Mistakes in a table of findings."""

    noun = "table of findings"


def read_findings(path: Path | str, parts: Sequence[InspectedPart]) -> list[FindingRecorded]:
    """Findings from a file.

    Raises
    ------
    InputError
        The file cannot be opened, or is no table.
    FindingsError
        The table holds mistakes; `problems` lists them all, by line.
    """
    file = Path(path)
    return findings_from(read_whole(file, FindingsError.noun), file.name, parts)


def findings_from(content: bytes, name: str, parts: Sequence[InspectedPart]) -> list[FindingRecorded]:
    """Findings from the bytes of a table, in its order."""
    problems: list[Problem] = []
    findings: list[FindingRecorded] = []
    for line, row in _rows(content, name):
        try:
            findings.append(finding_from(row, part_named(parts, row.get("part", ""))))
        except InputError as error:
            problems.append(Problem(name, line, error.where or "row", error.what, error.mend))
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(x) for x in first["loc"])
            problems.append(Problem(name, line, where, f"{first['msg']}.", "Correct the cell."))
    if problems:
        raise FindingsError(problems)
    if not findings:
        raise FindingsError([Problem(name, None, "file", "there is no row.", "Give a row for each finding.")])
    return findings


def findings_csv(findings: Iterable[FindingRecorded]) -> str:
    """The table of findings."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(words_of(f) for f in findings)
    return out.getvalue()


def _rows(content: bytes, name: str) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("the file is not text in UTF-8.", where=name, mend="Save it as UTF-8.") from error
    mark = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        head = [c.strip() for c in next(reader, [])]
        _check_head(head, name)
        for cells in reader:
            if not any(c.strip() for c in cells):
                continue
            if len(cells) != len(head):
                what = f"the row has {len(cells)} cells, the header {len(head)}."
                raise InputError(what, where=f"{name}:{reader.line_num}", mend="Give each column one cell.")
            if reader.line_num > MOST_ROWS:
                raise InputError(f"more than {MOST_ROWS} rows.", where=name, mend="Split the table.")
            yield reader.line_num, {h: c.strip() for h, c in zip(head, cells, strict=True)}
    except csv.Error as error:
        what = f"the table cannot be read: {error}."
        raise InputError(what, where=f"{name}:{reader.line_num}", mend="Close quotation marks.") from error


def _check_head(head: list[str], name: str) -> None:
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
