"""Checks on the aircraft, compared with the bench run of the engine and told in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.installation.airframe import airframe
from spoolwright.crafts.installation.calc import Against, Bench, Checks, Told, against_bench
from spoolwright.crafts.installation.doubt import doubts_of
from spoolwright.crafts.installation.manual import ManualVerdict, judge_by_manual, source_of
from spoolwright.crafts.installation.model import (
    Agreement,
    CheckReading,
    CheckResult,
    InstallationResult,
    Interval,
    TrendTold,
)
from spoolwright.crafts.installation.reading import checks_of
from spoolwright.crafts.installation.trend import (
    LEAST_CHECKS,
    LEAST_HOURS,
    Line,
    robust_line,
    zero_margin,
)
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.shop.power_check import PowerCheck
from spoolwright.units import from_inner

WIDTH = 1.96
"""Half width of a 95 % interval in standard uncertainties."""
COARSE = 0.08
"""Half width of the interval of power above which a check cannot tell whether the engine has changed."""
ADVISORY = "Advisory: the flight manual's power check rules. A difference from the bench is a reason to look."
CAUTIONS = (
    "The readings are those of the aircraft's gauges; who acts on them looks at the gauges first.",
    "Nothing here extends a limit, an interval between checks or a life.",
)


@dataclass(frozen=True)
class Subject:
    """Which engine, on which run, under which rules."""

    engine_serial: str
    bench_run: str
    type_file: TypeFile
    power_check: PowerCheck
    bench: Bench


def compare_checks(
    readings: Sequence[CheckReading], subject: Subject, confirmed: Sequence[bool] = ()
) -> InstallationResult:
    """What the checks of one installation say against the bench run, in the order of the readings.

    Raises
    ------
    InputError
        A reading cannot be what it is called.
    """
    frame = airframe(subject.power_check)
    checks = checks_of(readings, subject.type_file)
    found = against_bench(checks, subject.bench, frame)
    doubts = doubts_of(readings, subject.type_file, subject.bench, frame)
    held = list(confirmed) or [False] * len(readings)
    used = [bool(found.solved[i]) and (not d or held[i]) for i, d in enumerate(doubts)]
    results = [_result(i, r, checks, found, subject, doubts[i], used[i]) for i, r in enumerate(readings)]
    rating = rating_named(subject.type_file, subject.power_check.rating)
    m = subject.power_check.manual
    return InstallationResult(
        type_id=subject.type_file.type.id,
        demonstration=subject.type_file.type.demonstration,
        engine_serial=subject.engine_serial,
        rating=rating.name,
        bench_run=subject.bench_run,
        bench_margin=_percent(found.bench_margin, found.bench_margin_uncertainty),
        source=f"{m.title}, {source_of(subject.power_check)}",
        advisory=ADVISORY,
        checks=tuple(results),
        trend=told_trend(np.array([r.hours for r in readings]), found.margin, np.array(used, dtype=bool)),
        cautions=CAUTIONS,
    )


def _result(
    i: int,
    reading: CheckReading,
    checks: Checks,
    found: Against,
    subject: Subject,
    doubts: tuple[str, ...],
    used: bool,
) -> CheckResult:
    verdict = judge_by_manual(reading, subject.power_check, subject.type_file)
    base = CheckResult(
        checked_on=reading.checked_on,
        hours=reading.hours,
        manual=verdict.outcome,
        manual_sentence=verdict.sentence,
        manual_limit=verdict.limit,
        manual_margin=verdict.margin,
        agreement="cannot tell",
        sentence="The engine model does not run at these readings: nothing can be compared.",
        doubts=doubts,
        used=used,
    )
    if not found.solved[i]:
        return base
    power, u = float(found.power.value[i]), float(found.power.uncertainty[i])
    hotter = Interval(
        value=float(found.gas_temperature.value[i]),
        half_width=WIDTH * float(found.gas_temperature.uncertainty[i]),
        unit="K",
    )
    agreement, sentence = _agreement(power, u, hotter, doubts, used)
    unit = subject.power_check.check.sheet[0].torque.unit
    torque = float(found.expected_power[i]) / (float(checks.power_turbine_speed[i]) * math.pi / 30.0)
    return base.model_copy(
        update={
            "agreement": agreement,
            "sentence": sentence,
            "expected_torque": from_inner(torque, unit),
            "power": _percent(math.expm1(power), u),
            "gas_temperature": hotter,
            "speed": _percent(math.expm1(float(found.speed.value[i])), float(found.speed.uncertainty[i])),
            "margin": _percent(float(found.margin.value[i]), float(found.margin.uncertainty[i])),
            "reading_uncertainty": 100.0 * float(found.margin.reading[i]),
        }
    )


def _percent(value: float, uncertainty: float) -> Interval:
    return Interval(value=100.0 * value, half_width=100.0 * WIDTH * uncertainty, unit="%")


def _agreement(
    power: float, u: float, hotter: Interval, doubts: tuple[str, ...], used: bool
) -> tuple[Agreement, str]:
    """Whether power at this MGT is that of the bench, in words."""
    if doubts and not used:
        return "cannot tell", "In doubt, left out of the trend: " + " ".join(doubts)
    half, part = WIDTH * u, math.expm1(power)
    size = f"{signed(100 * part, 1)} % ± {100 * half:.1f} %"
    if half > COARSE:
        return "cannot tell", f"Power against the bench {size}: too coarse to tell a change."
    if abs(part) <= half:
        return "agrees", f"Power agrees with the bench run: {size} at the MGT read."
    more = "more" if power > 0 else "less"
    hot = (
        f"{abs(hotter.value):.0f} K ± {hotter.half_width:.0f} K {'hotter' if hotter.value > 0 else 'cooler'}"
    )
    return "does not agree", f"{more.capitalize()} power than on the bench: {size}; {hot} at this power."


def signed(value: float, digits: int) -> str:
    """A number with its sign, a true minus."""
    return f"{value:+.{digits}f}".replace("-", "−")


def told_trend(hours: FloatArray, margin: Told, used: FloatArray) -> TrendTold:
    """The trend of the margin in words; hours may come in any order."""
    keep = np.asarray(used, dtype=bool)
    kept = replace(
        margin,
        value=100.0 * margin.value[keep],
        lasting=100.0 * margin.lasting[:, keep],
        reading=100.0 * margin.reading[keep],
    )
    n = int(keep.sum())
    line = robust_line(hours[keep], kept)
    if line is None:
        text = (
            f"Cannot tell a trend: {n} check(s) are used; {LEAST_CHECKS} over {LEAST_HOURS:.0f} h are needed."
        )
        return TrendTold(sentence=text, checks=n)
    return _told_line(line, hours[keep])


def _told_line(line: Line, hours: FloatArray) -> TrendTold:
    zero, now = zero_margin(line), float(hours.max())
    half = line.factor() * math.sqrt(float(line.covariance[1, 1])) * 100.0
    slope = 100.0 * line.slope
    level, u = line.at(now)
    at = np.linspace(float(hours.min()), now, 25)
    drawn = [(float(h), *line.at(float(h))) for h in at]
    return TrendTold(
        sentence=_sentence(slope, half, level, line.factor() * u, zero.low - now, zero.high - now),
        checks=hours.size,
        level=level,
        slope_per_100_h=slope,
        slope_half_width=half,
        zero_at=_finite(zero.hours),
        zero_low=_finite(zero.low),
        zero_high=_finite(zero.high),
        line=tuple((h, v, line.factor() * s) for h, v, s in drawn),
    )


def _finite(x: float) -> float | None:
    return x if math.isfinite(x) else None


def _sentence(slope: float, half: float, level: float, level_half: float, low: float, high: float) -> str:
    stands = f"Margin {signed(level, 1)} % ± {level_half:.1f} % at the last check; "
    per = f"{signed(slope, 2)} % ± {half:.2f} % for each 100 h"
    if level + level_half <= 0.0:
        return f"{stands}it is used up. {per}."
    if math.isfinite(low) and math.isfinite(high):
        if high <= 0.0:
            return f"{stands}it falls, {per}; it has reached zero."
        when = f"in {low:.0f} to {high:.0f} h" if low > 0.0 else f"within {high:.0f} h, or reached already"
        return f"{stands}it falls, {per}; zero margin {when} (95 %)."
    no_fall = "a fall is not told apart from the scatter" if slope - half <= 0.0 else "it does not fall"
    soonest = f"; not before {low:.0f} h (95 %)" if math.isfinite(low) and low > 0.0 else ""
    return f"{stands}{no_fall}, {per}. Time to zero margin: cannot tell{soonest}."


def verdicts_of(readings: Sequence[CheckReading], subject: Subject) -> list[ManualVerdict]:
    """What the flight manual says of each check."""
    return [judge_by_manual(r, subject.power_check, subject.type_file) for r in readings]
