"""Performance of a visit, block by block: points, curves, rated values, readings for limits at ratings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.model import Curve, Finding, GateState, Point, RatedValue
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import BlockReduction, reduce_block
from spoolwright.crafts.testcell.performance.curves import CurveScribe
from spoolwright.crafts.testcell.performance.margins import MarginScribe
from spoolwright.crafts.testcell.performance.point_records import PointScribe
from spoolwright.crafts.testcell.performance.rated import (
    CURVES,
    RatedEstimate,
    approved_curves,
    rated_estimates,
)
from spoolwright.crafts.testcell.performance.usable import (
    approved_window,
    in_doubt_alone,
    why_not_approved,
    why_not_usable,
)
from spoolwright.crafts.testcell.reading import ScalarReading
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.wording import interval
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import Limit
from spoolwright.units import INNER_UNIT

_APART = 3.0
"""Approved method and model disagree from this many standard uncertainties of their difference on."""


@dataclass(frozen=True)
class Performance:
    """What the points of a visit tell.

    `readings` are of the pools alone, which limits are judged against; `points`, `curves` and `rated` show
    every block. `windows` tells of each run whether the approved correction covers its points.
    """

    points: tuple[Point, ...]
    curves: tuple[Curve, ...]
    rated: tuple[RatedValue, ...]
    readings: tuple[ScalarReading, ...]
    windows: tuple[GateState, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Pool:
    """The newest block of the runs under one limit set: its limits at ratings are judged against it."""

    block: int
    run: str
    limits: tuple[Limit, ...]


_SETTLE = "Settle the doubts named: make the check, then sign the correction on the run sheet."


@dataclass(frozen=True)
class _Block:
    points: tuple[Point, ...]
    curves: tuple[Curve, ...]
    rated: tuple[RatedValue, ...]
    readings: tuple[ScalarReading, ...]
    why: str
    findings: tuple[Finding, ...] = ()
    mend: str = "Take the performance points of the schedule, each held until it is steady."


def visit_performance(
    points: Sequence[PointData],
    sheets: Mapping[str, RunSheet],
    pools: Sequence[Pool],
    basis: ReductionBasis,
    ledger: Ledger,
) -> Performance:
    """Reduce every block of a visit; `sheets` are by run, `pools` in the order of the runs."""
    done: dict[int, _Block] = {}
    for b in sorted({p.block for p in points} | {pool.block for pool in pools}):
        limits = next((x.limits for x in pools if x.block >= b), pools[-1].limits)
        drawn = sum(len(d.curves) for d in done.values())
        done[b] = _block(b, [p for p in points if p.block == b], sheets, basis, ledger, limits, drawn)
    readings: list[ScalarReading] = []
    for pool in pools:
        readings += done[pool.block].readings or _not_made(done[pool.block], pool, basis)
    return Performance(
        points=tuple(p for d in done.values() for p in d.points),
        curves=tuple(c for d in done.values() for c in d.curves),
        rated=tuple(r for d in done.values() for r in d.rated),
        readings=tuple(readings),
        windows=tuple(_windows(points, done, basis, list(sheets))),
        findings=tuple(f for d in done.values() for f in d.findings),
    )


def _windows(
    points: Sequence[PointData], done: Mapping[int, _Block], basis: ReductionBasis, runs: Sequence[str]
) -> list[GateState]:
    usable = {p.id for d in done.values() for p in d.points if p.usable}
    taken = [p for p in points if p.id in usable]
    outside = {p.id: why_not_approved(p, basis) for p in taken}
    return [approved_window(r, taken, outside, basis) for r in runs]


def _block(
    block: int,
    points: list[PointData],
    sheets: Mapping[str, RunSheet],
    basis: ReductionBasis,
    ledger: Ledger,
    limits: Sequence[Limit],
    drawn: int,
) -> _Block:
    scribe = PointScribe(basis, ledger)
    reasons = {p.id: why_not_usable(p, points, basis) for p in points}
    outside = {p.id: why_not_approved(p, basis) for p in points}
    usable = [p for p in points if not reasons[p.id]]
    if not usable:
        records = tuple(scribe.record(p, None, reasons[p.id], outside[p.id]) for p in points)
        none = _Block(records, (), (), (), _no_point(points, reasons))
        doubted = any(in_doubt_alone(reasons[p.id], p, basis) for p in points)
        return replace(none, mend=_SETTLE) if doubted else none
    reduction = reduce_block(block, usable, sheets, basis)
    used = np.array([not outside[p.id] for p in usable])
    records = tuple(scribe.record(p, reduction, reasons[p.id], outside[p.id]) for p in points)
    return _judgeable(reduction, used, records, basis, ledger, limits, drawn)


def _judgeable(
    reduction: BlockReduction,
    used: np.ndarray,
    records: tuple[Point, ...],
    basis: ReductionBasis,
    ledger: Ledger,
    limits: Sequence[Limit],
    drawn: int,
) -> _Block:
    curves = approved_curves(reduction, used)
    estimates = rated_estimates(reduction, curves, basis)
    margins, drawing = MarginScribe(basis, ledger), CurveScribe(basis, limits)
    ids = [p.id for p in reduction.points]
    runs = tuple(dict.fromkeys(p.run for p in reduction.points))
    asked = {(limit.rating, limit.quantity) for limit in limits if limit.regime == "rating"}
    found = [drawing.curve(reduction, curves, x, y, drawn + n + 1) for n, (x, y) in enumerate(CURVES)]
    found.append(drawing.model_curve(reduction, drawn + len(CURVES) + 1))
    return _Block(
        points=records,
        curves=tuple(c for c in found if c is not None),
        rated=tuple(margins.rated_value(e, reduction.block, ids) for e in estimates),
        readings=tuple(
            margins.reading(e, reduction, runs[-1]) for e in estimates if (e.rating.id, e.quantity) in asked
        ),
        why="",
        findings=_disagreement(estimates, reduction, basis),
    )


def _disagreement(
    estimates: Sequence[RatedEstimate], reduction: BlockReduction, basis: ReductionBasis
) -> tuple[Finding, ...]:
    """Approved method and model further apart than their own errors explain."""
    main = basis.type_file.data_sheet.rating
    e = next(x for x in estimates if x.rating.id == main and x.quantity == "power_at_rated_mgt")
    apart = e.difference
    if apart is None or abs(apart.value) <= _APART * apart.standard_uncertainty:
        return ()
    shown = basis.shown("power")
    words = interval(apart.value, shown, apart.standard_uncertainty, difference=True)
    runs = tuple(dict.fromkeys(p.run for p in reduction.points))
    finding = Finding(
        id=f"model.{reduction.block}",
        run=runs[-1],
        kind="disagreement",
        channels=(),
        text=f"Approved correction less model, power at rated MGT, {e.rating.name}: {words}; errors common "
        f"to both do not enter. Block {reduction.block}, run {', '.join(runs)}.",
        mend="Look at inlet, humidity, fuel and loss readings first; the approved method governs.",
        bars_use=False,
    )
    return (finding,)


def _no_point(points: Sequence[PointData], reasons: Mapping[str, tuple[str, ...]]) -> str:
    if not points:
        return "no performance point has been taken since the last adjustment"
    told = list(dict.fromkeys(r for p in points for r in reasons[p.id]))
    return "no usable performance point: " + "; ".join(told[:3])


def _not_made(block: _Block, pool: Pool, basis: ReductionBasis) -> tuple[ScalarReading, ...]:
    """Readings that could not be made, so that their limits are told, not passed over."""
    asked = dict.fromkeys((x.rating, x.quantity) for x in pool.limits if x.regime == "rating")
    correction = basis.type_file.correction
    return tuple(
        ScalarReading(
            quantity=quantity,
            regime="rating",
            value=math.nan,
            uncertainty=math.nan,
            unit=INNER_UNIT[DERIVED_QUANTITIES[quantity]],
            run=pool.run,
            block=pool.block,
            from_s=0.0,
            to_s=0.0,
            title=quantity.replace("_", " "),
            calculation="testcell.performance.rated.rated_estimates",
            formula="curve through the corrected points, at the rating",
            reference=source_text(basis.type_file, correction.source) if correction else "",
            rating=rating,
            why_not=block.why,
            mend=block.mend,
        )
        for rating, quantity in asked
    )
