"""Readings of steady holds that are more than a channel's mean: idle, torquemeter check, MGT trim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from spoolwright.core.reduction.point import ChannelMean, PointData
from spoolwright.crafts.testcell.acceptance.reading_parts import Asked, asked_for, channel_input, channels_of
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.course import Course
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES, Limit

_LOADED = 0.3
"""Share of full torque under which a torquemeter check tells nothing [-]."""
_SCATTER = "scatter"


def idle_readings(course: Course, idles: Sequence[PointData]) -> list[ScalarReading]:
    """Channel means of every idle hold for the limits of idle; of every steady one for those of any hold."""
    data = course.data
    return [
        _mean_reading(data, limit, point)
        for limit in data.limits
        if limit.regime in ("idle", "steady") and limit.quantity not in DERIVED_QUANTITIES
        for point in idles
        if limit.regime == "idle" or point.steady
    ]


def _mean_reading(data: RunData, limit: Limit, point: PointData) -> ScalarReading:
    known = {c.id: c.name for c in data.type_file.channel}
    asked = Asked(
        quantity=limit.quantity,
        regime=limit.regime,
        title=f"{known.get(limit.quantity, limit.quantity)}: mean at ground idle",
        calculation="testcell.acceptance.steady_readings.idle_readings",
        formula="mean over the last window of the idle hold",
        reference=source_text(data.type_file, limit.source),
        channels=(limit.quantity, *channels_of(limit)),
        from_s=point.from_s,
        to_s=point.to_s,
    )
    mean = point.channels.get(limit.quantity)
    if mean is None:
        made = asked.not_made(data, f"'{limit.quantity}' was not recorded")
    else:
        inputs = [channel_input(data, limit.quantity, mean.mean, point.from_s, point.to_s)]
        made = asked.made(data, mean.mean, mean.uncertainty, inputs=inputs, shares=_shares(mean))
        made = replace(made, degrees_of_freedom=_freedom(mean))
    conditions = {c: m.mean for c, m in point.channels.items() if c in channels_of(limit)}
    return replace(made, conditions=conditions, point=point.id, block=point.block, limit=limit.id)


def _shares(mean: ChannelMean) -> list[Share]:
    return [Share(s.source, abs(s.uncertainty)) for s in mean.systematic] + [Share(_SCATTER, mean.random)]


def _freedom(mean: ChannelMean) -> float:
    """Effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.2b)."""
    parts = [(s.uncertainty, s.degrees_of_freedom) for s in mean.systematic]
    parts.append((mean.random, mean.random_degrees_of_freedom))
    below = sum(u**4 / nu for u, nu in parts if math.isfinite(nu) and nu > 0.0)
    return mean.uncertainty**4 / below if below > 0.0 else math.inf


def torquemeter_readings(course: Course, points: Sequence[PointData]) -> list[ScalarReading]:
    """Dynamometer over torquemeter at every loaded point, against the conformation of the data plate."""
    data = course.data
    if not asked_for(data, "torque_conformation_difference"):
        return []
    torque, dynamometer = data.of_role("torque"), data.of_role("dynamometer_torque")
    least = _LOADED * course.rules.full_torque
    out = []
    for point in points:
        if torque is None or dynamometer is None or not {torque, dynamometer} <= point.channels.keys():
            continue
        if point.channels[torque].mean >= least:
            out.append(_conformation(data, point, torque, dynamometer))
    return out


def _conformation(data: RunData, point: PointData, torque: str, dynamometer: str) -> ScalarReading:
    asked = _at_point(
        data,
        point,
        "torque_conformation_difference",
        "Torquemeter against dynamometer",
        "size of (dynamometer torque / indicated torque) / conformation of the data plate - 1",
        (torque, dynamometer),
    )
    plate = data.sheet.engine.torque_conformation
    if plate is None:
        return _placed(asked.not_made(data, "the run sheet gives no torque conformation"), point)
    indicated, braked = point.channels[torque], point.channels[dynamometer]
    if min(indicated.mean, braked.mean) <= 0.0:
        return _placed(asked.not_made(data, "the torques read nothing, or backwards"), point)
    implied = braked.mean / indicated.mean
    shares = _ratio_shares(braked, indicated, implied / plate)
    inputs = [
        channel_input(data, dynamometer, braked.mean, point.from_s, point.to_s),
        channel_input(data, torque, indicated.mean, point.from_s, point.to_s),
        Input(name="conformation implied", value=implied, unit="1", origin="dynamometer / indicated"),
        Input(name="conformation of the data plate", value=plate, unit="1", origin="run sheet, engine"),
    ]
    u = math.sqrt(sum(s.uncertainty**2 for s in shares))
    return _placed(asked.made(data, abs(implied / plate - 1.0), u, inputs=inputs, shares=shares), point)


def _ratio_shares(top: ChannelMean, bottom: ChannelMean, ratio: float) -> list[Share]:
    """Shares of a ratio's uncertainty; an error that both channels see enters once, with both signs."""
    effect: dict[str, float] = {}
    for mean, sign in ((top, 1.0), (bottom, -1.0)):
        for s in mean.systematic:
            effect[s.source] = effect.get(s.source, 0.0) + sign * s.uncertainty / mean.mean
    shares = [Share(source, abs(ratio * e)) for source, e in effect.items()]
    scatter = abs(ratio) * math.hypot(top.random / top.mean, bottom.random / bottom.mean)
    return [*shares, Share(_SCATTER, scatter)]


def trim_readings(course: Course, points: Sequence[PointData]) -> list[ScalarReading]:
    """Indicated MGT less the mean of its probes, against the trim of the class on the data plate."""
    data = course.data
    if not asked_for(data, "mgt_trim_difference"):
        return []
    mgt = data.of_role("measured_gas_temperature")
    if mgt is None:
        return []
    station = data.channel(mgt).station
    probes = [
        c.id
        for c in data.type_file.channel
        if c.role == "other" and c.dimension == "temperature" and c.station == station and station
    ]
    return [_trim(data, p, mgt, [c for c in probes if c in p.channels]) for p in points if mgt in p.channels]


def _trim(data: RunData, point: PointData, mgt: str, probes: list[str]) -> ScalarReading:
    asked = _at_point(
        data,
        point,
        "mgt_trim_difference",
        "MGT indicated against trimmed",
        "size of (indicated MGT - mean of its probes) - trim of the class on the data plate",
        (mgt, *probes),
    )
    plate, fitted = data.type_file.data_plate, data.sheet.engine.mgt_trim_class
    if plate is None or fitted not in plate.mgt_trim_classes:
        why = (
            "the run sheet gives no MGT trim class" if fitted is None else f"trim class '{fitted}' is unknown"
        )
        return _placed(asked.not_made(data, why), point)
    if not probes:
        return _placed(
            asked.not_made(data, "the probes of the MGT harness were not recorded one by one"), point
        )
    indicated = point.channels[mgt]
    means = [point.channels[c] for c in probes]
    mean = sum(m.mean for m in means) / len(means)
    trim = plate.mgt_trim_classes[fitted]
    shares = _difference_shares(indicated, means)
    inputs = [
        channel_input(data, mgt, indicated.mean, point.from_s, point.to_s),
        Input(
            name=f"mean of {len(means)} probes", value=mean, unit="K", origin=f"channels {', '.join(probes)}"
        ),
        Input(name=f"trim of class {fitted}", value=trim, unit="K", origin="type file, data plate"),
    ]
    u = math.sqrt(sum(s.uncertainty**2 for s in shares))
    value = abs(indicated.mean - mean - trim)
    return _placed(asked.made(data, value, u, inputs=inputs, shares=shares), point)


def _difference_shares(indicated: ChannelMean, probes: Sequence[ChannelMean]) -> list[Share]:
    effect = {s.source: s.uncertainty for s in indicated.systematic}
    for probe in probes:
        for s in probe.systematic:
            effect[s.source] = effect.get(s.source, 0.0) - s.uncertainty / len(probes)
    scatter = math.hypot(indicated.random, *(p.random / len(probes) for p in probes))
    return [*(Share(k, abs(v)) for k, v in effect.items()), Share(_SCATTER, scatter)]


def _at_point(
    data: RunData, point: PointData, quantity: str, title: str, formula: str, channels: tuple[str, ...]
) -> Asked:
    plate = data.type_file.data_plate
    return Asked(
        quantity=quantity,
        regime="steady",
        title=f"{title}, point {point.id}",
        calculation="testcell.steady_readings",
        formula=formula,
        reference=source_text(data.type_file, plate.source) if plate else "no data plate in the type file",
        channels=channels,
        from_s=point.from_s,
        to_s=point.to_s,
    )


def _placed(reading: ScalarReading, point: PointData) -> ScalarReading:
    return replace(
        reading, point=point.id, rating=point.rating, schedule_item=point.schedule_item, block=point.block
    )
