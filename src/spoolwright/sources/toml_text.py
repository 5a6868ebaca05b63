"""Reads the TOML files that people write, and gives every mistake its line."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spoolwright.crafts.typefile.checking.mistake import Mistake, path_text
from spoolwright.errors import MistakesError, Problem
from spoolwright.sources.plainfile import read_whole
from spoolwright.sources.toml_lines import line_numbers, line_of

_LONGEST_TEXT = 400
_DEEPEST_KEY = 200
"""Dots in one key. The parser's time grows with their square."""
_KEY_ENDS = re.compile(r"[,=\[\]{}\n]")


@dataclass(frozen=True)
class TomlText:
    """A TOML file as read.

    Parameters
    ----------
    path : where it was read from
    text : its text, for finding lines
    raw : its tables
    sha256 : hash of the file's bytes
    """

    path: Path
    text: str
    raw: dict[str, Any]
    sha256: str


def read_toml(path: Path, error: type[MistakesError]) -> TomlText:
    """Read a TOML file that a person wrote.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    MistakesError
        The file is not TOML; of the class given.
    """
    data = read_whole(path, error.noun)
    text = _decode(data, path, error)
    return TomlText(path, text, _parse(text, path, error), hashlib.sha256(data).hexdigest())


def problems_of(mistakes: Sequence[Mistake], read: TomlText) -> list[Problem]:
    """Mistakes with their lines, in order of lines."""
    lines = line_numbers(read.text)
    problems = [
        Problem(
            read.path.name,
            line_of(m.path, lines),
            _clean(path_text(m.path)) or "file",
            _clean(m.what),
            m.mend,
        )
        for m in mistakes
    ]
    return sorted(problems, key=lambda p: p.line or 0)


def _decode(data: bytes, path: Path, error: type[MistakesError]) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = data.count(b"\n", 0, e.start) + 1
        what = "the file is not text in UTF-8."
        raise error([Problem(path.name, line, "file", what, "Save it as UTF-8.")]) from e


def _parse(text: str, path: Path, error: type[MistakesError]) -> dict[str, Any]:
    try:
        return toml_tables(text)
    except tomllib.TOMLDecodeError as e:
        raise error([_syntax_problem(e, text, path)]) from e
    except RecursionError as e:
        what = f"lists or tables are nested too deep to be a {error.noun}."
        raise error([Problem(path.name, None, "file", what, f"Give a {error.noun} in TOML.")]) from e
    except ValueError as e:  # a number with thousands of digits, a date that is none
        what = f"a value cannot be read: {e}."
        raise error([Problem(path.name, None, "file", what, "Correct or remove it.")]) from e


def toml_tables(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    RecursionError
        Lists, tables or keys are nested too deep.
    ValueError
        The text is not TOML (then a `tomllib.TOMLDecodeError`), or holds a value that cannot be read.
    """
    if max(part.count(".") for part in _KEY_ENDS.split(text)) > _DEEPEST_KEY:
        raise RecursionError("keys are nested too deep")
    return tomllib.loads(text)


def _syntax_problem(error: tomllib.TOMLDecodeError, text: str, path: Path) -> Problem:
    told, _, place = str(error).rpartition(" (at ")
    line = text.count("\n") + 1
    if place.startswith("line "):
        line = int(place.removeprefix("line ").split(",")[0])
    mend = "Texts stand in quotes, a key is followed by =, brackets close. Nothing after this line was read."
    return Problem(path.name, line, "syntax", f"{told or error}.", mend)


def _clean(text: str) -> str:
    """What came from the file, short and without control characters."""
    shown = text if len(text) <= _LONGEST_TEXT else text[:_LONGEST_TEXT] + "…"
    return "".join(c if c.isprintable() else "?" for c in shown)
