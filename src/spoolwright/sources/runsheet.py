"""Reads a run sheet from disk and tells every mistake in it with its line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.run.signed import HEIGHTS
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, choice
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, RunSheetError
from spoolwright.sources.toml_text import problems_of, read_toml
from spoolwright.units import from_inner, to_inner, unit_named

SUFFIX = ".run.toml"

_DIMENSIONS = {
    ("fuel", "lower_heating_value"): "specific energy",
    ("fuel", "heating_value_standard_uncertainty"): "specific energy",
    ("fuel", "density_15c"): "density",
    ("cell", "wind_speed"): "velocity",
    ("oil", "over"): "time",
}

_SPANS = {
    ("fuel", "lower_heating_value"): (40.0, 46.0, "MJ/kg"),
    ("fuel", "heating_value_standard_uncertainty"): (0.0, 1.0, "MJ/kg"),
    ("cell", "wind_speed"): (0.0, 100.0, "m/s"),
    ("oil", "standard_uncertainty"): (0.0, 100.0, "L"),
    ("oil", "over"): (0.0, 1000.0, "h"),
}
"""Between what an amount can be. Turbine kerosenes and their synthetic kin have 42 to 45 MJ/kg."""


def sheet_beside(recording: Path) -> Path:
    """Where the run sheet of a recording lies when nobody says otherwise."""
    return recording.parent / f"{recording.name.removesuffix(recording.suffix)}{SUFFIX}"


def read_run_sheet(path: Path | str, type_file: TypeFile) -> RunSheet:
    """Read and check a run sheet.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    RunSheetError
        The sheet holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), RunSheetError)
    draft, mistakes = read_draft(read.raw, RunSheet)
    mistakes = [
        *mistakes,
        *_units(draft),
        *_sizes(draft),
        *_oil(draft.top),
        *_names(draft.top, type_file),
        *_corrections(draft.top),
    ]
    if mistakes:
        raise RunSheetError(problems_of(mistakes, read))
    return RunSheet.model_validate(frozen(read.raw), strict=True)


def _units(draft: Draft) -> Iterator[Mistake]:
    """Amounts in a unit that is unknown or of another dimension."""
    for path, amount in draft.of(Amount):
        wanted = _DIMENSIONS.get((str(path[0]), str(path[-1])))
        if wanted is None or not isinstance(amount.unit, str):
            continue
        try:
            found = unit_named(amount.unit).dimension
        except InputError as error:
            yield Mistake((*path, "unit"), error.what, error.mend)
            continue
        if found != wanted:
            what = f"'{amount.unit}' is a unit of {found}."
            yield Mistake((*path, "unit"), what, f"Give a unit of {wanted}.")


def _sizes(draft: Draft) -> Iterator[Mistake]:
    """Amounts that no engine and no fuel can have: a slip of the pen, or of the unit."""
    for path, amount in draft.of(Amount):
        span = _SPANS.get((str(path[0]), str(path[-1])))
        if span is None or not isinstance(amount.unit, str) or not isinstance(amount.value, int | float):
            continue
        low, high, unit = span
        with suppress(InputError):  # a unit that nobody knows is told already
            found = from_inner(to_inner(amount.value, amount.unit), unit)
            alike = unit_named(amount.unit).dimension == unit_named(unit).dimension
            if alike and not low <= found <= high:
                what = f"{amount.value:g} {amount.unit} is outside {low:g} to {high:g} {unit}."
                yield Mistake((*path, "value"), what, "Check the value and its unit.")


def _oil(top: dict[str, Any]) -> Iterator[Mistake]:
    """Oil is poured in or weighed, and its uncertainty told in the same."""
    account = top.get("oil")
    found: list[str] = []
    for key in ("consumed", "standard_uncertainty"):
        amount = getattr(account, key, None)
        if not isinstance(amount, Amount) or not isinstance(amount.unit, str):
            continue
        path, mend = ("oil", key, "unit"), f"Give a unit of {found[0] if found else 'volume or mass'}."
        try:
            dimension = unit_named(amount.unit).dimension
        except InputError as error:
            yield Mistake(path, error.what, error.mend)
            continue
        if dimension not in (found or ["volume", "mass"]):
            yield Mistake(path, f"'{amount.unit}' is a unit of {dimension}.", mend)
        found.append(dimension)


def _names(top: dict[str, Any], type_file: TypeFile) -> Iterator[Mistake]:
    """Names that the type file does not know."""
    channels = {c.id for c in type_file.channel}
    sets = {s.id for s in type_file.limit_set}
    items = {s.id for s in type_file.schedule if s.kind == "check"}
    if isinstance(top.get("limit_set"), str) and top["limit_set"] not in sets:
        what = f"limit set '{top['limit_set']}' is not in the type file."
        yield Mistake(("limit_set",), what, choice(top["limit_set"], sets, "limit sets"))
    for i, c in enumerate(top.get("correction") or ()):
        for key in ("channel", "other"):
            name = getattr(c, key, None)
            if isinstance(name, str) and name not in channels:
                what = f"channel '{name}' is not in the type file."
                yield Mistake(("correction", i, key), what, choice(name, channels, "channels"))
    for i, c in enumerate(top.get("check") or ()):
        if isinstance(c.item, str) and c.item not in items:
            what = f"'{c.item}' is not a check of the test schedule."
            yield Mistake(("check", i, "item"), what, choice(c.item, items, "checks"))


_NEEDS = {"swap_with": "other", "unit_is": "unit", "add": "amount", "multiply": "amount"}


def _corrections(top: dict[str, Any]) -> Iterator[Mistake]:
    """Signed corrections that do not say what they correct to."""
    for i, c in enumerate(top.get("correction") or ()):
        path = ("correction", i)
        wanted = _NEEDS.get(c.kind)
        if wanted and getattr(c, wanted) is None:
            yield Mistake(path, f"a correction of kind '{c.kind}' needs '{wanted}'.", f"Write {wanted} = ….")
        if c.from_s is not None and c.to_s is not None and c.to_s <= c.from_s:
            yield Mistake(
                (*path, "to_s"), "the correction ends before it begins.", "Let to_s be after from_s."
            )
        if isinstance(c.unit, str) and c.unit not in HEIGHTS:
            try:
                unit_named(c.unit)
            except InputError as error:
                yield Mistake((*path, "unit"), error.what, error.mend)
