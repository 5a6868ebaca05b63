"""Every limit of a run's set against every reading of the visit that it is for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from spoolwright.core.measurement.propagation import effective_degrees_of_freedom
from spoolwright.core.reduction.estimate import SCATTER
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.acceptance.reading_parts import channels_of
from spoolwright.crafts.testcell.model import GateState, Input, Verdict
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.rules.verdict import Judging, judge, worst_of
from spoolwright.crafts.testcell.run.thin import out_of_date
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES, Limit
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.units import INNER_UNIT

_NOT_SHOWN = {
    "start": "Start the engine on record.",
    "idle": "Hold the engine at idle on record.",
    "steady": "Take a steady hold in which the limit counts.",
    "transient": "Run the acceleration, deceleration or load step of the schedule on record.",
    "rating": "Take the performance points of the schedule.",
    "shut_down": "Record the shut-down.",
    "coast_down": "Record the coast-down to standstill.",
    "run": "Record the channel and repeat, or give what the run sheet asks for.",
}


def steady_readings(
    points: Sequence[PointData], limits: Sequence[Limit], type_file: TypeFile, sheet: RunSheet
) -> list[ScalarReading]:
    """Channel means of the holds of one run, for the limits on channels in steady running."""
    names = {c.id: c for c in type_file.channel}
    wanted = [x for x in limits if x.regime == "steady" and x.quantity in names]
    found = [_mean(p, x, type_file) for x in wanted for p in points if x.quantity in p.channels]
    late = {x.quantity: out_of_date(type_file, sheet, [x.quantity, *channels_of(x)]) for x in wanted}
    return [
        replace(r, thin=own.why, mend=own.mend) if (own := late[r.quantity]) is not None else r for r in found
    ]


def _mean(point: PointData, limit: Limit, type_file: TypeFile) -> ScalarReading:
    mean = point.channels[limit.quantity]
    channel = next(c for c in type_file.channel if c.id == limit.quantity)
    parts = [(abs(s.uncertainty), s.degrees_of_freedom) for s in mean.systematic]
    parts.append((mean.random, mean.random_degrees_of_freedom))
    where = f"channel {channel.id}, run {point.run}, {point.from_s:.1f} s to {point.to_s:.1f} s"
    unit = INNER_UNIT[channel.dimension]
    return ScalarReading(
        quantity=channel.id,
        regime="steady",
        value=mean.mean,
        uncertainty=mean.uncertainty,
        unit=unit,
        run=point.run,
        block=point.block,
        from_s=point.from_s,
        to_s=point.to_s,
        title=f"{channel.name}, mean at point {point.id}",
        calculation="measurement.averaging.hold_mean",
        formula="mean over the averaging window",
        reference="JCGM 100:2008, 4.2 and 4.3",
        inputs=(Input(name=channel.name, value=mean.mean, unit=unit, origin=where),),
        point=point.id,
        rating=point.rating,
        schedule_item=point.schedule_item,
        degrees_of_freedom=_freedom(parts),
        shares=(*(Share(s.source, abs(s.uncertainty)) for s in mean.systematic), Share(SCATTER, mean.random)),
        conditions={name: m.mean for name, m in point.channels.items()},
        findings=mean.findings,
        limit=limit.id,
    )


def _freedom(parts: Sequence[tuple[float, float]]) -> float:
    import numpy as np

    sizes, freedom = np.array([u for u, _ in parts]), np.array([max(nu, 1.0) for _, nu in parts])
    return effective_degrees_of_freedom(sizes, freedom) if sizes.any() else float("inf")


def verdicts_of(
    limits_by_run: Mapping[str, Sequence[Limit]],
    readings: Sequence[ScalarReading],
    gates: Sequence[GateState],
    around: Judging,
) -> list[Verdict]:
    """One verdict a limit and block of a run: the worst of its readings. A limit that no reading is for is
    told.

    `gates` are all gate states that bar; those of a reading's run bar its performance.
    """
    out: list[Verdict] = []
    newest = list(limits_by_run)[-1]
    for limit in dict.fromkeys(x for limits in limits_by_run.values() for x in limits):
        own = [r for r in readings if _is_for(limit, r) and limit in limits_by_run[r.run]]
        found = _by_block(limit, own, gates, around)
        if not found and limit in limits_by_run[newest]:
            found = [_not_shown(limit, newest, bool(own), around)]
        out += found
    return out


def _is_for(limit: Limit, reading: ScalarReading) -> bool:
    if reading.limit is not None:
        return reading.limit == limit.id
    same = reading.quantity == limit.quantity and reading.regime == limit.regime
    return same and (limit.regime != "rating" or reading.rating == limit.rating)


def _by_block(
    limit: Limit, readings: Sequence[ScalarReading], gates: Sequence[GateState], around: Judging
) -> list[Verdict]:
    groups: dict[tuple[str, int], list[Verdict]] = {}
    for reading in readings:
        rests_on = reading.runs or (reading.run,)
        own = replace(around, gates=tuple(g for g in gates if g.run in rests_on))
        verdict = judge(limit, reading, own)
        if verdict is not None:
            groups.setdefault((reading.run, reading.block), []).append(verdict)
    return [worst_of(group) for group in groups.values()]


def _not_shown(limit: Limit, run: str, read: bool, around: Judging) -> Verdict:
    """A limit of the set that nothing in the visit was read for."""
    why = "no reading falls where the limit counts" if read else "no run of this visit shows it"
    source = source_text(around.type_file, limit.source)
    return Verdict(
        id=f"{limit.id}.not_shown",
        limit=limit.id,
        name=limit.name,
        outcome="cannot_tell",
        sentence=f"Cannot tell whether '{limit.name}' is met ({source}): {why}.",
        run=None,
        point=None,
        rating=limit.rating,
        reading=None,
        limit_value=None,
        bound=limit.bound,
        why=(why,),
        next_step=_NOT_SHOWN[limit.regime],
        action=limit.action,
        source=source,
        rests_on=(limit.quantity,) if limit.quantity not in DERIVED_QUANTITIES else (),
    )
