"""Engines of the shop's history that share a confirmed cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.diagnosis.model import Sister
    from spoolwright.crafts.testcell.diagnosis.sisters import ShopHistory, Visit


@dataclass(frozen=True)
class SistersFound:
    """What was looked for, and the engines that share it."""

    engine: str
    visit: str
    looked_for: tuple[str, ...]
    sisters: tuple[Sister, ...]
    not_recorded: tuple[str, ...]


def sisters(
    history: Path, engine: str, *, visit: str | None = None, shares: Sequence[str] = ()
) -> SistersFound:
    """Engines that share with an engine what its confirmed cause came from, newest first.

    Parameters
    ----------
    history : table of the shop's history
    engine : serial of the engine whose cause is confirmed
    visit : its visit; the last when None
    shares : columns, each with "=" and what is confirmed there, or alone for all that the visit has; all
    columns when empty

    Raises
    ------
    InputError
        The table cannot be read, or does not hold engine, visit or column; the text says how to mend it.
    """
    from spoolwright.crafts.testcell.diagnosis.sisters import not_recorded, sharing
    from spoolwright.sources.shop_history import read_shop_history

    known = read_shop_history(history)
    own = _own_visit(known, engine, visit)
    wanted = _wanted(known, own, shares)
    looked = tuple(_looked_for(own, wanted))
    found = sharing(own, known, wanted)
    return SistersFound(own.engine, own.visit, looked, found, not_recorded(own, known, list(wanted)))


def _own_visit(known: ShopHistory, engine: str, visit: str | None) -> Visit:
    from spoolwright.crafts.typefile.checking.mistake import choice

    last = known.last_visit(engine)
    if visit is None:
        return last
    own = {v.visit: v for v in known.visits if v.engine == engine}
    if visit not in own:
        what = f"engine {engine} has no visit '{visit}' in the shop history."
        raise InputError(what, mend=choice(visit, set(own), "visits"))
    return own[visit]


def _wanted(known: ShopHistory, own: Visit, shares: Sequence[str]) -> dict[str, str | None]:
    from spoolwright.crafts.typefile.checking.mistake import choice

    out: dict[str, str | None] = {}
    for text in shares or known.columns:
        column, given, name = (part.strip() for part in text.partition("="))
        if column not in known.columns:
            what = f"the shop history has no column '{column}'."
            raise InputError(what, mend=choice(column, set(known.columns), "columns"))
        if given and not name:
            raise InputError(f"'{text}' names nothing.", mend=f"Write {column}=NAME, or {column} alone.")
        if given and all(u.name != name for v in known.visits for u in v.used.get(column, ())):
            names = {u.name for v in known.visits for u in v.used.get(column, ())}
            what = f"no engine of the shop history has {column} '{name}'."
            raise InputError(what, mend=choice(name, names, f"entries of {column}"))
        if not given and shares and column not in own.used:
            what = f"{column} of engine {own.engine}, visit '{own.visit}' was left empty."
            raise InputError(what, mend=f"Name it: {column}=NAME.")
        out[column] = name if given else None
    return out


def _looked_for(own: Visit, wanted: dict[str, str | None]) -> list[str]:
    out = []
    for column, name in wanted.items():
        names = [name] if name is not None else [u.name for u in own.used.get(column, ())]
        out += [f"{column.replace('_', ' ')} {n}" for n in names]
    return out
