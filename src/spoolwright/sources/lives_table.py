"""Reads a table of lives: a row for each part that failed, still runs, or was found failed.

Columns: part, hours, ended (failed, suspended, between); cause and good_at where they are known. `between`
says that the part was good at `good_at` hours and found failed at `hours`.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

from spoolwright.crafts.scope.figures import ENDS, Life
from spoolwright.errors import InputError, LivesError, Problem
from spoolwright.sources.plainfile import read_whole

LARGEST = 20_000_000
NEEDED = ("part", "hours", "ended")
COLUMNS = (*NEEDED, "cause", "good_at")
_MOST = 50


def read_lives(path: Path | str) -> list[Life]:
    """Lives from a file.

    Raises
    ------
    InputError
        The file cannot be opened, is too large, or is not text.
    LivesError
        The table holds mistakes; `problems` lists them, by line.
    """
    file = Path(path)
    try:
        text = read_whole(file, LivesError.noun, LARGEST).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "the file is not text in UTF-8.", where=str(file), mend="Save it as UTF-8."
        ) from error
    mark = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=mark)
    head = [h.strip() for h in reader.fieldnames or []]
    reader.fieldnames = head
    _check_header(head, file.name)
    lives, problems = [], []
    try:
        for row in reader:
            try:
                lives.append(_life({k: (v or "").strip() for k, v in row.items() if isinstance(k, str)}))
            except InputError as error:
                problems.append(Problem(file.name, reader.line_num, error.where, error.what, error.mend))
    except csv.Error as error:
        raise InputError(
            f"the table cannot be read: {error}.", where=file.name, mend="Save it as CSV."
        ) from error
    if problems:
        raise LivesError(problems[:_MOST])
    if not lives:
        raise LivesError([Problem(file.name, None, "file", "there is no row.", "Give a row for each part.")])
    return lives


def _check_header(head: list[str], name: str) -> None:
    missing = [c for c in NEEDED if c not in head]
    unknown = [c for c in head if c not in COLUMNS]
    if missing or unknown or len(set(head)) < len(head):
        what = f"column(s) {', '.join(missing or unknown or head)[:80]} "
        what += "missing." if missing else ("not known here." if unknown else "stand twice.")
        raise LivesError([Problem(name, 1, "header", what, f"Columns: {', '.join(COLUMNS)}.")])


def _life(row: dict[str, str]) -> Life:
    ended = next((e for e in ENDS if e == row["ended"]), None)
    if not row["part"]:
        raise InputError("the part is not named.", where="part", mend="Name it.")
    if ended is None:
        raise InputError(
            f"'{row['ended'][:30]}' is no end.", where="ended", mend=f"One of: {', '.join(ENDS)}."
        )
    hours = _number(row["hours"], "hours")
    good_at = _number(row["good_at"], "good_at") if row.get("good_at") else 0.0
    if hours <= 0.0:
        raise InputError("an age of zero tells nothing.", where="hours", mend="Leave the row out.")
    if (ended == "between") != bool(row.get("good_at")) or good_at >= hours:
        what = "good_at belongs to rows that ended 'between', and is less than hours."
        raise InputError(what, where="good_at", mend="Correct the row.")
    return Life(row["part"], hours, ended, row.get("cause", ""), good_at)


def _number(text: str, column: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value < 0.0:
        raise InputError(f"'{text[:20]}' is no number of hours.", where=column, mend="Digits and a point.")
    return value
