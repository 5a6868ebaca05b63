"""Calibrate a type on recorded runs; read what that wrote."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.progress import Tell, part, silent
from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.core.reduction.baseline import ModelBaseline
    from spoolwright.crafts.testcell.learning import Lesson


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
    progress: Tell = silent,
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
    kind = visits.in_force(loaded, None)
    visit = visits.visit_runs(runs, sheets, channel_map, loaded, part(progress, 0.0, 0.9))
    lessons = [lesson(run, kind.basis, visits.doubts(kind)) for run in visit]
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
