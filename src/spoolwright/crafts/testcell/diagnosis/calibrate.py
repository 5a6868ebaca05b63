"""Use case: calibrate a type on the shop's accepted runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.calibrating import calibration
from spoolwright.core.diagnosis.comparison import compared
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.numerics import FloatArray
from spoolwright.core.reduction.baseline import ModelBaseline, uncalibrated_baseline
from spoolwright.crafts.testcell.diagnosis.baseline import Baseline, RestsOn, data_sheet_baseline
from spoolwright.crafts.testcell.diagnosis.cross_validation import model_errors
from spoolwright.crafts.testcell.diagnosis.lessons import Lesson, lesson, shape_learnt
from spoolwright.crafts.testcell.diagnosis.other_readings import fleet_of
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun, assess_runs, no_doubts

Tell = Callable[[str, float], None]
_LEAST_SHAPES = 2


def _silent(what: str, share: float) -> None:
    """Tell nobody."""


def calibrate(
    runs: Iterable[VisitRun], kind: TypeInForce, doubts: Doubts = no_doubts, progress: Tell = _silent
) -> Baseline:
    """A baseline from runs of engines that were accepted, given visit by visit in order of time.

    A run in doubt, with a failed gate, without a usable point or of a limit set that accepts nothing teaches
    nothing and is named with the reason. Without any run that teaches, the data sheet stands alone.
    """
    return calibrated_on(lessons_of(runs, kind, doubts), kind, progress)


def lessons_of(runs: Iterable[VisitRun], kind: TypeInForce, doubts: Doubts = no_doubts) -> list[Lesson]:
    """What every run teaches, one in memory at a time; blocks are counted through each visit."""
    out: list[Lesson] = []
    for run in runs:
        r, engine = run.recording, run.sheet.engine
        last = out[-1] if out else None
        block = last.last_block if last and (last.engine, last.visit) == (engine.serial, engine.visit) else 0
        same = next((x.file for x in out if r.source_sha256 and x.sha256 == r.source_sha256), None)
        why = "" if same is None else f"it is the same recording as '{same}'"
        if why:
            taught = Lesson(
                r.source_name, r.source_sha256, engine.serial, engine.visit, run.sheet.run, why_not=why
            )
            out.append(replace(taught, last_block=block))
        else:
            out.append(_lesson(run, kind, doubts, block))
    return out


def _lesson(run: VisitRun, kind: TypeInForce, doubts: Doubts, block: int) -> Lesson:
    """What a run teaches, if the engine met the limits of its ratings."""
    findings = tuple(doubts(run.recording, run.sheet, kind.type_file))
    told = lesson(run, kind.basis, lambda *_: findings, block)
    if not told.teaches:
        return told
    missed = _missed(run, kind, findings)
    if not missed:
        return told
    why = f"the engine was not accepted on it: {'; '.join(missed[:3])}"
    return replace(told, shapes=(), observations=(), others={}, why_not=why)


def _missed(run: VisitRun, kind: TypeInForce, findings: Sequence[Finding]) -> list[str]:
    """Limits at ratings that the run does not meet."""
    found = assess_runs([run], kind, lambda *_: findings)
    superseded = set(found.disposition.superseded)
    return [
        f"{v.name} is not met"
        for v in found.verdicts
        if v.rating and v.outcome == "does_not_meet" and v.id not in superseded
    ]


def calibrated_on(lessons: Sequence[Lesson], kind: TypeInForce, progress: Tell = _silent) -> Baseline:
    """The baseline that lessons make together."""
    left_out = tuple(
        f"{x.file}, run {x.run} of engine {x.engine}: {x.why_not}" for x in lessons if not x.teaches
    )
    taught = [x for x in lessons if x.teaches]
    groups = engine_states(taught)
    if not groups:
        return replace(data_sheet_baseline(kind.type_file), left_out=left_out, type_file_sha256=kind.sha256)
    progress("learning", 0.0)
    calibrated = _calibrated(groups, kind, progress)
    return Baseline(
        calibrated,
        _shape(taught, kind),
        fleet_of(_others(taught)),
        tuple(RestsOn(x.file, x.sha256, x.engine, x.run) for x in taught),
        left_out,
        kind.sha256,
    )


def engine_states(lessons: Iterable[Lesson]) -> dict[tuple[str, str, int], list[Observation]]:
    """Observations by engine, visit and block: work or an adjustment makes an engine another."""
    out: dict[tuple[str, str, int], list[Observation]] = {}
    for x in lessons:
        for block, seen in x.observations:
            out.setdefault((x.engine, x.visit, block), []).append(seen)
    return out


def _calibrated(
    groups: Mapping[tuple[str, str, int], list[Observation]], kind: TypeInForce, progress: Tell
) -> Calibrated:
    model, states = kind.basis.model, list(groups.values())
    blank, problems = calibration(
        model, states, kind.type_file.type.id, lambda share: progress("learning", 0.9 * share)
    )
    progress("checking against engines not seen", 0.9)
    serials = [key[0] for key in groups]
    seen = compared(model, [o for g in states for o in g])
    return replace(
        blank,
        runs=len({(o.engine, o.visit, o.run) for g in states for o in g}),
        engines=len(set(serials)),
        speed_range=_range([c.speed for c in seen]),
        warmth_range=_range([c.warmth for c in seen]),
        errors=model_errors(problems, states, seen, serials, blank),
    )


def _range(values: Sequence[FloatArray]) -> tuple[float, float]:
    return float(min(v.min() for v in values)), float(max(v.max() for v in values))


def _shape(taught: Sequence[Lesson], kind: TypeInForce) -> ModelBaseline:
    if sum(len(x.shapes) for x in taught) < _LEAST_SHAPES:
        return replace(uncalibrated_baseline(), type_id=kind.type_file.type.id)
    return shape_learnt(taught, kind.basis)


def _others(taught: Sequence[Lesson]) -> dict[str, list[Mapping[str, float]]]:
    """Readings beside the gas path by engine and visit."""
    out: dict[str, list[Mapping[str, float]]] = {}
    for x in taught:
        out.setdefault(f"{x.engine} {x.visit}", []).append(x.others)
    return out
