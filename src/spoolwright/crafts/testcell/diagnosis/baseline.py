"""What a shop's accepted runs taught of a type, in one file for diagnosis, forecast and assessment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from spoolwright.core.diagnosis.calibrated import Calibrated, calibrated_from_dict, data_sheet_only
from spoolwright.core.reduction.baseline import ModelBaseline, baseline_from_dict, uncalibrated_baseline
from spoolwright.crafts.testcell.diagnosis.other_readings import (
    FleetReading,
    fleet_from_dict,
    fleet_to_dict,
)
from spoolwright.crafts.testcell.diagnosis.words import counted
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError

FEW_ENGINES = 10
"""A calibration on fewer engines says how little it rests on."""


@dataclass(frozen=True)
class RestsOn:
    """A recording that was learnt from."""

    file: str
    sha256: str
    engine: str
    run: str


@dataclass(frozen=True)
class Baseline:
    """A type as its shop knows it.

    `calibrated` belongs to the diagnosis and the forecast, `shape` to the reduction, `fleet` are readings
    beside the gas path; `left_out` tells of every run that taught nothing why.
    """

    calibrated: Calibrated
    shape: ModelBaseline
    fleet: Mapping[str, FleetReading] = field(default_factory=dict)
    rests_on: tuple[RestsOn, ...] = ()
    left_out: tuple[str, ...] = ()
    type_file_sha256: str = ""

    @property
    def words(self) -> str:
        """What it rests on, in words."""
        c = self.calibrated
        if c.engines == 0:
            return (
                "the data sheet alone, with wide uncertainty: no accepted run of the shop was learnt from, "
                "so small faults cannot be told from the model's own error"
            )
        told = f"{counted(c.runs, 'accepted run')} of {counted(c.engines, 'engine')} of this shop"
        if c.engines < FEW_ENGINES:
            told += "; so few engines say little: what is typical of them may be typical of these alone"
        return told

    def to_dict(self) -> dict[str, Any]:
        """Plain lists and numbers, ready for JSON."""
        return {
            **self.calibrated.to_dict(),
            "shape": self.shape.to_dict(),
            "fleet": fleet_to_dict(self.fleet),
            "rests_on": [vars(r).copy() for r in self.rests_on],
            "left_out": list(self.left_out),
            "type_file_sha256": self.type_file_sha256,
        }


def data_sheet_baseline(type_file: TypeFile) -> Baseline:
    """The baseline of a shop without history."""
    return Baseline(data_sheet_only(type_file.type.id), uncalibrated_baseline())


def baseline_of(given: Any) -> Baseline:
    """Read what `Baseline.to_dict` wrote.

    Raises
    ------
    InputError
        It is not a baseline of this version.
    """
    calibrated = calibrated_from_dict(given)
    try:
        rests = tuple(
            RestsOn(*(str(r[k]) for k in ("file", "sha256", "engine", "run"))) for r in given["rests_on"]
        )
        shape, fleet, left_out = given["shape"], given["fleet"], tuple(str(x) for x in given["left_out"])
        sha256 = str(given["type_file_sha256"])
    except (LookupError, TypeError) as error:
        raise InputError(
            f"a part of the baseline is missing or is something else ({error}).",
            mend="Calibrate again from recorded runs.",
        ) from error
    return Baseline(calibrated, baseline_from_dict(shape), fleet_from_dict(fleet), rests, left_out, sha256)


def check_type(baseline: Baseline, type_file: TypeFile) -> None:
    """Refuse a baseline of another type.

    Raises
    ------
    InputError
        The baseline was calibrated for another type.
    """
    own, known = baseline.calibrated.type_id, type_file.type.id
    if own not in ("", known):
        raise InputError(
            f"the baseline was calibrated for type '{own}', the type file is of '{known}'.",
            mend="Give the baseline of this type, or none.",
        )
