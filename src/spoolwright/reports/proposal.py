"""The first page: the proposal as headline, tally and lines, and what is asked for next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Assessment, Finding, ScheduleState, Verdict
from spoolwright.reports.labels import sources_text, words
from spoolwright.reports.view import Row, in_order, ranked, row, standing

_LEADS = (" Thinnest: ", " Not met before an adjustment", " Open: ", " Accepted by:")
"""How the parts of the disposition's sentence begin that get a line of their own."""


_NAMED = 4
"""More open items than this are counted in the headline, and named below it."""


@dataclass(frozen=True)
class Proposal:
    """The disposition, laid out."""

    text: str
    tally: tuple[tuple[str, str], ...]
    """Outcome and words with its count, worst first; outcomes nobody has are left out."""
    thinnest: Row | None
    earlier: tuple[str, ...]
    """Names of readings not met before an adjustment and met since."""
    open: str
    """What the schedule still asks for, by name where it is little."""


@dataclass(frozen=True)
class Ask:
    """What is asked for next, and the readings that wait for it."""

    outcome: str
    title: str
    why: str
    step: str
    action: str
    source: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class OpenItems:
    """Items of the schedule that wait for the same."""

    state: str
    title: str
    text: str
    names: tuple[str, ...]
    source: str


def proposal(a: Assessment) -> Proposal:
    """The disposition as headline and lines."""
    told = standing(a)
    failing = any(v.outcome == "does_not_meet" for v in told)
    thin = next((v for v in a.verdicts if v.id == a.disposition.thinnest and v.margin), None)
    earlier = [
        v.name for v in a.verdicts if v.id in a.disposition.superseded and v.outcome == "does_not_meet"
    ]
    return Proposal(
        text=_headline(a, told),
        tally=_tally(told),
        thinnest=None if thin is None or failing else row(a, thin),
        earlier=tuple(dict.fromkeys(earlier)),
        open=_open_words(a),
    )


def _open_words(a: Assessment) -> str:
    names = [s.name for s in a.schedule if s.state != "shown"]
    if len(names) > _NAMED:
        return f"{len(names)} items of the test schedule, see what is asked for next."
    return f"{'; '.join(names)}." if names else ""


def _headline(a: Assessment, told: Sequence[Verdict]) -> str:
    opening = a.disposition.sentence
    for lead in _LEADS:
        opening = opening.partition(lead)[0]
    text = opening.partition(": ")[0].rstrip(". ")
    if text.endswith("not meet"):
        text += " its limit" if text.startswith("One ") else " their limits"
    untold = sum(v.outcome == "cannot_tell" for v in told)
    if a.disposition.outcome == "cannot_tell" and untold:
        text = f"{text}: {untold} of {len(told)} readings"
    return f"{text}."


def _tally(told: Sequence[Verdict]) -> tuple[tuple[str, str], ...]:
    counts = {o: sum(v.outcome == o for v in told) for o in ("does_not_meet", "cannot_tell", "meets")}
    verbs = {
        "does_not_meet": ("does not meet its limit", "do not meet their limits"),
        "cannot_tell": ("cannot be told yet", "cannot be told yet"),
        "meets": ("meets its limit", "meet their limits"),
    }
    return tuple((o, f"{n} {verbs[o][n != 1]}") for o, n in counts.items() if n)


def unsettled(a: Assessment) -> list[Finding]:
    """Doubts that bar judgement and that nobody has settled: they are asked for before anything else."""
    return [f for f in a.findings if f.bars_use and not f.corrected_by]


def asks(a: Assessment) -> list[Ask]:
    """Readings that do not meet or cannot be told, together where they wait for the same."""
    waiting: dict[tuple[str, ...], list[Verdict]] = {}
    for v in in_order(standing(a)):
        if v.outcome != "meets":
            action = v.action if v.outcome == "does_not_meet" else ""
            waiting.setdefault((v.outcome, " ".join(_sentences(v.why)), v.next_step, action), []).append(v)
    return [
        Ask(
            outcome=outcome,
            title=_title(outcome, own),
            why=why,
            step=step,
            action=action,
            source=sources_text(v.source for v in own),
            rows=tuple(row(a, v) for v in own),
        )
        for (outcome, why, step, action), own in waiting.items()
    ]


def _title(outcome: str, own: Sequence[Verdict]) -> str:
    if len(own) == 1:
        return own[0].name
    verb = "do not meet their limits" if outcome == "does_not_meet" else "cannot be told yet"
    return f"{len(own)} readings {verb}"


def _sentences(texts: Sequence[str]) -> list[str]:
    return [_sentence(t) for t in texts]


def _sentence(text: str) -> str:
    """A text that begins with a capital and ends with a stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def still_open(a: Assessment) -> list[OpenItems]:
    """Items of the schedule not shown, or open, together where the same is said of them."""
    found: dict[tuple[str, str], list[ScheduleState]] = {}
    for s in a.schedule:
        if s.state != "shown":
            found.setdefault((s.state, s.text), []).append(s)
    return [
        OpenItems(
            state=words(state),
            title=own[0].name if len(own) == 1 else f"{len(own)} items of the test schedule",
            text=_sentence(text),
            names=tuple(s.name for s in own),
            source=sources_text(s.source for s in own),
        )
        for (state, text), own in found.items()
    ]


def surer(a: Assessment) -> list[tuple[str, tuple[str, ...]]]:
    """For readings that meet by a hair: the step that would make it surer, and which wait for it."""
    found: dict[str, list[str]] = {}
    for v in ranked(standing(a)):
        if v.outcome == "meets" and v.next_step:
            found.setdefault(v.next_step, []).append(v.name)
    return [(step, tuple(dict.fromkeys(names))) for step, names in found.items()]
