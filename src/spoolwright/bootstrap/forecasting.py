"""Forecast a run from a build sheet, learn the rules, write the reports."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap.progress import Tell, part, silent
from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.core.diagnosis.forecast.learning import Learnt
    from spoolwright.crafts.testcell.forecast.case import ForecastBasis
    from spoolwright.crafts.testcell.forecast.model import Forecast


def forecast(
    sheet: Path,
    type_path: Path,
    *,
    baseline: Path | None = None,
    rules: Path | None = None,
    costs: Path | None = None,
    guard_times: float = 0.0,
    draws: int = 4096,
    progress: Tell = silent,
) -> Forecast:
    """Forecast the run of an engine from its build sheet.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be; the text says which, where and how to mend it.
    """
    from spoolwright.crafts.testcell.forecast.case import Asked
    from spoolwright.crafts.testcell.forecast.service import forecast as forecast_run
    from spoolwright.sources.build_sheet import read_build_sheet, read_condition, read_cost_table

    progress("type file", 0.0)
    basis = forecast_basis(type_path, baseline, rules)
    known = basis.reduction.type_file
    read, sha256 = read_build_sheet(sheet, known)
    table = None if costs is None else read_cost_table(costs)
    asked = Asked(read, sheet.name, sha256, table, guard_times, draws)
    received = None
    if read.as_received is not None and read.as_received.condition:
        received = read_condition(sheet.parent / read.as_received.condition)
    return forecast_run(asked, basis, received, part(progress, 0.1, 0.9))


def forecast_basis(type_path: Path, baseline: Path | None, rules: Path | None) -> ForecastBasis:
    """What forecasts of a type rest on: its model, its build scatter, the rules in force."""
    from spoolwright.crafts.testcell.forecast.case import data_sheet_basis, with_rules
    from spoolwright.crafts.testcell.performance.basis import reduction_basis
    from spoolwright.sources.build_history import read_rules
    from spoolwright.sources.typefile import load_type

    loaded = load_type(type_path)
    basis = data_sheet_basis(reduction_basis(loaded.type_file, loaded.engine))
    if baseline is not None:
        basis = _on_calibration(basis, baseline)
    return basis if rules is None else with_rules(basis, *read_rules(rules))


def _on_calibration(basis: ForecastBasis, path: Path) -> ForecastBasis:
    """The forecast's basis on a calibrated model."""
    from spoolwright.core.diagnosis.calibrated import calibrated_from_dict
    from spoolwright.crafts.testcell.diagnosis.rated_line import average_changes
    from spoolwright.crafts.testcell.forecast.case import with_average_build
    from spoolwright.sources.plainfile import read_whole

    mend = "Give the JSON file that `spoolwright calibrate` wrote, or none."
    try:
        found = calibrated_from_dict(json.loads(read_whole(path, "calibration")))
    except InputError as error:
        raise InputError(error.what, where=str(path), mend=error.mend or mend) from error
    except (ValueError, RecursionError) as error:
        raise InputError("this is not a calibration.", where=str(path), mend=mend) from error
    known = basis.reduction.type_file.type.id
    if found.type_id not in ("", known):
        told = f"the calibration is of type '{found.type_id}', not '{known}'."
        raise InputError(told, where=str(path), mend=mend)
    return with_average_build(
        basis,
        average_changes(basis.reduction, found),
        found.build,
        f"Model: calibrated on {found.runs} accepted run(s) of {found.engines} engine(s), build scatter too.",
    )


def forecast_learn(
    history: Path,
    type_path: Path,
    out: Path,
    *,
    baseline: Path | None = None,
    rules: Path | None = None,
    progress: Tell = silent,
) -> Learnt:
    """Learn the forecast's rules from builds that were run, and write the rules file.

    Raises
    ------
    SpoolwrightError
        A file cannot be read or written, or a build was learnt from before.
    """
    from spoolwright.core.diagnosis.forecast.keeping import rules_to_dict
    from spoolwright.crafts.testcell.forecast.learning import learn_from
    from spoolwright.reports.jsonfile import write_text
    from spoolwright.sources.build_history import read_build_history

    progress("reading builds", 0.0)
    basis = forecast_basis(type_path, baseline, rules)
    ran = read_build_history(history, basis.reduction.type_file)
    learnt = learn_from(basis, ran, progress)
    rests = [*basis.rests_on, *(r.name for r in ran)]
    write_text(out, json.dumps({**rules_to_dict(learnt.after), "rests_on": rests}, indent=1) + "\n")
    return learnt


def write_forecast(
    result: Forecast,
    *,
    json: Path | None = None,
    html: Path | None = None,
    pdf: Path | None = None,
    progress: Tell = silent,
) -> list[Path]:
    """Write the forecast's reports that are asked for; gives their paths."""
    written = []
    if json is not None:
        from spoolwright.reports.jsonfile import json_text, write_text

        written.append(write_text(json, json_text(result)))
    if html is not None:
        from spoolwright.reports.forecast_html import write_html

        progress("writing the page", 0.95)
        written.append(write_html(result, html))
    if pdf is not None:
        from spoolwright.reports.forecast_pdf import write_pdf

        progress("setting the print", 0.97)
        written.append(write_pdf(result, pdf))
    return written
