"""Visits for the journeys through the command line: sound, faulty, repeated, adjusted."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from command_line import Answer, called
from spoolwright.core.measurement.recording import Recording
from spoolwright.rig.sensor_faults import SensorFault, planted
from spoolwright.sources.reading import read_recording
from spoolwright.sources.runsheet import sheet_beside
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.sources.writing import write_recording

TYPE = ("--type", shipped_type())
FORMATS = {"csv": ".csv", "parquet": ".parquet", "arrow": ".arrow", "mdf4": ".mf4", "tdms": ".tdms"}
SIGNED = """
[[correction]]
channel = "ng"
kind = "swap_with"
other = "np"
reason = "Plugs crossed at the panel, found after the run"
signed_by = "A. Person"
signed_at = 2026-10-27T11:05:00Z

[[correction]]
channel = "p_amb"
kind = "unit_is"
unit = "inHg"
reason = "Barometer set to inches"
signed_by = "B. Person"
signed_at = 2026-10-27T11:06:00Z
"""


@dataclass(frozen=True)
class Result:
    """An assessment as its JSON file tells it."""

    answer: Answer
    told: dict[str, Any]

    @property
    def verdicts(self) -> dict[str, dict[str, Any]]:
        return {v["id"]: v for v in self.told["verdicts"]}

    def outcomes(self) -> dict[str, str]:
        return {k: v["outcome"] for k, v in self.verdicts.items()}


@dataclass(frozen=True)
class Demo:
    """A demonstration's folder, and what was said."""

    folder: Path
    answer: Answer

    @property
    def recording(self) -> Path:
        return next(self.folder.glob("*.csv"))

    @property
    def result(self) -> Result:
        return Result(self.answer, json.loads((self.folder / "report.json").read_text(encoding="utf-8")))


def assessed(*words: object, out: Path) -> Result:
    """`spoolwright assess … --json` with the shipped type."""
    answer = called("assess", *words, *TYPE, "--json", out)
    return Result(answer, json.loads(out.read_text(encoding="utf-8")))


def as_recorded(path: Path) -> Recording:
    return read_recording(path, load_type(shipped_type()).type_file.channel)


def written_as(recording: Recording, sheet: Path, folder: Path, format: Any, name: str = "run") -> Path:
    """The same run in another format, its run sheet beside it."""
    path = folder / f"{name}{FORMATS[format]}"
    write_recording(recording, path, format)
    shutil.copyfile(sheet, sheet_beside(path))
    return path


def with_faults(recording: Recording) -> Recording:
    """Speeds crossed, the barometer in inches of mercury under the label of hectopascals."""
    known = load_type(shipped_type()).type_file
    faults = [SensorFault("swapped", "ng", "np"), SensorFault("unit", "p_amb", "inHg")]
    return planted(recording, faults, known, np.random.default_rng(0))


def numbers(x: Any, path: str = "") -> dict[str, float]:
    """Every number of a part of a result, by its place."""
    if isinstance(x, dict):
        return {p: v for k, y in x.items() for p, v in numbers(y, f"{path}.{k}").items()}
    if isinstance(x, list):
        return {p: v for k, y in enumerate(x) for p, v in numbers(y, f"{path}[{k}]").items()}
    return {path: float(x)} if isinstance(x, int | float) and not isinstance(x, bool) else {}
