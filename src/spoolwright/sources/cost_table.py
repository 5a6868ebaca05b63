"""Reads the shop's table of hours and money for putting causes right; every mistake with its line."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from importlib.resources import files
from pathlib import Path

from spoolwright.crafts.testcell.diagnosis.reopening import READING, Reopening, ReopeningTable
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, choice
from spoolwright.errors import CostTableError
from spoolwright.sources.toml_text import problems_of, read_toml


def shipped_reopening_table(name: str = "corrie_940") -> Path:
    """Path of a table that comes with the program."""
    return Path(str(files("spoolwright").joinpath("data", f"{name}.reopening.toml")))


def read_reopening_table(path: Path | str, causes: Collection[str]) -> ReopeningTable:
    """Read and check a table of hours and money.

    Parameters
    ----------
    path : where it is
    causes : ids of all causes that a diagnosis of the type may name; 'reading' stands for all wrong readings

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    CostTableError
        The table holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), CostTableError)
    draft, mistakes = read_draft(read.raw, ReopeningTable)
    mistakes = [*mistakes, *_causes(draft, {*causes, READING}), *ids_twice(draft, ("reopening",))]
    if mistakes:
        raise CostTableError(problems_of(mistakes, read))
    return ReopeningTable.model_validate(frozen(read.raw), strict=True)


def _causes(draft: Draft, known: set[str]) -> Iterator[Mistake]:
    """Causes that nobody knows, or that two rows claim."""
    seen: dict[str, object] = {}
    for path, row in draft.of(Reopening):
        for i, cause in enumerate(row.causes or ()):
            if cause not in known:
                yield unknown_cause((*path, "causes", i), cause, known)
            elif cause in seen:
                what = f"cause '{cause}' stands in row '{seen[cause]}' already."
                yield Mistake((*path, "causes", i), what, "Keep it in the row whose work puts it right.")
            seen.setdefault(cause, row.id)


def unknown_cause(path: tuple[str | int, ...], cause: str, known: Collection[str]) -> Mistake:
    """A cause that no diagnosis names."""
    shown = {k for k in known if not k.startswith(f"{READING}:")}
    near = choice(cause, set(known) if cause.startswith(READING) else shown, "causes")
    return Mistake(path, f"cause '{cause[:60]}' is not one that a diagnosis names.", near)


def ids_twice(draft: Draft, tables: Collection[str]) -> Iterator[Mistake]:
    """Ids that two rows have, over all the tables together."""
    seen: set[str] = set()
    for table in tables:
        for i, row in enumerate(draft.top.get(table) or ()):
            if row.id is not None and row.id in seen:
                yield Mistake((table, i, "id"), f"id '{row.id}' stands twice.", "Give each row its own id.")
            seen.add(row.id)
