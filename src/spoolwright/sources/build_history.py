"""Reads histories of builds that were run: sheets, results, readings; every mistake with its line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from spoolwright.core.diagnosis.forecast.keeping import rules_from_dict
from spoolwright.core.diagnosis.forecast.rules import RuleBook
from spoolwright.crafts.testcell.forecast.learning import Ran, Reading
from spoolwright.crafts.testcell.forecast.sheet import BuildHistory, BuildRun, ReceivedReading
from spoolwright.crafts.testcell.model import Assessment
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, choice
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import BuildHistoryError, InputError
from spoolwright.sources.build_sheet import read_build_sheet, reading_units
from spoolwright.sources.plainfile import read_whole
from spoolwright.sources.toml_text import problems_of, read_toml
from spoolwright.units import difference_to_inner, to_inner


def read_build_history(path: Path | str, type_file: TypeFile) -> list[Ran]:
    """Builds of a history file with their sheets and readings.

    Raises
    ------
    InputError
        A file cannot be read as what it should be.
    BuildHistoryError
        The history holds mistakes; `problems` lists them all, by line.
    """
    file = Path(path)
    read = read_toml(file, BuildHistoryError)
    draft, mistakes = read_draft(read.raw, BuildHistory)
    mistakes = [*mistakes, *_mistakes(draft, file.parent, type_file)]
    if mistakes:
        raise BuildHistoryError(problems_of(mistakes, read))
    history = BuildHistory.model_validate(frozen(read.raw), strict=True)
    return [_ran(b, i, history.cell, file.parent, type_file) for i, b in enumerate(history.build)]


def _mistakes(draft: Draft, folder: Path, type_file: TypeFile) -> Iterator[Mistake]:
    cells = {c.id for c in type_file.cell}
    cell = draft.top.get("cell")
    if isinstance(cell, str) and cell not in cells:
        yield Mistake(("cell",), f"'{cell}' is not in the type file.", choice(cell, cells, "cells"))
    for path, b in draft.of(BuildRun):
        if not b.result and not b.reading:
            yield Mistake(path, "no result and no reading.", 'Write result = "….json", or [[build.reading]].')
        if b.result and b.reading:
            yield Mistake(path, "a result and readings of the same run.", "Keep one of the two.")
        for key in ("sheet", "result"):
            name = getattr(b, key)
            if name and not (folder / name).is_file():
                yield Mistake((*path, key), f"there is no file '{name}'.", "Give its path from this file.")
    yield from reading_units(draft)


def _ran(b: BuildRun, index: int, cell: str, folder: Path, type_file: TypeFile) -> Ran:
    sheet = read_build_sheet(folder / b.sheet, type_file)[0] if b.sheet else None
    serial = sheet.engine.serial if sheet else b.engine
    visit = sheet.engine.visit if sheet else ""
    if b.result:
        result = _result(folder / b.result)
        if sheet and result.engine_serial != sheet.engine.serial:
            raise InputError(
                f"the result is of engine {result.engine_serial}, the sheet of {sheet.engine.serial}.",
                where=str(folder / b.result),
                mend="Put sheet and result of one engine together.",
            )
        if result.type_id != type_file.type.id:
            raise InputError(
                f"the result is of type '{result.type_id}'.",
                where=str(folder / b.result),
                mend=f"Give results of type '{type_file.type.id}'.",
            )
        name = f"{result.engine_serial} {visit}".strip()
        return Ran(name, sheet, result.runs[0].cell if result.runs else cell, tuple(_readings(result)))
    name = f"{serial or f'number {index + 1}'} {visit}".strip()
    return Ran(name, sheet, sheet.cell if sheet else cell, tuple(_entered(r) for r in b.reading))


def _readings(result: Assessment) -> Iterator[Reading]:
    """Rated values by the approved method, of the last block that has them."""
    last: dict[tuple[str, str], Reading] = {}
    for v in result.rated:
        if v.approved is not None and v.approved.standard_uncertainty and not v.extrapolated:
            u = v.approved.standard_uncertainty
            last[v.rating, v.quantity] = Reading(v.quantity, v.rating, v.approved.value, u)
    yield from last.values()


def _entered(r: ReceivedReading) -> Reading:
    u = difference_to_inner(r.standard_uncertainty.value, r.standard_uncertainty.unit)
    return Reading(r.quantity, r.rating, to_inner(r.value, r.unit), u)


def _result(path: Path) -> Assessment:
    try:
        return Assessment.model_validate_json(read_whole(path, "result"))
    except ValueError as error:
        raise InputError(
            "this is not a result of `spoolwright assess`.",
            where=str(path),
            mend="Give the file that --json wrote.",
        ) from error


def read_rules(path: Path) -> tuple[RuleBook, list[str]]:
    """A rules file, with the names of the builds it rests on.

    Raises
    ------
    InputError
        The file cannot be opened, is not JSON, or is no rules file.
    """
    try:
        given = json.loads(read_whole(path, "rules file"))
        return rules_from_dict(given), [str(x) for x in given.get("rests_on", ())]
    except InputError as error:
        raise InputError(error.what, where=str(path), mend=error.mend) from error
    except (ValueError, RecursionError, TypeError) as error:
        mend = "Give the file that `spoolwright forecast-learn` wrote."
        raise InputError("this is not a rules file.", where=str(path), mend=mend) from error
