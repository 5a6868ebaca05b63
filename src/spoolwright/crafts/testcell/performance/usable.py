"""Which holds count as performance points, and which of them the approved document's method covers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from spoolwright.core.reduction.approved import shaft_power
from spoolwright.core.reduction.point import Criterion, PointData
from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.model import GateState
from spoolwright.crafts.testcell.performance.basis import (
    LEAST_POWER,
    ReductionBasis,
    entering_channels,
    inner,
)
from spoolwright.crafts.testcell.rules.gates import within
from spoolwright.crafts.testcell.wording import amount
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.units import difference_from_inner, unit_of

_RUNNING = ("speed", "torque", "temperature", "pressure", "mass flow", "volume flow")
"""Dimensions that a running engine never reads as nought or less in inner units."""


def why_not_usable(point: PointData, points: Sequence[PointData], basis: ReductionBasis) -> tuple[str, ...]:
    """What keeps a hold from being used for performance at all; empty when nothing does."""
    reasons = [*point.why_not]
    reasons += [_drift(c, basis) for c in point.criteria if not c.met]
    reasons += _doubted(point, basis)
    reasons += _lacking(point, points, basis)
    reasons += _implausible(point, basis)
    if not reasons and _power(point, basis) < LEAST_POWER * _main_power(basis):
        reasons.append(f"below {100 * LEAST_POWER:.0f} % of rated power: not used for performance")
    return tuple(reasons)


def in_doubt_alone(reasons: tuple[str, ...], point: PointData, basis: ReductionBasis) -> bool:
    """Whether doubts about the data are all that keeps a hold from being used."""
    return bool(reasons) and reasons == tuple(_doubted(point, basis))


def why_not_approved(point: PointData, basis: ReductionBasis) -> tuple[str, ...]:
    """Why the approved document's method does not cover a point; empty when it does."""
    correction = basis.type_file.correction
    if correction is None:
        return ("the type file gives no approved correction",)
    out = []
    for window in correction.valid_when:
        mean = point.channels.get(window.channel)
        if mean is None:
            out.append(f"'{window.channel}', which the approved correction depends on, was not recorded")
        elif not within(window, mean.mean):
            dimension = next(c.dimension for c in basis.type_file.channel if c.id == window.channel)
            reads = amount(mean.mean, Shown(dimension, window.unit), mean.uncertainty)
            ends = [f"{e:g}" for e in (window.min, window.max) if e is not None]
            source = source_text(basis.type_file, correction.source)
            out.append(
                f"'{window.channel}' reads {reads}, outside the window of the approved correction "
                f"({' to '.join(ends)} {window.unit}; {source})"
            )
    return tuple(out)


def _drift(c: Criterion, basis: ReductionBasis) -> str:
    unit = next((x.unit for x in basis.type_file.channel if x.id == c.channel), "1")
    drift, allowed = difference_from_inner(c.drift, unit), difference_from_inner(c.allowed, unit)
    return f"not steady: '{c.channel}' moved by {drift:+.3g} over the window, {allowed:.3g} {unit} allowed"


def _doubted(point: PointData, basis: ReductionBasis) -> list[str]:
    """Channels of the reduction that a finding bars."""
    return [
        f"'{name}' is in doubt ({', '.join(point.channels[name].findings)})"
        for name in entering_channels(point, basis)
        if point.channels[name].findings
    ]


def _implausible(point: PointData, basis: ReductionBasis) -> list[str]:
    """Channels that read what no engine of the type can give; doubted ones are told already."""
    out = []
    channels = {c.id: c for c in basis.type_file.channel}
    for name in entering_channels(point, basis):
        if point.channels[name].findings:
            continue
        c, mean = channels[name], point.channels[name].mean
        unit = unit_of(c.unit, c.dimension)
        low, high = (end * unit.factor + unit.offset for end in c.plausible)
        if not low <= mean <= high or (mean <= 0.0 and c.dimension in _RUNNING):
            reads = amount(mean, Shown(c.dimension, c.unit))
            out.append(f"'{name}' reads {reads}, which no engine of the type can give")
    return out


def _lacking(point: PointData, points: Sequence[PointData], basis: ReductionBasis) -> list[str]:
    """Channels of the reduction that other points have and this one has not."""
    elsewhere = dict.fromkeys(c for p in points for c in entering_channels(p, basis))
    lacking = [c for c in elsewhere if c not in point.channels]
    return [f"'{c}' was not recorded at this point" for c in lacking]


def _power(point: PointData, basis: ReductionBasis) -> float:
    torque = point.channels.get(basis.roles.get("torque", ""))
    speed = point.channels.get(basis.roles.get("power_turbine_speed", ""))
    if torque is None or speed is None:
        return 0.0
    return float(shaft_power(torque.mean, speed.mean))


def _main_power(basis: ReductionBasis) -> float:
    ratings = basis.type_file.rating
    return inner(next(r for r in ratings if r.id == basis.type_file.data_sheet.rating).power)


def approved_window(
    run: str, usable: Sequence[PointData], outside: Mapping[str, Sequence[str]], basis: ReductionBasis
) -> GateState:
    """Whether the approved correction covers a run's usable points, as one more gate."""
    own = [p for p in usable if p.run == run]
    covered = [p for p in own if not outside[p.id]]
    correction = basis.type_file.correction
    if correction is None:
        state, text = "fails", "the type file gives no approved correction; the model's result is advisory"
    elif own and not covered:
        state, text = "fails", "; ".join(dict.fromkeys(r for p in own for r in outside[p.id]))
    else:
        state, text = "holds", f"{len(covered)} of {len(own)} usable points within the window"
    return GateState(
        gate="approved_window",
        name="Window of the approved correction",
        run=run,
        state=state,
        text=text,
        mend="" if state == "holds" else _MEND[correction is None],
        source=source_text(basis.type_file, correction.source) if correction else "",
    )


_MEND = {
    True: "Transcribe the approved document's correction into the type file.",
    False: "Repeat the points on a day within the window, or refer to engineering.",
}
