"""Calculations of the test cell and the check on the aircraft, from attachments to results, runnable again.

Inputs are plain JSON that name files by hash; `read` gives their bytes. The same functions serve a page's
worker and `verify`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.crafts.visit.entry import Attachment

if TYPE_CHECKING:
    from spoolwright.bootstrap.assessing import Assessed
    from spoolwright.bootstrap.diagnosing import DiagnosisFiles
    from spoolwright.crafts.installation.model import InstallationResult
    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
    from spoolwright.crafts.testcell.forecast.model import Forecast
    from spoolwright.crafts.testcell.model import Assessment, Figure

Read = Callable[[str], bytes]
Inputs = Mapping[str, Any]

ASSESS = ("testcell.assess", "1")
DIAGNOSE = ("testcell.diagnose", "1")
FORECAST = ("testcell.forecast", "1")
INSTALLED = ("installation.compare", "1")


def file_input(file: Attachment) -> dict[str, str]:
    """A file as an input of a calculation names it."""
    return {"sha256": file.sha256, "name": file.name}


@contextmanager
def _laid_out(inputs: Inputs, read: Read) -> Iterator[_Laid]:
    with tempfile.TemporaryDirectory(prefix="spoolwright-") as folder:
        yield _Laid(Path(folder), inputs, read)


class _Laid:
    """Files of a calculation under their own names, in a folder of their own each."""

    def __init__(self, folder: Path, inputs: Inputs, read: Read) -> None:
        self.folder, self.inputs, self._read = folder, inputs, read
        self._count = 0

    def path(self, file: Mapping[str, str]) -> Path:
        self._count += 1
        place = self.folder / str(self._count)
        place.mkdir()
        path = place / (Path(file["name"]).name or "file")
        path.write_bytes(self._read(file["sha256"]))
        return path

    def named(self, key: str) -> Path | None:
        """An optional file."""
        file = self.inputs.get(key)
        return None if file is None else self.path(file)

    def runs(self, key: str = "runs") -> tuple[list[Path], list[Path]]:
        """Recordings and run sheets."""
        pairs = self.inputs.get(key, [])
        return [self.path(p["recording"]) for p in pairs], [self.path(p["sheet"]) for p in pairs]


def assess_with_traces(inputs: Inputs, read: Read, progress: Tell = silent) -> Assessed:
    """Assess attached runs; gives with it the traces that a page draws."""
    from spoolwright.bootstrap.assessing import assess

    with _laid_out(inputs, read) as laid:
        runs, sheets = laid.runs()
        return assess(
            runs,
            laid.path(inputs["type_file"]),
            sheets=sheets,
            baseline=laid.named("baseline"),
            progress=progress,
        )


def assess_from(inputs: Inputs, read: Read, progress: Tell = silent) -> Assessment:
    """Assess attached runs."""
    return assess_with_traces(inputs, read, progress).assessment


def assessment_digest(found: Assessment) -> dict[str, Any]:
    """What of an assessment `verify` compares."""
    return {
        "outcome": found.disposition.outcome,
        "sentence": found.disposition.sentence,
        "open": list(found.disposition.open),
        "verdicts": [
            {
                "id": v.id,
                "outcome": v.outcome,
                "reading": _value(v.reading),
                "limit": _value(v.limit_value),
                "margin": _value(v.margin),
                "probability": v.probability_conforming,
            }
            for v in found.verdicts
        ],
        "rated": [
            {"rating": r.rating, "quantity": r.quantity, "block": r.block, "approved": _value(r.approved),
             "model": _value(r.model), "uncertainty": r.approved and r.approved.standard_uncertainty}
            for r in found.rated
        ],
        "findings": [f"{f.run}: {f.text}" for f in found.findings],
        "gates": [f"{g.run} {g.gate}: {g.state}" for g in found.gates],
    }  # fmt: skip


def _value(figure: Figure | None) -> float | None:
    return None if figure is None else figure.value


def diagnose_from(inputs: Inputs, read: Read, progress: Tell = silent) -> tuple[Diagnosis, dict[str, str]]:
    """Diagnose attached runs; gives with it kind and module of the found cause, empty where none is."""
    from spoolwright.bootstrap.diagnosing import diagnose_with_cause

    with _laid_out(inputs, read) as laid:
        runs, sheets = laid.runs()
        earlier, _ = _beside(laid)
        found, cause = diagnose_with_cause(
            runs,
            laid.path(inputs["type_file"]),
            earlier=earlier,
            sheets=sheets,
            files=_diagnosis_files(laid),
            progress=progress,
        )
    return found, {} if cause is None else {"kind": cause.kind, "module": cause.module}


def _beside(laid: _Laid) -> tuple[list[Path], list[Path]]:
    """Earlier runs, each with its sheet beside it under the name that is looked for."""
    from spoolwright.sources.runsheet import sheet_beside

    runs, sheets = laid.runs("earlier")
    for run, sheet in zip(runs, sheets, strict=True):
        sheet_beside(run).write_bytes(sheet.read_bytes())
    return runs, sheets


def _diagnosis_files(laid: _Laid) -> DiagnosisFiles:
    from spoolwright.bootstrap.diagnosing import DiagnosisFiles

    return DiagnosisFiles(
        laid.named("baseline"), laid.named("priors"), laid.named("checks"), laid.named("costs")
    )


def diagnosis_digest(found: Diagnosis, cause: Mapping[str, str]) -> dict[str, Any]:
    """What of a diagnosis `verify` compares."""
    return {
        "outcome": found.outcome,
        "sentence": found.sentence,
        "proposal": found.proposal,
        "healthy": found.healthy,
        "cause": dict(cause),
        "suspects": [
            {"id": s.id, "probability": s.probability, "size": s.magnitude.mean} for s in found.suspects
        ],
        "checks": [{"id": c.id, "information": c.information} for c in found.checks],
    }


def forecast_from(inputs: Inputs, read: Read, progress: Tell = silent) -> Forecast:
    """Forecast a run from an attached build sheet."""
    from spoolwright.bootstrap.forecasting import forecast

    with _laid_out(inputs, read) as laid:
        return forecast(
            laid.path(inputs["sheet"]),
            laid.path(inputs["type_file"]),
            baseline=laid.named("baseline"),
            rules=laid.named("rules"),
            costs=laid.named("build_costs"),
            progress=progress,
        )


def forecast_digest(found: Forecast) -> dict[str, Any]:
    """What of a forecast `verify` compares."""
    return {
        "outcome": found.outcome,
        "passing_all": found.passing_all,
        "governing": found.governing,
        "limits": [
            {
                "limit": x.limit,
                "margin": x.margin.mean.value,
                "low": x.margin.low.value,
                "high": x.margin.high.value,
                "passing": x.passing,
            }
            for x in found.limits
        ],
    }


def installation_from(inputs: Inputs, read: Read, progress: Tell = silent) -> InstallationResult:
    """Compare checks on the aircraft with the attached bench run."""
    from spoolwright.bootstrap.installing import subject_from
    from spoolwright.crafts.installation.compare import compare_checks
    from spoolwright.crafts.installation.model import CheckReading
    from spoolwright.sources.shop_part import load_shop_files

    with _laid_out(inputs, read) as laid:
        runs, sheets = laid.runs()
        named = [(f["name"], laid.path(f)) for f in inputs["shop_files"]]
        shop = load_shop_files(named).shop
        subject = subject_from(
            runs,
            laid.path(inputs["type_file"]),
            shop,
            sheets=sheets,
            baseline=laid.named("baseline"),
            progress=progress,
        )
    progress("comparing", 0.9)
    readings = [CheckReading.model_validate(c) for c in inputs["checks"]]
    return compare_checks(readings, subject, inputs["confirmed"])


def installation_digest(found: InstallationResult) -> dict[str, Any]:
    """What of a comparison `verify` compares: all of it."""
    return found.model_dump(mode="json")


def recompute_assessment(inputs: dict[str, Any], read: Read) -> dict[str, Any]:
    """Assess again."""
    return assessment_digest(assess_from(inputs, read))


def recompute_diagnosis(inputs: dict[str, Any], read: Read) -> dict[str, Any]:
    """Diagnose again."""
    return diagnosis_digest(*diagnose_from(inputs, read))


def recompute_forecast(inputs: dict[str, Any], read: Read) -> dict[str, Any]:
    """Forecast again."""
    return forecast_digest(forecast_from(inputs, read))


def recompute_installation(inputs: dict[str, Any], read: Read) -> dict[str, Any]:
    """Compare again."""
    return installation_digest(installation_from(inputs, read))
