"""Reads a type file from disk and tells every mistake in it with its line."""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.generic import Fill
from spoolwright.crafts.typefile.check import find_mistakes
from spoolwright.crafts.typefile.checking.draft import frozen
from spoolwright.crafts.typefile.checking.mistake import Mistake, path_text
from spoolwright.crafts.typefile.engine import engine_of
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, Problem, TypeFileError
from spoolwright.sources.toml_lines import line_numbers, line_of

LARGEST_FILE = 5_000_000
"""Bytes. A hand-written file is a hundredth of it."""


_LONGEST_TEXT = 400
_DEEPEST_KEY = 200
"""Dots in one key. The parser's time grows with their square."""
_KEY_ENDS = re.compile(r"[,=\[\]{}\n]")
_TOO_DEEP = "lists or tables are nested too deep to be a type file."
_GIVE_TOML = "Give a type file in TOML."


@dataclass(frozen=True)
class LoadedType:
    """A type file without mistakes.

    Parameters
    ----------
    type_file : the records
    path : where it was read from
    sha256 : hash of the file's bytes
    engine : data of the nominal engine's model
    filled : model parameters nobody gave, with value and rule
    """

    type_file: TypeFile
    path: Path
    sha256: str
    engine: EngineData
    filled: tuple[Fill, ...]


def load_type(path: Path | str) -> LoadedType:
    """Read and check a type file.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    TypeFileError
        The file holds mistakes; `problems` lists them all, by line.
    """
    path = Path(path)
    data = _read(path)
    text = _decode(data, path)
    raw = _parse(text, path)
    mistakes = find_mistakes(raw)
    if mistakes:
        raise TypeFileError(_problems(mistakes, text, path))
    type_file = TypeFile.model_validate(frozen(raw), strict=True)
    engine = engine_of(type_file)
    return LoadedType(type_file, path, hashlib.sha256(data).hexdigest(), engine.data, engine.filled)


def shipped_type(name: str = "corrie_940") -> Path:
    """Path of a type file that comes with the program."""
    return Path(str(files("spoolwright").joinpath("data", f"{name}.toml")))


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as f:
            data = f.read(LARGEST_FILE + 1)
    except OSError as e:
        reason = e.strerror or "it cannot be opened"
        raise InputError(
            f"cannot read the type file: {reason}.", where=str(path), mend="Check the path."
        ) from e
    if len(data) > LARGEST_FILE:
        what = f"the file is larger than {LARGEST_FILE / 1e6:g} MB; no type file is."
        raise InputError(what, where=str(path), mend=_GIVE_TOML)
    return data


def _decode(data: bytes, path: Path) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = data.count(b"\n", 0, e.start) + 1
        what = "the file is not text in UTF-8."
        raise TypeFileError([Problem(path.name, line, "file", what, "Save it as UTF-8.")]) from e


def _parse(text: str, path: Path) -> dict[str, Any]:
    if max(part.count(".") for part in _KEY_ENDS.split(text)) > _DEEPEST_KEY:
        raise TypeFileError([Problem(path.name, None, "file", _TOO_DEEP, _GIVE_TOML)])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        raise TypeFileError([_syntax_problem(e, text, path)]) from e
    except RecursionError as e:
        raise TypeFileError([Problem(path.name, None, "file", _TOO_DEEP, _GIVE_TOML)]) from e
    except ValueError as e:  # a number with thousands of digits, a date that is none
        what = f"a value cannot be read: {e}."
        raise TypeFileError([Problem(path.name, None, "file", what, "Correct or remove it.")]) from e


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


def _problems(mistakes: list[Mistake], text: str, path: Path) -> list[Problem]:
    lines = line_numbers(text)
    problems = [
        Problem(
            path.name, line_of(m.path, lines), _clean(path_text(m.path)) or "file", _clean(m.what), m.mend
        )
        for m in mistakes
    ]
    return sorted(problems, key=lambda p: p.line or 0)
