"""One recorded run of the rig, assessed and reported, as the journeys through a report need it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from spoolwright import bootstrap
from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.model import Assessment, Finding
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.sources.typefile import shipped_type

NOTE = Finding(
    id="1.D1",
    run="1",
    kind="note",
    channels=("rh",),
    from_s=600.0,
    to_s=660.0,
    text="A doubt written by hand, so that the page shows one.",
    mend="Nothing is to be mended.",
    bars_use=False,
)


@dataclass(frozen=True)
class Reported:
    """An assessment with the files that were made of it."""

    assessment: Assessment
    page: Path
    print: Path
    result: Path


def no_doubts(recording: Recording, sheet: RunSheet, type_file: TypeFile) -> Sequence[Finding]:
    """The page is looked at here, not how well doubts are found."""
    return ()


def reported_run(recording: Path, folder: Path) -> Reported:
    """A repaired engine short of power: readings that fail, others that meet by a hair."""
    assessed = bootstrap.assess([recording], shipped_type())
    assessment = assessed.assessment.model_copy(update={"findings": (NOTE,)})
    result, page, pdf = folder / "report.json", folder / "report.html", folder / "report.pdf"
    bootstrap.write_reports(replace(assessed, assessment=assessment), json=result, html=page, pdf=pdf)
    return Reported(assessment, page, pdf, result)
