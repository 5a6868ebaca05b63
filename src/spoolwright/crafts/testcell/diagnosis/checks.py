"""Next checks, ranked by what each is expected to tell per hour."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.diagnosis.diagnosing import Weigher, Weighing
from spoolwright.core.diagnosis.further import Further, Planner, Probe
from spoolwright.core.diagnosis.information import Gained, inspected, measured, paired_noise
from spoolwright.core.diagnosis.sampling import Cloud, cloud_of
from spoolwright.core.diagnosis.weighing import Explanation, Sized
from spoolwright.crafts.testcell.diagnosis.check_table import Calibration, CheckTable, FurtherRun, Inspection
from spoolwright.crafts.testcell.diagnosis.model import Check
from spoolwright.crafts.testcell.diagnosis.reopening import ReopeningTable, opened

_LEAST_TOLD = 0.01
"""Checks that are expected to tell less are left out [bit]."""
_SPEAKS = 1.0
"""ln of the evidence over that of nothing wrong from which the data speak for a wrong reading."""
_DRAWS, _SEED = 512, 940
_MUCH = 0.5
"""A second pair is named when it is told apart by at least this part of the first."""


Row = Inspection | Calibration | FurtherRun
Told = tuple[Row, str, Gained]
"""A row of the table, the channel where it is one of several, and what it is expected to tell."""


@dataclass(frozen=True)
class _Asked:
    """The posterior, and what is to be told apart in it."""

    weighing: Weighing
    weigher: Weigher
    cloud: Cloud
    groups: NDArray[np.intp]


def ranked_checks(
    weighing: Weighing, weigher: Weigher, table: CheckTable, costs: ReopeningTable | None = None
) -> tuple[Check, ...]:
    """Checks of the shop's table that would tell something, the most information per hour first.

    Explanations that ask for the same work (by `costs`; by the module where it has no row) need not be told
    apart. Money counts as hours at the table's rate.
    """
    cloud = cloud_of(weighing)
    groups, labels = _grouped(cloud.explanations, costs)
    asked = _Asked(weighing, weigher, cloud, groups[cloud.of])
    told = [*_inspections(asked, table), *_measurements(asked, table)]
    checks = [
        _check(row, channel, gained, labels, asked, table)
        for row, channel, gained in told
        if gained.information >= _LEAST_TOLD
    ]
    return tuple(sorted(checks, key=lambda c: (-c.per_hour, c.id)))


def _grouped(
    explanations: Sequence[Explanation], costs: ReopeningTable | None
) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """The group of every explanation, and the name of every group: its most probable explanation."""
    numbers: dict[frozenset[str], int] = {}
    names: list[str] = []
    of = []
    for e in explanations:
        work = frozenset(opened(s.cause.id, s.cause.module, costs) for s in _asking(e))
        if work not in numbers:
            numbers[work] = len(names)
            names.append(" with ".join(f"“{s.cause.text}”" for s in _asking(e)) or "nothing wrong")
        of.append(numbers[work])
    return np.array(of), tuple(names)


def _asking(e: Explanation) -> tuple[Sized, ...]:
    """Causes of an explanation that ask for work.

    A wrong reading beside something wrong with the engine does not change what is opened; one that the data
    do not speak for is as good as nothing wrong.
    """
    modules = tuple(s for s in e.causes if s.cause.kind == "module")
    return modules or (e.causes if e.log_evidence >= _SPEAKS else ())


def _inspections(asked: _Asked, table: CheckTable) -> Iterator[Told]:
    cloud = asked.cloud
    present = [set(e.ids) for e in cloud.explanations]
    for row in table.inspection:
        positive = np.array(
            [
                [f.sensitivity if p & set(f.causes) else 1.0 - f.specificity for p in present]
                for f in row.finds
            ]
        )
        yield row, "", inspected(cloud.weights, asked.groups, positive[:, cloud.of])


def _measurements(asked: _Asked, table: CheckTable) -> Iterator[Told]:
    """Calibrations and further runs, all with the same draws."""
    planner = Planner(asked.weigher, asked.weighing)
    plans = [*_calibrations(asked, planner, table), *_runs(planner, table)]
    noise = paired_noise(_DRAWS, max((p.data.own.shape[0] for p in plans), default=0), _SEED)
    for p in plans:
        means = planner.means(asked.cloud, p.data, p.kept)
        yield p.row, p.channel, measured(asked.cloud.weights, asked.groups, means, noise)


@dataclass(frozen=True)
class _Plan:
    """A measurement: its row, its data, and what is left of causes that are put right before."""

    row: Row
    channel: str
    data: Further
    kept: Mapping[str, float] = field(default_factory=dict)


def _calibrations(asked: _Asked, planner: Planner, table: CheckTable) -> Iterator[_Plan]:
    """Instruments that the last run had; a row that names a channel goes before the one for all others."""
    known = [c.module for c in asked.weighing.causes if c.kind == "reading"]
    named = {channel for row in table.calibration for channel in row.channels}
    for row in table.calibration:
        for channel in known:
            if channel in row.channels or (not row.channels and channel not in named):
                yield _Plan(row, channel, planner.calibration(channel, row.remaining))


def _runs(planner: Planner, table: CheckTable) -> Iterator[_Plan]:
    """Further runs; one with a probe that the last run had is none, nor one where the model does not run."""
    probes = {r.id: Probe(**r.probe.model_dump()) for r in table.run if r.probe is not None}
    added = planner.with_probes([p for p in probes.values() if p.output not in planner.recorded])
    for row in table.run:
        if row.probe is not None:
            data = added.get(probes[row.id])
        else:
            data = planner.at_settings(row.speeds) if row.speeds else planner.repeated()
        if data is not None:
            yield _Plan(row, "", data, {r.cause: 1.0 - r.share for r in row.removes})


def _check(
    row: Row, channel: str, gained: Gained, labels: Sequence[str], asked: _Asked, table: CheckTable
) -> Check:
    name = f": {asked.weigher.names.get(channel, channel)}" if channel else ""
    return Check(
        id=f"{row.id}:{channel}" if channel else row.id,
        text=row.text + name,
        information=gained.information,
        hours=row.hours,
        cost=row.money,
        per_hour=gained.information / (row.hours + row.money / table.hourly_rate),
        why=_why(gained, labels),
    )


def _why(gained: Gained, labels: Sequence[str]) -> str:
    """The pair of groups that is told apart most, and a second one where it is not much less."""
    a, b = np.triu_indices(len(labels), 1)
    fall = gained.apart[a, b]
    order = [k for k in np.argsort(-fall, kind="stable")[:2] if fall[k] >= _MUCH * fall.max()]
    pairs = [f"{labels[a[k]]} from {labels[b[k]]}" for k in order]
    return f"Tells {', and '.join(pairs)}."
