"""Diagnose an engine from recorded runs, write its reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.calibrating import read_whole_baseline, recordings_in
from spoolwright.bootstrap.progress import Tell, part, silent

if TYPE_CHECKING:
    from spoolwright.core.diagnosis.causes import Cause
    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
    from spoolwright.crafts.testcell.diagnosis.prepared import Prepared, Tables
    from spoolwright.sources.typefile import LoadedType


@dataclass(frozen=True)
class DiagnosisFiles:
    """Files of the shop that a diagnosis may be given: baseline, prior, checks, hours and money, history."""

    baseline: Path | None = None
    priors: Path | None = None
    checks: Path | None = None
    costs: Path | None = None
    history: Path | None = None

    def named(self) -> list[Path]:
        """Those that are given."""
        return [p for p in vars(self).values() if p is not None]


def diagnose(
    runs: Sequence[Path],
    type_path: Path,
    *,
    earlier: Sequence[Path] = (),
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    files: DiagnosisFiles | None = None,
    progress: Tell = silent,
) -> Diagnosis:
    """Diagnose an engine from the recorded runs of a visit.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be; the text says which, where and how to mend it.
    """
    files = files or DiagnosisFiles()
    found, cause = diagnose_with_cause(
        runs,
        type_path,
        earlier=earlier,
        sheets=sheets,
        channel_map=channel_map,
        files=files,
        progress=progress,
    )
    return found if files.history is None else _with_sisters(found, files.history, cause)


def diagnose_with_cause(
    runs: Sequence[Path],
    type_path: Path,
    *,
    earlier: Sequence[Path] = (),
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    files: DiagnosisFiles | None = None,
    progress: Tell = silent,
) -> tuple[Diagnosis, Cause | None]:
    """`diagnose` without the shop's history, and the cause that was found, to look for sisters elsewhere.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be; the text says which, where and how to mend it.
    """
    from spoolwright.crafts.testcell.diagnosis.service import diagnosed

    progress("type file", 0.0)
    loaded, prepared = _ready(type_path, files or DiagnosisFiles())
    now, past = recordings_in(runs), recordings_in(earlier)
    read = list(visits.visit_runs(now, sheets, channel_map, loaded, part(progress, 0.1, 0.4)))
    before = list(visits.visit_runs(past, None, channel_map, loaded, part(progress, 0.4, 0.5)))
    progress("doubting, weighing", 0.5)
    found = diagnosed(read, prepared, visits.doubts(prepared.kind), before)
    return found, _found_cause(found, prepared)


def prepare(type_path: Path, baseline: Path | None, files: DiagnosisFiles | None = None) -> Prepared:
    """A type made ready for diagnosing any number of engines.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be, or the baseline is of another type.
    """
    return _ready(type_path, replace(files or DiagnosisFiles(), baseline=baseline))[1]


def _ready(type_path: Path, files: DiagnosisFiles) -> tuple[LoadedType, Prepared]:
    from spoolwright.crafts.testcell.diagnosis.baseline import data_sheet_baseline
    from spoolwright.crafts.testcell.diagnosis.prepared import Prepared
    from spoolwright.sources.typefile import load_type

    loaded = load_type(type_path)
    tables = _tables(loaded, files)
    baseline, sha256 = data_sheet_baseline(loaded.type_file), ""
    if files.baseline is not None:
        baseline, sha256 = read_whole_baseline(files.baseline)
    return loaded, Prepared(visits.in_force(loaded, None), baseline, tables, sha256)


def _tables(loaded: LoadedType, files: DiagnosisFiles) -> Tables:
    """The shop's tables, checked against the causes and channels of the type."""
    from spoolwright.core.diagnosis.causes import module_causes
    from spoolwright.core.diagnosis.weighing import PriorShares
    from spoolwright.crafts.testcell.diagnosis.prepared import Tables
    from spoolwright.sources.check_table import read_check_table
    from spoolwright.sources.cost_table import read_reopening_table
    from spoolwright.sources.priors import read_priors

    modules = [c.id for c in module_causes(loaded.engine)]
    channels = [c.id for c in loaded.type_file.channel]
    causes = [*modules, *(f"reading:{c}" for c in channels)]
    tables = Tables(
        checks=None if files.checks is None else read_check_table(files.checks, causes, channels),
        costs=None if files.costs is None else read_reopening_table(files.costs, causes),
    )
    if files.priors is None:
        return tables
    priors = read_priors(files.priors, modules)
    s = priors.shares
    return replace(
        tables,
        shares=PriorShares(s.healthy, s.module, s.reading, s.pair),
        weights={w.cause: w.weight for w in priors.weight},
        priors_file=files.priors.name,
    )


def _with_sisters(found: Diagnosis, history: Path, cause: Cause | None) -> Diagnosis:
    """The diagnosis with engines that share what its found cause can come from."""
    from spoolwright.crafts.testcell.diagnosis.sisters import sisters_of
    from spoolwright.sources.shop_history import read_shop_history

    known = read_shop_history(history)
    if cause is None:
        return found
    if all(v.engine != found.engine_serial for v in known.visits):
        told = (
            f"Engine '{found.engine_serial}' is not in the shop history '{history.name}', so no engines that "
            "share this cause are listed."
        )
        return found.model_copy(update={"cautions": (*found.cautions, told)})
    return found.model_copy(update={"sisters": sisters_of(cause, found.engine_serial, known)})


def _found_cause(found: Diagnosis, prepared: Prepared) -> Cause | None:
    """The cause that a diagnosis found, or the most probable one of its group."""
    from spoolwright.core.diagnosis.causes import ReadingScale, reading_causes

    if found.outcome not in ("cause_found", "group_found") or found.suspects[0].kind == "mechanical":
        return None
    top = found.suspects[0]
    if top.kind == "module":
        return next(c for c in prepared.weigher.modules if c.id == top.id)
    (cause,) = reading_causes([ReadingScale(top.module, top.module_name, 1.0)])
    return cause


def write_diagnosis(
    found: Diagnosis,
    *,
    json: Path | None = None,
    html: Path | None = None,
    pdf: Path | None = None,
    progress: Tell = silent,
) -> list[Path]:
    """Write the diagnosis's reports that are asked for; gives their paths."""
    written = []
    if json is not None:
        from spoolwright.reports.diagnosis_json import write_diagnosis_json

        written.append(write_diagnosis_json(found, json))
    if html is not None:
        from spoolwright.reports.diagnosis_html import write_diagnosis_html

        progress("writing the page", 0.9)
        written.append(write_diagnosis_html(found, html))
    if pdf is not None:
        from spoolwright.reports.diagnosis_pdf import write_diagnosis_pdf

        progress("setting the print", 0.95)
        written.append(write_diagnosis_pdf(found, pdf))
    return written
