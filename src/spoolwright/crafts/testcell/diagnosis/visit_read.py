"""The runs of a visit read for a diagnosis: doubts first, then the steady points of the newest block."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.diagnosis.observe import diagnosis_roles, observation
from spoolwright.crafts.testcell.diagnosis.other_readings import other_readings
from spoolwright.crafts.testcell.diagnosis.words import counted
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.usable import why_not_usable
from spoolwright.crafts.testcell.reading import RunContents
from spoolwright.crafts.testcell.rules.gates import bars, gate_states
from spoolwright.crafts.testcell.service import Doubts, VisitRun
from spoolwright.crafts.testcell.wording import joined
from spoolwright.crafts.typefile.lookup import channels_of
from spoolwright.errors import InputError

WEIGHED = ("bias", "disagreement")
"""Doubts that a diagnosis weighs itself against causes in the engine: they keep no channel out of it."""
_BELOW = "below "
_TOLD = 3


@dataclass(frozen=True)
class VisitRead:
    """What the runs of a visit hold for a diagnosis.

    `observations` are of the runs with usable points in the newest block; `others` the mean readings beside
    the gas path; `left_out` tells of points, channels and runs that are not used, and why; `cautions` of
    gates.
    """

    runs: tuple[VisitRun, ...]
    observations: tuple[Observation, ...]
    others: Mapping[str, float]
    findings: tuple[Finding, ...]
    left_out: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class _RunRead:
    run: VisitRun
    contents: RunContents
    findings: tuple[Finding, ...]


def visit_read(runs: Sequence[VisitRun], basis: ReductionBasis, doubts: Doubts) -> VisitRead:
    """Read the runs of one visit, given in order of time."""
    read: list[_RunRead] = []
    block, limit_set = 0, runs[0].sheet.limit_set
    for run in runs:
        if run.sheet.limit_set != limit_set:  # other approved work: never mixed either
            block, limit_set = block + 1, run.sheet.limit_set
        found = tuple(doubts(run.recording, run.sheet, basis.type_file))
        barring = [f for f in found if f.kind not in WEIGHED]
        contents = read_run(run.recording, run.sheet, basis.type_file, findings=barring, first_block=block)
        read.append(_RunRead(run, contents, found))
        block = contents.last_block
    return _newest(read, basis)


def _newest(read: Sequence[_RunRead], basis: ReductionBasis) -> VisitRead:
    usable, left_out = _usable(read, basis)
    newest = max((p.block for points in usable for p in points), default=0)
    observations, others, cautions = [], [], []
    for r, points in zip(read, usable, strict=True):
        own = [p for p in points if p.block == newest]
        if len(own) < len(points):
            left_out.append(
                f"run {r.run.sheet.run}: {counted(len(points) - len(own), 'point')} from before an "
                "adjustment or other work are not mixed with those after it"
            )
        if not own:
            continue
        try:
            observations.append(observation(own, r.run.sheet, basis))
        except InputError as error:
            left_out.append(error.what.rstrip("."))
            continue
        left_out += _channels_left_out(r, own, observations[-1], basis)
        others.append(other_readings(r.contents, own, basis.type_file))
        cautions += _cautions(r, own, basis)
    return VisitRead(
        tuple(r.run for r in read),
        tuple(observations),
        _mean(others),
        tuple(f for r in read for f in r.findings),
        tuple(dict.fromkeys(left_out)),
        tuple(dict.fromkeys(cautions)),
    )


def _usable(read: Sequence[_RunRead], basis: ReductionBasis) -> tuple[list[list[PointData]], list[str]]:
    """Usable points of every run, and why others are not."""
    out, told = [], []
    for r in read:
        bare = _without_doubted(r.contents.points)
        reasons = {p.id: _why_not(p, bare, basis) for p in bare}
        out.append([p for p in r.contents.points if not reasons[p.id]])
        if not bare:
            told.append(f"run {r.run.sheet.run} holds no steady point")
        told += _together(r.run.sheet.run, reasons)
    return out, told


def _together(run: str, reasons: Mapping[str, tuple[str, ...]]) -> list[str]:
    """Reasons against points, points with the same reason together."""
    by_reason: dict[str, list[str]] = {}
    for point, why in reasons.items():
        if why:
            by_reason.setdefault("; ".join(why[:_TOLD]), []).append(point)
    out = []
    for reason, points in by_reason.items():
        whole = len(points) == len(reasons)
        which = f"run {run}, all {len(points)} holds" if whole else f"point {', '.join(points)}"
        out.append(f"{which}: {reason}")
    return out


def _without_doubted(points: Sequence[PointData]) -> list[PointData]:
    """The points without channels that are in doubt at any of them."""
    doubted = {c for p in points for c, mean in p.channels.items() if mean.findings}
    return [
        replace(
            p, channels={c: m for c, m in p.channels.items() if c not in doubted}, random_correlation=None
        )
        for p in points
    ]


def _why_not(p: PointData, points: Sequence[PointData], basis: ReductionBasis) -> tuple[str, ...]:
    reasons = why_not_usable(p, points, basis)
    torque = basis.roles.get("torque", "")
    if torque not in p.channels:  # power is not known by it, so it cannot tell that a hold has too little
        reasons = tuple(r for r in reasons if not r.startswith(_BELOW))
    return reasons


def _channels_left_out(
    r: _RunRead, own: Sequence[PointData], seen: Observation, basis: ReductionBasis
) -> list[str]:
    """Channels of a diagnosis that this run cannot use, each with the reason."""
    texts = {f.id: f.text for f in r.findings}
    names = {c.id: c.name for c in basis.type_file.channel}
    out = []
    for channel in diagnosis_roles(basis).values():
        if channel in seen.channels:
            continue
        found = [i for p in own if channel in p.channels for i in p.channels[channel].findings]
        why = texts.get(found[0], "in doubt") if found else "not recorded at every point"
        out.append(f"run {r.run.sheet.run}: {names[channel]} ('{channel}'): {why}")
    return out


def _cautions(r: _RunRead, own: Sequence[PointData], basis: ReductionBasis) -> list[str]:
    failed = [g.text for g in gate_states(basis.type_file, r.run.sheet, own) if bars(g)]
    return [
        f"Run {r.run.sheet.run} was used though a condition of a good run does not hold: {t}." for t in failed
    ]


def _mean(others: Sequence[Mapping[str, float]]) -> dict[str, float]:
    names = dict.fromkeys(n for o in others for n in o)
    return {n: sum(o[n] for o in others if n in o) / sum(n in o for o in others) for n in names}


KINDS = {
    "gas temperature": ("measured_gas_temperature", "T3", "T5"),
    "gas pressure": ("p3", "p45"),
    "power": ("power", "dynamometer_power"),
    "fuel flow": ("fuel_flow", "fuel_flow_by_volume"),
}
"""Kinds of sensors with the outputs that each sees."""
_ROLES_OF_KIND = {
    "gas temperature": (
        "measured_gas_temperature",
        "compressor_discharge_temperature",
        "exhaust_temperature",
    ),
    "gas pressure": ("compressor_discharge_pressure", "interturbine_pressure"),
    "power": ("torque", "dynamometer_torque"),
    "fuel flow": ("fuel_mass_flow", "fuel_volume_flow"),
}


def kinds_missing(read: VisitRead, basis: ReductionBasis) -> list[str]:
    """Kinds of sensors of which no run has one, each as a sentence."""
    seen = {output for o in read.observations for output in o.observed}
    out = []
    for kind, outputs in KINDS.items():
        if seen.isdisjoint(outputs):
            roles = _ROLES_OF_KIND[kind]
            channels = [c.id for role in roles for c in channels_of(basis.type_file, role)]  # type: ignore[arg-type]
            told = f" ({joined(channels)})" if channels else ""
            out.append(f"No {kind}{told} can be used, so what shows there alone is not seen.")
    return out
