"""Use case of the test cell: the recorded runs of a visit in, a defensible proposal out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import combinations
from typing import Protocol

from spoolwright import __version__
from spoolwright.core.measurement.prior import Prior
from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.baseline import ModelBaseline
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.model import Assessment, Finding, GateState, RunRef
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.visit import Performance, Pool, visit_performance
from spoolwright.crafts.testcell.reading import RunContents
from spoolwright.crafts.testcell.rules.gates import bars, gate_states
from spoolwright.crafts.testcell.rules.judging import steady_readings, verdicts_of
from spoolwright.crafts.testcell.rules.owed import schedule_states
from spoolwright.crafts.testcell.rules.proposal import disposition
from spoolwright.crafts.testcell.rules.verdict import Judging
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.lookup import limits_of
from spoolwright.crafts.typefile.model import Limit, TypeFile
from spoolwright.errors import InputError

CAUTIONS = (
    "The tool computes and reminds; an entitled person decides. The approved document governs.",
    "Keep everybody out of the plane of rotation and the exhaust stream while the engine runs.",
    "Wear hearing protection; a guarded shaft and an independent overspeed trip belong to the dynamometer, "
    "not to software.",
    "Do not touch the exhaust section for at least 30 minutes after shut-down without protective gloves.",
    "A fire guard with an agent at hand stands by at every start.",
)


class Doubts(Protocol):
    """Finds doubts about the data of one run before anything is computed from it."""

    def __call__(self, recording: Recording, sheet: RunSheet, type_file: TypeFile) -> Sequence[Finding]: ...


@dataclass(frozen=True)
class VisitRun:
    """One run of a visit: what was recorded and what people wrote down."""

    recording: Recording
    sheet: RunSheet


@dataclass(frozen=True)
class TypeInForce:
    """A type made ready, with the hash of its file and the model parameters that nobody gave.

    `priors` by limit id are printed with the verdicts they touch; none is used unless given.
    """

    basis: ReductionBasis
    sha256: str
    filled: tuple[str, ...] = ()
    priors: Mapping[str, Prior] = field(default_factory=dict)

    @property
    def type_file(self) -> TypeFile:
        """The type file."""
        return self.basis.type_file


def no_doubts(recording: Recording, sheet: RunSheet, type_file: TypeFile) -> Sequence[Finding]:
    """Looks for nothing."""
    return ()


def assess_runs(runs: Sequence[VisitRun], kind: TypeInForce, doubts: Doubts = no_doubts) -> Assessment:
    """Assess the runs of one engine's visit; all are shown, none is left out.

    Raises
    ------
    InputError
        No run, two runs of one number, or runs of different engines.
    """
    ordered = one_engine(runs)
    sheets = {r.sheet.run: r.sheet for r in ordered}
    findings, contents = _read(ordered, kind.type_file, doubts)
    newest = ordered[-1].sheet
    current = _current(list(sheets.values()))
    limits = {r: limits_of(kind.type_file, s.limit_set) for r, s in sheets.items()}
    ledger = Ledger()
    points = [p for c in contents for p in c.points]
    performance = visit_performance(points, sheets, _pools(ordered, contents, limits), kind.basis, ledger)
    gates = _gates(sheets, points, performance, kind.type_file)
    findings += performance.findings
    around = Judging(kind.type_file, ledger, {f.id: f for f in findings}, (), dict(kind.priors))
    readings = [x for c in contents for x in c.readings]
    for run, own in limits.items():
        readings += steady_readings([p for p in points if p.run == run], own, kind.type_file, sheets[run])
    readings += performance.readings
    verdicts = verdicts_of(limits, readings, [g for g in gates if bars(g)], around)
    shown = [x for c in contents for x in c.shown]
    schedule = schedule_states(kind.type_file, newest.limit_set, current, shown)
    earlier = {r for r in sheets if r not in {s.run for s in current}}
    return Assessment(
        **_head(kind, newest),
        disposition=disposition(kind.type_file, verdicts, schedule, earlier),
        runs=tuple(run_ref(r) for r in ordered),
        findings=tuple(findings),
        gates=tuple(gates),
        events=tuple(e for c in contents for e in c.events),
        segments=tuple(s for c in contents for s in c.segments),
        points=performance.points,
        curves=performance.curves,
        rated=performance.rated,
        verdicts=tuple(verdicts),
        schedule=tuple(schedule),
        derivations=ledger.derivations,
        cautions=CAUTIONS,
    )


def _pools(
    runs: Sequence[VisitRun], contents: Sequence[RunContents], limits: Mapping[str, tuple[Limit, ...]]
) -> list[Pool]:
    """The newest block of every limit set's runs, in order."""
    return [
        Pool(contents[i].last_block, run.sheet.run, limits[run.sheet.run])
        for i, run in enumerate(runs)
        if i + 1 == len(runs) or runs[i + 1].sheet.limit_set != run.sheet.limit_set
    ]


def _current(sheets: Sequence[RunSheet]) -> list[RunSheet]:
    """The last runs that stand under one limit set: what came before was other work."""
    out: list[RunSheet] = []
    for sheet in reversed(sheets):
        if sheet.limit_set != sheets[-1].limit_set:
            break
        out.insert(0, sheet)
    return out


def one_engine(runs: Sequence[VisitRun]) -> list[VisitRun]:
    """The runs in the order in which they were made."""
    if not runs:
        raise InputError("no run is given.", mend="Name at least one recording.")
    numbers = [r.sheet.run for r in runs]
    for number in numbers:
        if numbers.count(number) > 1:
            raise InputError(
                f"two run sheets have the run number '{number}'.", mend="Number the runs of the visit apart."
            )
    for first, second in combinations([r.recording for r in runs], 2):
        if first.source_sha256 and first.source_sha256 == second.source_sha256:
            raise InputError(
                f"'{first.source_name}' and '{second.source_name}' are the same recording: counted twice it "
                "would seem surer than it is.",
                mend="Name every recording once.",
            )
    serials = sorted({r.sheet.engine.serial for r in runs})
    if len(serials) > 1:
        raise InputError(
            f"the runs are of different engines: {', '.join(serials)}.", mend="Give the runs of one engine."
        )
    earliest = datetime.min.replace(tzinfo=UTC)
    return sorted(runs, key=lambda r: (r.sheet.performed_on, _utc(r.recording.started_at) or earliest))


def _utc(at: datetime | None) -> datetime | None:
    return at.replace(tzinfo=UTC) if at is not None and at.tzinfo is None else at


def _read(
    runs: Sequence[VisitRun], type_file: TypeFile, doubts: Doubts
) -> tuple[list[Finding], list[RunContents]]:
    """Doubt first, then what each run holds; blocks are counted through the visit."""
    findings: list[Finding] = []
    contents: list[RunContents] = []
    block, limit_set = 0, runs[0].sheet.limit_set
    for run in runs:
        if run.sheet.limit_set != limit_set:
            # Another limit set means other approved work: such runs are never mixed either.
            block, limit_set = block + 1, run.sheet.limit_set
        found = list(doubts(run.recording, run.sheet, type_file))
        findings += found
        contents.append(read_run(run.recording, run.sheet, type_file, findings=found, first_block=block))
        block = contents[-1].last_block
    return findings, contents


def _gates(
    sheets: Mapping[str, RunSheet], points: Sequence[PointData], performance: Performance, type_file: TypeFile
) -> list[GateState]:
    """Gates of every run, then whether the approved correction covers it."""
    own = [g for r, s in sheets.items() for g in gate_states(type_file, s, _gated(points, r, performance))]
    return own + list(performance.windows)


def _gated(points: Sequence[PointData], run: str, performance: Performance) -> list[PointData]:
    """Points of a run that its gates are judged over: those used for performance, else all."""
    usable = {p.id for p in performance.points if p.usable}
    own = [p for p in points if p.run == run]
    return [p for p in own if p.id in usable] or own


def _head(kind: TypeInForce, newest: RunSheet) -> dict[str, object]:
    type_file = kind.type_file
    return {
        "program": f"spoolwright {__version__}",
        "type_id": type_file.type.id,
        "type_name": type_file.type.name,
        "type_file_sha256": kind.sha256,
        "demonstration": type_file.type.demonstration,
        "limit_set": newest.limit_set,
        "engine_serial": newest.engine.serial,
        "filled_model_parameters": kind.filled,
        "model_basis": model_basis(kind.basis.baseline),
    }


def model_basis(baseline: ModelBaseline) -> str:
    """What the model was calibrated on, in words."""
    if baseline.runs == 0:
        return "not calibrated: no run was learnt from; the shape stands with its wide prior uncertainty"
    return (
        f"shape learnt from {baseline.runs} runs of {baseline.engines} engines; "
        "the engine's own level is free, no prior on its condition is used"
    )


def run_ref(run: VisitRun) -> RunRef:
    r, s = run.recording, run.sheet
    return RunRef(
        run=s.run,
        file=r.source_name,
        sha256=r.source_sha256,
        rows=r.rows,
        started_at=r.started_at,
        duration_s=float(r.time.max() - r.time.min()) if r.rows else 0.0,
        engine_serial=s.engine.serial,
        cell=s.cell.cell,
        limit_set=s.limit_set,
        adjustments=tuple(f"{a.at_s:.0f} s: {a.kind.replace('_', ' ')}, {a.text}" for a in s.adjustment),
    )
