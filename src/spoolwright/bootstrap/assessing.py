"""Assess a visit, write its reports; the demonstration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.calibrating import read_baseline
from spoolwright.bootstrap.progress import Tell, part, silent

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.model import Assessment, Strip

DRAWN_ROLES = (
    "gas_generator_speed",
    "power_turbine_speed",
    "torque",
    "measured_gas_temperature",
    "fuel_mass_flow",
    "oil_pressure",
    "oil_temperature",
    "vibration",
)
"""Roles whose channels are drawn as strip charts, in the order of the type file."""


@dataclass(frozen=True)
class Assessed:
    """An assessment with the traces that its report draws."""

    assessment: Assessment
    strips: tuple[Strip, ...]


def assess(
    runs: Sequence[Path],
    type_path: Path,
    *,
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    baseline: Path | None = None,
    progress: Tell = silent,
) -> Assessed:
    """Assess the recorded runs of one engine's visit.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be; the text says which, where and how to mend it.
    """
    from spoolwright.crafts.testcell.run.strips import strips_of
    from spoolwright.crafts.testcell.service import assess_runs
    from spoolwright.sources.typefile import load_type

    progress("type file", 0.0)
    loaded = load_type(type_path)
    kind = visits.in_force(loaded, None if baseline is None else read_baseline(baseline))
    visit = list(visits.visit_runs(runs, sheets, channel_map, loaded, part(progress, 0.1, 0.5)))
    progress("doubting, reducing, judging", 0.5)
    assessment = assess_runs(visit, kind, visits.doubts(kind))
    progress("drawing", 0.8)
    drawn = [c.id for role in DRAWN_ROLES for c in loaded.type_file.channel if c.role == role]
    strips = [s for r in visit for s in strips_of(r.recording, loaded.type_file, r.sheet.run, drawn)]
    return Assessed(assessment, tuple(strips))


def write_reports(
    result: Assessed,
    *,
    json: Path | None = None,
    html: Path | None = None,
    pdf: Path | None = None,
    progress: Tell = silent,
) -> list[Path]:
    """Write the reports that are asked for; gives their paths."""
    written = []
    if json is not None:
        from spoolwright.reports.jsonfile import write_json

        written.append(write_json(result.assessment, json))
    if html is not None:
        from spoolwright.reports.html import write_html

        progress("writing the page", 0.85)
        written.append(write_html(result.assessment, result.strips, html))
    if pdf is not None:
        from spoolwright.reports.pdf import write_pdf

        progress("setting the print", 0.9)
        written.append(write_pdf(result.assessment, result.strips, pdf))
    return written


def run_demo(out: Path, preset: str, progress: Tell = silent) -> tuple[Assessed, dict[str, Path]]:
    """Record a run of the invented Corrie 940 on the rig, assess it, write every report."""
    from spoolwright.rig.presets import preset_options
    from spoolwright.rig.record import record_run
    from spoolwright.rig.write import write_run
    from spoolwright.sources.typefile import load_type, shipped_type

    loaded = load_type(shipped_type())
    options = preset_options(preset, loaded.type_file)
    run = record_run(loaded.type_file, loaded.engine, options, progress=part(progress, 0.0, 0.6))
    files = write_run(run, out, f"{run.sheet.engine.serial}-run-{run.sheet.run}")
    result = assess([files.recording], shipped_type(), progress=part(progress, 0.6, 1.0))
    paths = {
        "recording": files.recording,
        "run sheet": files.sheet,
        "truth": files.truth,
        "page": out / "report.html",
        "print": out / "report.pdf",
        "result": out / "report.json",
    }
    write_reports(result, json=paths["result"], html=paths["page"], pdf=paths["print"], progress=progress)
    return result, paths
