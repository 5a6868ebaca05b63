"""What people read and sign on cards, as sentences."""

from __future__ import annotations

from collections.abc import Mapping

from spoolwright.crafts.cards.calc import converted, counterpart
from spoolwright.crafts.cards.model import GaugeKnown, WorkPutDown
from spoolwright.crafts.cards.standing import CardState, StepState
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.routes import Measure
from spoolwright.crafts.visit.entry import Entry


def source_words(source: Source | None, documents: Mapping[str, str]) -> str:
    """A document with its revision and paragraph."""
    if source is None:
        return ""
    revision = documents.get(source.document)
    return f"{source.document} revision {revision or 'unknown'}, {source.paragraph}"


def range_words(measure: Measure) -> str:
    """The limit alone: '0.28 to 0.52 mm'."""
    unit = measure.unit.replace("N m", "N·m")
    if measure.min is not None and measure.max is not None:
        return f"{measure.min:.12g} to {measure.max:.12g} {unit}"
    if measure.max is not None:
        return f"at most {measure.max:.12g} {unit}"
    return f"at least {measure.min:.12g} {unit}" if measure.min is not None else "none"


def limit_words(measure: Measure, documents: Mapping[str, str]) -> str:
    """The limit with where it stands."""
    if not measure.limited:
        return "no limit is given: refer to engineering"
    return f"{range_words(measure)} ({source_words(measure.source, documents)})"


def both_units(entered: str, unit: str) -> str:
    """The value as entered, and beside it in the other system: '0.35 mm (0.01378 in)'."""
    other = counterpart(unit)
    beside = f" ({converted(entered, unit, other):.4g} {other.replace('N m', 'N·m')})" if other else ""
    return f"{entered} {unit.replace('N m', 'N·m')}{beside}"


def gauge_words(gauge: GaugeKnown | None, valid: bool) -> str:
    """Which gauge, and whether its calibration holds."""
    if gauge is None:
        return ""
    if gauge.withdrawn:
        return f", {gauge.name} {gauge.id}, withdrawn"
    state = "in date until" if valid else "OUT OF DATE since"
    return f", {gauge.name} {gauge.id}, {state} {gauge.due_on}"


def reading_words(
    measure: Measure, value: str, gauge: str, verdict: str, documents: Mapping[str, str]
) -> str:
    """A reading and its verdict."""
    if verdict == "no limit":
        judged = "no limit is given, no verdict: refer to engineering"
    else:
        judged = f"reading {verdict} limit {limit_words(measure, documents)}"
    return f"{measure.name}: {value}{gauge}: {judged}"


def step_title(card: CardState, state: StepState) -> str:
    """Which step of which card: 'Hot section: build (build_hot_section revision 5), step 3 of 8'."""
    c = card.card
    return f"{c.title} ({c.id} revision {c.revision}), step {state.number} of {len(card.steps)}"


def head(card: CardState, serial: str) -> str:
    run = f", run {card.ref.run} of this card" if card.ref.run > 1 else ""
    return f"Visit {card.ref.visit}, engine {serial}{run}."


def done_shown(card: CardState, state: StepState, serial: str) -> str:
    """Exactly what the doer of a step signs."""
    readings = " ".join(f"{e.body.told}." for e in card.readings(state).values())
    count = card.counted(state)
    lines = count.body.lines if count else ()
    tools = (
        f" Tools and loose items counted: {sum(x.out for x in lines)} out, {sum(x.back for x in lines)} back"
        + "".join(f", {x.found_missing} '{x.item}' missing, search signed" for x in lines if x.found_missing)
        + "."
        if count
        else ""
    )
    source = source_words(state.step.source, card.issued.body.documents)
    text = f"{head(card, serial)} {step_title(card, state)}: {state.step.text} ({source})"
    return f"{text} {readings}{tools}".strip() + " I did this step as written."


def check_shown(card: CardState, state: StepState, serial: str) -> str:
    """Exactly what the independent checker signs."""
    assert state.signed is not None
    by = state.signed.signature.name if state.signed.signature else state.signed.author
    said = " ".join(f"{told}." for told in state.signed.body.readings)
    text = f"{head(card, serial)} {step_title(card, state)}: {state.step.text}"
    return f"{text} {said} Signed by {by}. I looked at the work itself and had no hand in it.".replace(
        "  ", " "
    )


def resume_words(card: CardState) -> str:
    """Where work goes on, and what is to be done again."""
    last, upcoming = card.last_signed, card.in_work
    if upcoming is None:
        return "Every step is signed."
    start = (
        f"Work goes on behind step {last.number}, the last one signed"
        if last
        else "Work begins at the first step; none is signed"
    )
    lost = [m.name for m in upcoming.step.measure if m.id in card.lost(upcoming)]
    again = f" Taken before and to be taken again: {', '.join(lost)}." if lost else ""
    redo = (
        f" All that was done on step {upcoming.number} without a signature is to be done again."
        if card.put_down is not None
        else ""
    )
    return f"{start}: step {upcoming.number} of {len(card.steps)}.{redo}{again}"


def put_down_words(card: CardState, down: Entry[WorkPutDown]) -> str:
    """What was put down, by whom, when and why."""
    body = down.body
    state = card.step(body.step)
    where = f" at step {state.number}, {'begun' if body.begun else 'not begun'}" if state else ""
    to = f" Handed over to {body.to_name}." if body.to_name else ""
    return (
        f"{body.by_name} put the work down on {down.at.day} {down.at:%b at %H:%M} UTC{where}: {body.why}. "
        f"In hand was: {body.in_hand}.{to}"
    )


def put_down_shown(card: CardState, serial: str) -> str:
    """Exactly what a person signs who puts the work down or hands it over."""
    upcoming = card.in_work
    at = f"at step {upcoming.number}, which is not signed" if upcoming else "with every step signed"
    return f"{head(card, serial)} {card.card.title} is put down {at}."


def waive_shown(card: CardState, state: StepState, serial: str) -> str:
    """Exactly what the lead signs about a step that cannot be taken any more."""
    return (
        f"{head(card, serial)} {step_title(card, state)}: {state.step.text} "
        "This was not taken and cannot be; the work goes on without it."
    )


def dispose_shown(card: CardState, told: str, serial: str) -> str:
    """Exactly what the lead signs about a reading that meets no limit."""
    return f"{head(card, serial)} {card.card.title}. {told}. The verdict stays; this is done about it:"


def correct_shown(card: CardState, state: StepState, serial: str) -> str:
    """Exactly what a person signs who corrects a signed step."""
    assert state.signed is not None
    said = " ".join(f"{told}." for told in state.signed.body.readings)
    text = f"{head(card, serial)} {step_title(card, state)}: {state.step.text} {said}".strip()
    return f"{text} I correct it with the values and the reason given above; what was signed before stays."


def take_shown(card: CardState, serial: str, name: str) -> str:
    """Exactly what a person signs who takes a card up again."""
    down = card.put_down
    before = f" {put_down_words(card, down)}" if down else ""
    return f"{head(card, serial)} {card.card.title}.{before} {resume_words(card)} {name} takes it up."


def progress_words(card: CardState, now_date: str = "") -> str:
    """'step 7 of 12, in hand by N. N. since 10:20'."""
    if card.complete:
        return f"all {len(card.steps)} steps done"
    upcoming = card.next
    assert upcoming is not None
    where = f"step {upcoming.number} of {len(card.steps)}"
    if upcoming.waits_for_check:
        where += f" waits for the check by another {upcoming.step.checked_by}"
    elif upcoming.refused:
        where += " was not agreed by the checker"
    taken, down = card.taken, card.put_down
    if taken:
        day = f"{taken.at.day} {taken.at:%b }" if now_date and now_date != taken.at.date().isoformat() else ""
        return f"{where}, in hand by {taken.body.by_name} since {day}{taken.at:%H:%M}"
    if down:
        to = f", handed over to {down.body.to_name}" if down.body.to_name else ", put down"
        return f"{where}{to} at {down.at:%H:%M} by {down.body.by_name}"
    return f"{where}, in nobody's hand"
