"""The only place that joins files and formats to the crafts' use cases."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.errors import InputError, OutputError

if TYPE_CHECKING:
    from spoolwright.core.diagnosis.forecast.learning import Learnt
    from spoolwright.core.reduction.baseline import ModelBaseline
    from spoolwright.crafts.testcell.forecast.case import ForecastBasis
    from spoolwright.crafts.testcell.forecast.model import Forecast
    from spoolwright.crafts.testcell.learning import Lesson
    from spoolwright.crafts.testcell.model import Assessment, Strip
    from spoolwright.crafts.testcell.run_sheet import RunSheet
    from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun
    from spoolwright.crafts.typefile.model import TypeFile
    from spoolwright.sources.channelmap import ChannelMap
    from spoolwright.sources.typefile import LoadedType

Tell = Callable[[str, float], None]

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


def _silent(what: str, share: float) -> None:
    """Tell nobody."""


def _part(progress: Tell, low: float, high: float) -> Tell:
    """Progress of a part of the work."""
    return lambda what, share: progress(what, low + (high - low) * share)


def assess(
    runs: Sequence[Path],
    type_path: Path,
    *,
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    baseline: Path | None = None,
    progress: Tell = _silent,
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
    kind = _in_force(loaded, None if baseline is None else read_baseline(baseline))
    visit = list(_visit(runs, sheets, channel_map, loaded, _part(progress, 0.1, 0.5)))
    progress("doubting, reducing, judging", 0.5)
    assessment = assess_runs(visit, kind, _doubts(kind))
    progress("drawing", 0.8)
    drawn = [c.id for role in DRAWN_ROLES for c in loaded.type_file.channel if c.role == role]
    strips = [s for r in visit for s in strips_of(r.recording, loaded.type_file, r.sheet.run, drawn)]
    return Assessed(assessment, tuple(strips))


def _doubts(kind: TypeInForce) -> Doubts:
    """The doubts about a run's data, with the engine model that is ready already."""
    from spoolwright.crafts.testcell.doubt.find import find

    return lambda recording, sheet, type_file: find(recording, sheet, type_file, kind.basis.model)


def _in_force(loaded: LoadedType, baseline: ModelBaseline | None) -> TypeInForce:
    from spoolwright.crafts.testcell.performance.basis import reduction_basis
    from spoolwright.crafts.testcell.service import TypeInForce

    basis = reduction_basis(loaded.type_file, loaded.engine, baseline)
    filled = tuple(f"{f.path} = {f.value} ({f.rule})" for f in loaded.filled)
    return TypeInForce(basis, loaded.sha256, filled)


def _visit(
    runs: Sequence[Path],
    sheets: Sequence[Path] | None,
    channel_map: Path | None,
    loaded: LoadedType,
    progress: Tell,
) -> Iterator[VisitRun]:
    """The runs with their sheets, one after the other."""
    from spoolwright.crafts.testcell.service import VisitRun
    from spoolwright.sources.reading import read_recording
    from spoolwright.sources.runsheet import read_run_sheet, sheet_beside

    if sheets and len(sheets) != len(runs):
        raise InputError(
            f"{len(sheets)} run sheet(s) are named for {len(runs)} recording(s).",
            mend="Name one --sheet per RUN, in the same order, or none to use NAME.run.toml beside each.",
        )
    names = _names(channel_map)
    for i, path in enumerate(runs):
        sheet_path = sheets[i] if sheets else sheet_beside(path)
        if not sheets and os.path.isfile(path) and not os.path.isfile(sheet_path):
            raise InputError(
                f"there is no run sheet '{sheet_path.name}' beside it.",
                where=str(path),
                mend="Begin one with `spoolwright sheet new`, or name it with --sheet.",
            )
        progress(path.name, i / len(runs))
        recording = read_recording(path, loaded.type_file.channel, names)
        yield VisitRun(recording, read_run_sheet(sheet_path, loaded.type_file))


def begin_sheet(
    run: Path, type_path: Path, *, channel_map: Path | None = None, out: Path | None = None
) -> Path:
    """Begin the run sheet of a recording with what its header tells; gives its path.

    Raises
    ------
    SpoolwrightError
        A file cannot be read, the sheet cannot be written, or there is one already.
    """
    from spoolwright.crafts.testcell.run.blank_sheet import blank_sheet
    from spoolwright.sources.reading import read_recording
    from spoolwright.sources.runsheet import sheet_beside
    from spoolwright.sources.typefile import load_type

    path = out or sheet_beside(run)
    check_outputs([path], [run, type_path])
    known = load_type(type_path).type_file
    text = blank_sheet(read_recording(run, known.channel, _names(channel_map)), known)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise OutputError(
            "there is a run sheet already.",
            where=str(path),
            mend="Go on with it, or name another (--out).",
        ) from error
    except OSError as error:
        raise OutputError(
            f"it cannot be written: {error.strerror}.", where=str(path), mend="Choose another place."
        ) from error
    return path


def read_sheet(path: Path, type_path: Path) -> tuple[RunSheet, TypeFile]:
    """A run sheet that holds no mistake, and the type it was checked against."""
    from spoolwright.sources.runsheet import read_run_sheet
    from spoolwright.sources.typefile import load_type

    known = load_type(type_path).type_file
    return read_run_sheet(path, known), known


def _names(channel_map: Path | None) -> ChannelMap | None:
    from spoolwright.sources.channelmap import read_channel_map

    return None if channel_map is None else read_channel_map(channel_map)


def read_baseline(path: Path) -> ModelBaseline:
    """What the model learnt from earlier runs, as a JSON file written after calibrating.

    Raises
    ------
    InputError
        The file cannot be opened, is not JSON, or is not a baseline.
    """
    from spoolwright.core.reduction.baseline import baseline_from_dict
    from spoolwright.sources.plainfile import read_whole

    noun, mend = "model baseline", "Give the JSON file that `spoolwright calibrate-shape` wrote."
    try:
        return baseline_from_dict(json.loads(read_whole(path, noun)))
    except InputError as error:
        raise InputError(error.what, where=str(path), mend=error.mend or mend) from error
    except (ValueError, RecursionError) as error:
        told = "nested too deep" if isinstance(error, RecursionError) else error
        raise InputError(f"this is not a {noun}: {told}.", where=str(path), mend=mend) from error


def calibrate_shape(
    runs: Sequence[Path],
    type_path: Path,
    out: Path,
    *,
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    progress: Tell = _silent,
    tell_left_out: Callable[[Lesson], None] = lambda _: None,
) -> ModelBaseline:
    """Learn the type's shape from recorded runs, one in memory at a time, and write the baseline.

    Raises
    ------
    SpoolwrightError
        A file cannot be read or written, or fewer than two runs are fit to learn from.
    """
    from spoolwright.crafts.testcell.learning import lesson, shape_learnt
    from spoolwright.reports.jsonfile import write_text
    from spoolwright.sources.typefile import load_type

    progress("type file", 0.0)
    loaded = load_type(type_path)
    kind = _in_force(loaded, None)
    visit = _visit(runs, sheets, channel_map, loaded, _part(progress, 0.0, 0.9))
    lessons = [lesson(run, kind.basis, _doubts(kind)) for run in visit]
    for one in lessons:
        if one.why_not:
            tell_left_out(one)
    progress("learning", 0.9)
    learnt = shape_learnt(lessons, kind.basis)
    rests = [
        {"file": x.file, "sha256": x.sha256, "engine": x.engine, "run": x.run} for x in lessons if x.shapes
    ]
    write_text(out, json.dumps({**learnt.to_dict(), "rests_on": rests}, indent=1) + "\n")
    return learnt


def check_outputs(outputs: Sequence[Path], inputs: Sequence[Path]) -> None:
    """Refuse, before any work, to write where nothing can be or where something recorded would be lost.

    Raises
    ------
    OutputError
        An output is a folder, one of the inputs, named twice, or in a place where no file can be made.
    """
    taken = {_resolved(p) for p in inputs}
    for path in outputs:
        place = _resolved(path)
        if place in taken:
            raise OutputError(
                "it would overwrite an input, or another result.",
                where=str(path),
                mend="Choose another name.",
            )
        if os.path.isdir(path):
            raise OutputError("it is a folder.", where=str(path), mend="Give the name of a file in it.")
        if os.path.exists(path) and not os.path.isfile(path):
            told = "it is a device or a pipe; writing the file would put one in its place."
            raise OutputError(told, where=str(path), mend="Give the name of a file.")
        folder = next(p for p in place.parents if os.path.exists(p))
        if not os.path.isdir(folder) or not os.access(folder, os.W_OK):
            told = f"no file can be written in '{folder}'."
            raise OutputError(told, where=str(path), mend="Choose another place, or see to the rights.")
        taken.add(place)


def _resolved(path: Path) -> Path:
    """Where a path leads, links followed as far as they go."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):  # a link in a circle, a NUL
        return Path(os.path.abspath(str(path).replace("\0", "?")))


def write_reports(
    result: Assessed,
    *,
    json: Path | None = None,
    html: Path | None = None,
    pdf: Path | None = None,
    progress: Tell = _silent,
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


def run_demo(out: Path, preset: str, progress: Tell = _silent) -> tuple[Assessed, dict[str, Path]]:
    """Record a run of the invented Corrie 940 on the rig, assess it, write every report."""
    from spoolwright.rig.presets import preset_options
    from spoolwright.rig.record import record_run
    from spoolwright.rig.write import write_run
    from spoolwright.sources.typefile import load_type, shipped_type

    loaded = load_type(shipped_type())
    options = preset_options(preset, loaded.type_file)
    run = record_run(loaded.type_file, loaded.engine, options, progress=_part(progress, 0.0, 0.6))
    files = write_run(run, out, f"{run.sheet.engine.serial}-run-{run.sheet.run}")
    result = assess([files.recording], shipped_type(), progress=_part(progress, 0.6, 1.0))
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


def forecast(
    sheet: Path,
    type_path: Path,
    *,
    baseline: Path | None = None,
    rules: Path | None = None,
    costs: Path | None = None,
    guard_times: float = 0.0,
    draws: int = 4096,
    progress: Tell = _silent,
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
    return forecast_run(asked, basis, received, _part(progress, 0.1, 0.9))


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
    import numpy as np

    from spoolwright.core.diagnosis.calibrated import calibrated_from_dict
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
        lambda speed: found.factors(np.array([speed]), np.zeros(1))[:, 0],
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
    progress: Tell = _silent,
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
    progress: Tell = _silent,
) -> list[Path]:
    """Write the forecast's reports that are asked for; gives their paths."""
    written = []
    if json is not None:
        from spoolwright.reports.jsonfile import write_text

        written.append(write_text(json, result.model_dump_json(indent=1) + "\n"))
    if html is not None:
        from spoolwright.reports.forecast_html import write_html

        progress("writing the page", 0.95)
        written.append(write_html(result, html))
    if pdf is not None:
        from spoolwright.reports.forecast_pdf import write_pdf

        progress("setting the print", 0.97)
        written.append(write_pdf(result, pdf))
    return written
