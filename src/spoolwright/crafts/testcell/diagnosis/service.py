"""Use case: which module, how sure, and what next, from the runs of one engine's visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spoolwright.core.diagnosis.diagnosing import EngineCase
from spoolwright.core.diagnosis.expected import compared_calibrated
from spoolwright.crafts.testcell.diagnosis.baseline import Baseline
from spoolwright.crafts.testcell.diagnosis.mechanical import joined_weighing, seen_readings
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.crafts.testcell.diagnosis.prepared import Prepared, Tables, Weighed
from spoolwright.crafts.testcell.diagnosis.telling import cannot_tell, told
from spoolwright.crafts.testcell.diagnosis.visit_read import KINDS, VisitRead, kinds_missing, visit_read
from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun, no_doubts, one_engine
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError


def diagnose(
    runs: Sequence[VisitRun],
    kind: TypeInForce,
    baseline: Baseline,
    doubts: Doubts = no_doubts,
    earlier: Sequence[VisitRun] = (),
    tables: Tables | None = None,
) -> Diagnosis:
    """Diagnose the runs of one engine: those of its newest visit, earlier visits tell what it was like.

    Raises
    ------
    InputError
        No run, one run twice, runs of different engines, or a baseline of another type.
    """
    return diagnosed(runs, Prepared(kind, baseline, tables), doubts, earlier)


def diagnosed(
    runs: Sequence[VisitRun], prepared: Prepared, doubts: Doubts = no_doubts, earlier: Sequence[VisitRun] = ()
) -> Diagnosis:
    """`diagnose` with a type that is ready already.

    Raises
    ------
    InputError
        No run, one run twice, runs of different engines, or a recording of another engine or type.
    """
    for run in (*runs, *earlier):
        _same_engine(run, prepared.kind.type_file)
    now, before = _visits(runs, earlier)
    basis = prepared.kind.basis
    read = visit_read(now, basis, doubts)
    past = [visit_read(v, basis, doubts) for v in before]
    why = _why_not(read, prepared)
    if why:
        return cannot_tell(prepared, read, why)
    case = EngineCase(read.observations, tuple(o for p in past for o in p.observations))
    try:
        weighed = _weighed(case, read, prepared)
    except (ValueError, np.linalg.LinAlgError):
        lost = _not_run(case, prepared)
        if not lost:
            raise
        return cannot_tell(prepared, read, f"Nothing can be told: {lost[0]}")
    return told(prepared, weighed, past)


def _why_not(read: VisitRead, prepared: Prepared) -> str:
    """What keeps anything from being told."""
    if not read.observations:
        first = next(iter(read.left_out), "the runs hold no steady point")
        return f"Nothing can be told: {first}."
    seen = {output for o in read.observations for output in o.observed}
    kinds = [k for k, outputs in KINDS.items() if not seen.isdisjoint(outputs)]
    if len(kinds) < 2:
        missing = " ".join(kinds_missing(read, prepared.kind.basis))
        return f"Nothing can be told: one kind of reading alone carries no diagnosis. {missing}"
    return ""


def _not_run(case: EngineCase, prepared: Prepared) -> list[str]:
    """Points at which the engine model does not run, in words."""
    runs = [*case.now, *case.earlier]
    seen = compared_calibrated(prepared.kind.basis.model, runs, prepared.baseline.calibrated)
    return [told for c in seen for told in c.lost]


def _weighed(case: EngineCase, read: VisitRead, prepared: Prepared) -> Weighed:
    (weighing,) = prepared.weigher.weigh([case])
    seen = seen_readings(read.others, prepared.baseline.fleet, prepared.kind.type_file)
    joined = joined_weighing(weighing.explanations, seen)
    with_others = replace(weighing, explanations=joined.explanations)
    return Weighed(read, with_others, seen, joined.mechanical, joined.healthy)


def _same_engine(run: VisitRun, type_file: TypeFile) -> None:
    """What a recording says of its engine, where it says it, agrees with run sheet and type file."""
    told, name = run.recording.attributes, run.recording.source_name
    serial, kind = (told.get(k, "").strip() for k in ("engine_serial", "engine_type"))
    if serial and serial.casefold() != run.sheet.engine.serial.casefold():
        raise InputError(
            f"the recording is of engine '{serial}', its run sheet of '{run.sheet.engine.serial}'.",
            where=name,
            mend="Give the recording its own run sheet.",
        )
    known = (type_file.type.name, type_file.type.id)
    if kind and kind.casefold() not in (k.casefold() for k in known):
        raise InputError(
            f"the recording is of an engine of type '{kind}', the type file of '{known[0]}'.",
            where=name,
            mend="Give the type file of this engine.",
        )


def _visits(
    runs: Sequence[VisitRun], earlier: Sequence[VisitRun]
) -> tuple[list[VisitRun], list[list[VisitRun]]]:
    """Runs of the newest visit, and those of every earlier one, each in order of time."""
    if not runs:
        raise InputError("no run is given.", mend="Name at least one recording.")
    serials = sorted({r.sheet.engine.serial for r in (*runs, *earlier)})
    if len(serials) > 1:
        raise InputError(
            f"the runs are of different engines: {', '.join(serials)}.", mend="Give the runs of one engine."
        )
    newest = max(runs, key=lambda r: r.sheet.performed_on).sheet.engine.visit
    now = [r for r in runs if r.sheet.engine.visit == newest]
    past: dict[str, list[VisitRun]] = {}
    for r in (*earlier, *runs):
        if not any(r is n for n in now):
            past.setdefault(r.sheet.engine.visit, []).append(r)
    return one_engine(now), [one_engine(v) for v in past.values()]
