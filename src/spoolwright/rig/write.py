"""A run of the rig as files: the recording in any format, the run sheet and the truth beside it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import OutputError
from spoolwright.rig.result import RigRun

if TYPE_CHECKING:
    from spoolwright.sources.csvwriting import CsvStyle

FileFormat = Literal["csv", "parquet", "mdf4", "tdms"]
UnitChoice = Literal["type", "second", "inner"]

SUFFIX: dict[str, str] = {"csv": ".csv", "parquet": ".parquet", "mdf4": ".mf4", "tdms": ".tdms"}
"""Ending of the recording's file by format."""


@dataclass(frozen=True)
class WrittenRun:
    """Where the files of a run are."""

    recording: Path
    sheet: Path
    truth: Path


def units_for(known: TypeFile, choice: UnitChoice) -> dict[str, str]:
    """Unit of each channel in the file: that of the type file, the second one where there is one, or the
    inner.
    """
    from spoolwright.units import INNER_UNIT

    if choice == "inner":
        return {c.id: INNER_UNIT[c.dimension] for c in known.channel}
    if choice == "second":
        return {c.id: c.also_shown_in or c.unit for c in known.channel}
    return {c.id: c.unit for c in known.channel}


def write_run(run: RigRun, folder: Path, name: str, format: FileFormat = "csv") -> WrittenRun:
    """Write recording, run sheet (`NAME.run.toml`) and truth (`NAME.truth.json`) into a folder.

    Raises
    ------
    OutputError
        When the folder or a file cannot be written.
    MissingExtra
        When the format needs a package that is not installed.
    """
    from spoolwright.sources.writing import write_recording

    files = WrittenRun(
        recording=folder / f"{name}{SUFFIX[format]}",
        sheet=folder / f"{name}.run.toml",
        truth=folder / f"{name}.truth.json",
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files.sheet.write_text(sheet_text(run.sheet), encoding="utf-8")
        files.truth.write_text(
            json.dumps(run.truth.to_json(), indent=1, default=str) + "\n", encoding="utf-8"
        )
    except OSError as error:
        raise OutputError(
            f"it cannot be written: {error.strerror or error}.", mend="Check the folder.", where=str(folder)
        ) from error
    write_recording(run.recording, files.recording, format, style=_csv_style(run))
    return files


def _csv_style(run: RigRun) -> CsvStyle:
    """Four decimals say more than the instruments do in the units people read; SI keeps all digits."""
    from spoolwright.sources.csvwriting import CsvStyle

    plain = all(s.entered_unit == s.inner_unit for s in run.recording.series.values())
    return CsvStyle(decimals=None if plain else 4)


def sheet_text(sheet: RunSheet) -> str:
    """A run sheet as TOML."""
    fields = sheet.model_dump(exclude_none=True)
    lines = ["# Run sheet. Demonstration data from a simulated engine, not approved.", ""]
    tables = {k: v for k, v in fields.items() if isinstance(v, dict)}
    lists = {k: v for k, v in fields.items() if isinstance(v, tuple | list) and v and isinstance(v[0], dict)}
    for key, value in fields.items():
        if key not in tables and key not in lists and value != ():
            lines.append(f"{key} = {_value(value)}")
    for key, value in tables.items():
        lines += ["", f"[{key}]", *_entries(value)]
    for key, rows in lists.items():
        for row in rows:
            lines += ["", f"[[{key}]]", *_entries(row)]
    return "\n".join(lines) + "\n"


def _entries(table: Mapping[str, Any]) -> list[str]:
    return [f"{k} = {_value(v)}" for k, v in table.items()]


def _value(x: Any) -> str:
    """A TOML value; texts are quoted as in JSON, which TOML's basic strings take as they are."""
    if isinstance(x, bool):
        return "true" if x else "false"
    if isinstance(x, str):
        return json.dumps(x, ensure_ascii=False)
    if isinstance(x, datetime | date):
        return x.isoformat()
    if isinstance(x, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in x.items()) + " }"
    if isinstance(x, tuple | list):
        return "[" + ", ".join(_value(v) for v in x) + "]"
    return repr(x)
