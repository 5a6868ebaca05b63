"""Calibrate a type on recorded runs; read what that wrote."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.outputs import resolved
from spoolwright.bootstrap.progress import Tell, part, silent
from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.core.reduction.baseline import ModelBaseline
    from spoolwright.crafts.testcell.diagnosis.baseline import Baseline
    from spoolwright.crafts.testcell.service import VisitRun
    from spoolwright.sources.channelmap import ChannelMap
    from spoolwright.sources.typefile import LoadedType

_MEND = "Give the JSON file that `spoolwright calibrate` wrote, or none."


def calibrate(
    history: Sequence[Path],
    type_path: Path,
    out: Path,
    *,
    sheets: Sequence[Path] | None = None,
    channel_map: Path | None = None,
    progress: Tell = silent,
) -> Baseline:
    """Calibrate a type on recordings and folders of recordings, one in memory at a time; writes the baseline.

    Raises
    ------
    SpoolwrightError
        A file cannot be read or written.
    """
    from spoolwright.crafts.testcell.diagnosis import calibrate as use
    from spoolwright.reports.jsonfile import write_text
    from spoolwright.sources.typefile import load_type

    progress("type file", 0.0)
    loaded = load_type(type_path)
    kind = visits.in_force(loaded, None)
    runs = _in_order(history, sheets, channel_map, loaded, part(progress, 0.0, 0.7))
    lessons = use.lessons_of(runs, kind, visits.doubts(kind))
    found = use.calibrated_on(lessons, kind, part(progress, 0.7, 1.0))
    write_text(out, json.dumps(found.to_dict(), indent=1) + "\n")
    return found


def _in_order(
    history: Sequence[Path],
    sheets: Sequence[Path] | None,
    channel_map: Path | None,
    loaded: LoadedType,
    progress: Tell,
) -> Iterator[VisitRun]:
    """The runs engine by engine and visit by visit, in order of time."""
    from spoolwright.crafts.testcell.service import VisitRun
    from spoolwright.sources.reading import read_recording
    from spoolwright.sources.runsheet import read_run_sheet

    names: ChannelMap | None = visits.channel_names(channel_map)
    paths = recordings_in(history)
    read = [(p, read_run_sheet(s, loaded.type_file)) for p, s in visits.with_sheets(paths, sheets)]
    read.sort(key=lambda x: (x[1].engine.serial, x[1].engine.visit, x[1].performed_on, _number(x[1].run)))
    for i, (path, sheet) in enumerate(read):
        progress(path.name, i / len(read))
        yield VisitRun(read_recording(path, loaded.type_file.channel, names), sheet)


def _number(run: str) -> tuple[int, str]:
    return (int(run), "") if run.isdecimal() else (1 << 30, run)


def recordings_in(history: Sequence[Path]) -> list[Path]:
    """Recordings named, and those in folders named, folders searched through; each once, in order of names.

    In a folder a recording is what has a run sheet beside it.

    Raises
    ------
    InputError
        A folder holds no recording with a run sheet.
    """
    from spoolwright.sources.runsheet import sheet_beside
    from spoolwright.sources.sniff import suffix_format

    found: dict[Path, Path] = {}
    for path in history:
        inside = [path]
        if os.path.isdir(path):
            inside = sorted(p for p in path.rglob("*") if suffix_format(p) and sheet_beside(p).is_file())
            if not inside:
                raise InputError(
                    "no recording with a run sheet beside it is in this folder.",
                    where=str(path),
                    mend="Begin run sheets with `spoolwright sheet new`, or name another folder.",
                )
        for p in inside:
            found.setdefault(resolved(p), p)
    return list(found.values())


def read_baseline(path: Path) -> ModelBaseline:
    """The shape of the reduction's model from a baseline file.

    Raises
    ------
    InputError
        The file cannot be opened, is not JSON, or is not a baseline.
    """
    from spoolwright.core.reduction.baseline import baseline_from_dict

    found: ModelBaseline = _read(path, lambda given: baseline_from_dict(given.get("shape", given)))
    return found


def read_whole_baseline(path: Path) -> tuple[Baseline, str]:
    """A baseline file, and the hash of its bytes.

    Raises
    ------
    InputError
        The file cannot be opened, is not JSON, or is not a baseline.
    """
    import hashlib

    from spoolwright.crafts.testcell.diagnosis.baseline import baseline_of

    found: Baseline = _read(path, baseline_of)
    return found, hashlib.sha256(path.read_bytes()).hexdigest()


def _read(path: Path, made: Callable[[Any], Any]) -> Any:
    """What a baseline file holds."""
    from spoolwright.sources.plainfile import read_whole

    try:
        return made(json.loads(read_whole(path, "baseline")))
    except InputError as error:
        raise InputError(error.what, where=str(path), mend=error.mend or _MEND) from error
    except (AttributeError, ValueError, TypeError, RecursionError) as error:
        told = "nested too deep" if isinstance(error, RecursionError) else error
        raise InputError(f"this is not a baseline: {told}.", where=str(path), mend=_MEND) from error
