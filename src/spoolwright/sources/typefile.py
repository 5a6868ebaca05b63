"""Reads a type file from disk and tells every mistake in it with its line."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.generic import Fill
from spoolwright.crafts.typefile.check import find_mistakes
from spoolwright.crafts.typefile.checking.draft import frozen
from spoolwright.crafts.typefile.engine import engine_of
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import TypeFileError
from spoolwright.sources.toml_text import problems_of, read_toml


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
    read = read_toml(path, TypeFileError)
    mistakes = find_mistakes(read.raw)
    if mistakes:
        raise TypeFileError(problems_of(mistakes, read))
    type_file = TypeFile.model_validate(frozen(read.raw), strict=True)
    engine = engine_of(type_file)
    return LoadedType(type_file, path, read.sha256, engine.data, engine.filled)


def shipped_type(name: str = "corrie_940") -> Path:
    """Path of a type file that comes with the program."""
    return Path(str(files("spoolwright").joinpath("data", f"{name}.toml")))
