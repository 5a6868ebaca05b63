"""Rules of the test in a visit: limits exceeded, the log against the run sheets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from spoolwright.crafts.testcell.model import Assessment
from spoolwright.crafts.testcell.performance.basis import inner
from spoolwright.crafts.testcell.visit.model import (
    AdjustmentMade,
    Exceeded,
    PowerMargin,
    RunAttached,
    RunsAssessed,
)
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.crafts.typefile.model import TypeFile

_READ_AS_LIMITS = ("start_peak_mgt",)
"""Derived quantities that are an extreme of a channel, not a figure of performance."""
_WIDTH = 1.96
"""Half width of a 95 % interval in standard uncertainties."""
APART_S = 60.0
"""Log and sheet name the same adjustment if they differ by no more than this."""


def exceeded(assessment: Assessment, type_file: TypeFile) -> tuple[Exceeded, ...]:
    """Limits on readings of channels that a run did not meet; performance at ratings is none of them."""
    limits = {limit.id: limit for limit in type_file.limit}
    channels = {c.id for c in type_file.channel}
    return tuple(
        Exceeded(
            verdict=v.id,
            limit=v.limit,
            name=v.name,
            run=v.run or "",
            sentence=v.sentence,
            action=v.action,
            source=v.source,
        )
        for v in assessment.verdicts
        if v.outcome == "does_not_meet"
        and v.limit in limits
        and (limits[v.limit].quantity in channels or limits[v.limit].quantity in _READ_AS_LIMITS)
    )


def power_margin(assessed: RunsAssessed, type_file: TypeFile) -> PowerMargin | None:
    """The margin of power of the newest block, at the rating that the data sheet names."""
    rating = rating_named(type_file, type_file.data_sheet.rating)
    power = inner(rating.power)
    own = [
        r
        for r in assessed.calculation.result.get("rated", [])
        if r["rating"] == rating.id and r["quantity"] == "power_at_rated_mgt" and r["approved"] is not None
    ]
    if not own:
        return None
    newest = max(own, key=lambda r: r["block"] or 0)
    half = 100.0 * _WIDTH * (newest["uncertainty"] or 0.0) / power
    return PowerMargin(value=100.0 * (newest["approved"] / power - 1.0), half_width=half)


def differences(runs: Sequence[RunAttached], log: Iterable[AdjustmentMade]) -> list[str]:
    """Where the run sheets and the signed log do not tell the same adjustments, a sentence each."""
    logged = list(log)
    told = []
    for run in runs:
        own = [a for a in logged if a.run == run.run]
        left = list(own)
        for a in run.adjustments:
            same = _same(a.kind, a.at_s, left)
            if same is None:
                told.append(
                    f"Run {run.run}: the run sheet tells {words(a.kind)} at {a.at_s:.0f} s by {a.by}; "
                    "the signed log has no such adjustment."
                )
            else:
                left.remove(same)
        told += [
            f"Run {run.run}: {words(a.what)} at {a.at_s:.0f} s is in the signed log; "
            "the run sheet does not tell it, so points before and after it were mixed."
            for a in left
            if a.at_s is not None
        ]
    known = {r.run for r in runs}
    stray = Counter(a.run for a in logged if a.run not in known)
    told += [f"{n} adjustment(s) logged for run {run}, which is not attached." for run, n in stray.items()]
    return told


def _same(kind: str, at_s: float, log: Iterable[AdjustmentMade]) -> AdjustmentMade | None:
    """The logged adjustment of a kind nearest in time, if near enough; one without a time fits any."""
    near = [
        (abs((a.at_s if a.at_s is not None else at_s) - at_s), n, a)
        for n, a in enumerate(log)
        if a.what == kind
    ]
    return min((x for x in near if x[0] <= APART_S), default=(0.0, 0, None))[2]


def words(kind: str) -> str:
    """An adjustment's name in words."""
    spoken = {"vane_rigging": "vane rigging", "bleed_rigging": "bleed rigging", "mgt_trim": "MGT trim"}
    return spoken.get(kind, kind.replace("_", " "))
