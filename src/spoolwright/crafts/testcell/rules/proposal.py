"""The proposed disposition as a sentence. Never a signature: a person accepts or rejects."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.model import Disposition, Figure, ScheduleState, Verdict
from spoolwright.crafts.testcell.wording import interval, joined, percent
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES
from spoolwright.crafts.typefile.model import TypeFile

_NAMED = 6
"""More readings than this are counted, not named, in the sentence; the list of verdicts names them all."""


def disposition(
    type_file: TypeFile,
    verdicts: Sequence[Verdict],
    schedule: Sequence[ScheduleState],
    earlier_runs: Collection[str] = (),
) -> Disposition:
    """What is proposed on the strength of all verdicts, and what stays open.

    `earlier_runs` stood under another limit set (as received, before work): they are told, and decide
    nothing.
    """
    repeated = superseded(type_file, verdicts)
    before_work = [v for v in verdicts if v.run in earlier_runs]
    standing = [v for v in verdicts if v.id not in repeated and v.run not in earlier_runs]
    failing = [v for v in standing if v.outcome == "does_not_meet"]
    untold = [v for v in standing if v.outcome == "cannot_tell"]
    thin = _thinnest(standing)
    bad = [s for s in schedule if s.state == "not_satisfactory"]
    parts = [_opening(failing, untold, standing, bad)]
    if thin is not None and not failing:
        parts.append(f"Thinnest: {_thin_words(thin)}.")
    earlier = [
        v for v in verdicts if v.id in repeated and v.outcome == "does_not_meet" and v.run not in earlier_runs
    ]
    if earlier:
        parts.append(f"Not met before an adjustment, met since: {joined(_names(earlier))}.")
    missed = sum(v.outcome == "does_not_meet" for v in before_work)
    if before_work:
        parts.append(
            f"Before the work now judged: {missed or 'no'} reading{'' if missed == 1 else 's'} did not meet."
        )
    open_items = [s for s in schedule if s.state != "shown"]
    if open_items:
        parts.append(f"Open: {joined([_open_words(s) for s in open_items])}.")
    parts.append("Accepted by: ____")
    unsettled = untold or bad or not standing
    outcome = "some_do_not_meet" if failing else ("cannot_tell" if unsettled else "all_meet")
    return Disposition(
        outcome=outcome,
        sentence=" ".join(parts),
        thinnest=thin.id if thin is not None else None,
        open=tuple(f"{s.name}: {s.text}" for s in open_items),
        superseded=tuple(v.id for v in verdicts if v.id in repeated),
    )


def superseded(type_file: TypeFile, verdicts: Sequence[Verdict]) -> set[str]:
    """Verdicts of an earlier block that a later block has shown anew.

    Only readings of what an adjustment is made for: performance and handling. An operating limit that was
    exceeded stays exceeded.
    """
    limits = {limit.id: limit for limit in type_file.limit}
    newest: dict[str, int] = {}
    for v in verdicts:
        if v.outcome != "cannot_tell" and v.block is not None:
            newest[v.limit] = max(newest.get(v.limit, v.block), v.block)
    out = set()
    for v in verdicts:
        limit = limits.get(v.limit)
        if limit is None or v.block is None or v.block >= newest.get(v.limit, v.block):
            continue
        handling = limit.quantity in DERIVED_QUANTITIES and limit.regime in ("transient", "coast_down")
        if limit.regime == "rating" or handling:
            out.add(v.id)
    return out


def _opening(
    failing: Sequence[Verdict],
    untold: Sequence[Verdict],
    standing: Sequence[Verdict],
    bad: Sequence[ScheduleState],
) -> str:
    if failing:
        told = "; ".join(_failing_words(v) for v in failing[:_NAMED])
        rest = f"; and {len(failing) - _NAMED} more" if len(failing) > _NAMED else ""
        more = f" {len(untold)} cannot be told yet." if untold else ""
        return f"{_count(failing)} not meet: {told}{rest}.{more}"
    if not standing:
        return "Nothing could be judged."
    if untold:
        return f"Cannot tell yet: {'; '.join(_untold_words(untold))}. All other readings meet their limits."
    if bad:
        return f"All readings meet their limits, but {_checks(len(bad))} signed not satisfactory."
    return "All readings meet their limits."


def _checks(count: int) -> str:
    return "one check is" if count == 1 else f"{count} checks are"


def _untold_words(untold: Sequence[Verdict]) -> list[str]:
    """Readings by the reason they share."""
    groups: dict[tuple[str, ...], list[Verdict]] = {}
    for v in untold:
        groups.setdefault(v.why, []).append(v)
    return [
        f"{joined(_names(own)) if len(own) <= 2 else f'{len(own)} readings'} ({'; '.join(why)})"
        for why, own in groups.items()
    ]


def _count(failing: Sequence[Verdict]) -> str:
    return "One reading does" if len(failing) == 1 else f"{len(failing)} readings do"


def _failing_words(v: Verdict) -> str:
    if v.margin is None:
        return v.name
    return f"{v.name}, by {_figure_words(_flipped(v.margin))}"


def _flipped(f: Figure) -> Figure:
    return f.model_copy(update={"value": -f.value})


def _thinnest(standing: Sequence[Verdict]) -> Verdict | None:
    known = [v for v in standing if v.probability_conforming is not None and v.margin is not None]
    uncertain = [v for v in known if v.margin is not None and v.margin.standard_uncertainty]
    return min(uncertain, key=lambda v: v.probability_conforming or 0.0, default=None)


def _thin_words(v: Verdict) -> str:
    chance = percent(v.probability_conforming or 0.0)
    return f"{v.name}, {_figure_words(v.margin)}, {chance} probability of conforming"


def _figure_words(f: Figure | None) -> str:
    if f is None:
        return ""
    shown = Shown(f.dimension, f.shown_in)
    return interval(f.value, shown, f.standard_uncertainty or 0.0, difference=f.difference)


def _names(verdicts: Sequence[Verdict]) -> list[str]:
    return list(dict.fromkeys(v.name for v in verdicts))


def _open_words(s: ScheduleState) -> str:
    words = {
        "owed_again": " (owed again)",
        "not_satisfactory": " (not satisfactory)",
        "not_shown": " (not shown)",
    }
    return f"{s.name}{words.get(s.state, '')}"
