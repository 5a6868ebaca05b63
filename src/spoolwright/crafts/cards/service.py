"""Use cases on a step: reading, signature, correction, independent check, waiver, disposition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from spoolwright.crafts.cards.calc import NAME, VERSION, judge_entered
from spoolwright.crafts.cards.gauges import gauge_of
from spoolwright.crafts.cards.model import (
    CardRef,
    ChanceWaived,
    GaugeKnown,
    ReadingDisposed,
    ReadingTaken,
    StepChecked,
    StepSigned,
)
from spoolwright.crafts.cards.rules import (
    NotYetError,
    card_of,
    ensure_in_hand,
    ensure_independent,
    out_of_order,
    sign_hindrances,
    step_of,
)
from spoolwright.crafts.cards.standing import CardState, StepState, digest_of
from spoolwright.crafts.cards.tools import sheet
from spoolwright.crafts.cards.words import (
    both_units,
    check_shown,
    correct_shown,
    dispose_shown,
    done_shown,
    gauge_words,
    reading_words,
    step_title,
    waive_shown,
)
from spoolwright.crafts.typefile.shop.routes import Measure
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.model import VisitOpened, WorkEvent
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Read:
    """A reading as a person enters it."""

    entered: str
    unit: str
    gauge: str = ""
    decision: str = ""


def serial_of(desk: Desk, visit: str) -> str:
    """The engine's serial."""
    opened = [e for e in desk.records.current(VisitOpened, under=f"visit/{visit}") if e.body.number == visit]
    if not opened:
        raise InputError(f"visit '{visit}' is not known.", mend="Look at the list of visits.")
    return opened[0].body.engine_serial


def _measure(state: StepState, measure: str) -> Measure:
    found = next((m for m in state.step.measure if m.id == measure), None)
    if found is None:
        raise InputError(f"step '{state.step.id}' takes no reading '{measure}'.")
    return found


def _reading(desk: Desk, card: CardState, step: str, measure: Measure, read: Read) -> ReadingTaken:
    """The record of a reading: judged against its limit, with the state of its gauge today."""
    gauge: GaugeKnown | None = gauge_of(desk, read.gauge) if measure.instrument else None
    valid = gauge is None or gauge.valid_on(desk.now.date())
    if gauge is not None and not valid and len(read.decision.strip()) < 3:
        raise NotYetError(
            f"{gauge.name} {gauge.id} was due on {gauge.due_on} and has not been calibrated since.",
            mend="Take another, or say why it is recorded all the same; it will be taken again.",
        )
    inputs = {
        "entered": read.entered.strip(),
        "unit": read.unit,
        "least": measure.min,
        "most": measure.max,
        "limit_unit": measure.unit,
    }
    result = judge_entered(read.entered.strip(), read.unit, measure.min, measure.max, measure.unit)
    value = both_units(read.entered.strip(), read.unit)
    return ReadingTaken(
        card=card.ref.card,
        run=card.ref.run,
        step=step,
        measure=measure.id,
        entered=read.entered.strip(),
        unit=read.unit,
        gauge=gauge.id if gauge else "",
        gauge_due=gauge.due_on if gauge else None,
        gauge_valid=valid,
        decision="" if valid else read.decision.strip(),
        told=reading_words(
            measure, value, gauge_words(gauge, valid), result["verdict"], card.issued.body.documents
        ),
        calculation=Calculation(name=NAME, version=VERSION, inputs=inputs, result=result),
    )


def take_reading(
    desk: Desk, ref: CardRef, step: str, measure: str, read: Read, *, after: int = 0, reason: str = ""
) -> Entry[Body]:
    """Record a value at a step in hand.

    A value taken with a gauge that is out of date is recorded only with the person's reason, and does not let
    the step be signed. A second value names why it was taken again.
    """
    card = card_of(desk, ref)
    state = step_of(card, step)
    desk.entitled(Role(state.step.signed_by))
    ensure_in_hand(card, desk)
    if state.is_signed and not state.refused:
        raise NotYetError(
            f"step {state.number} is signed.", mend="A change is a correction, with its reason."
        )
    first = out_of_order(card, state)
    if first:
        raise first
    body = _reading(desk, card, step, _measure(state, measure), read)
    if after and not reason.strip():
        reason = _why_again(card, state, measure)
    return desk.record(New(ref.reading(step, measure), body, visit=ref.visit, after=after, reason=reason))[0]


def _why_again(card: CardState, state: StepState, measure: str) -> str:
    """The reason that speaks for itself; otherwise the person gives one."""
    if measure in card.lost(state):
        return "taken again after the interruption"
    if measure in state.taken and not state.taken[measure].body.gauge_valid:
        return "measured again with another gauge"
    if state.refused:
        return "done again: the checker did not agree"
    raise InputError("this reading was taken before.", mend="Say why it is taken again.", where=measure)


def sign_text(desk: Desk, ref: CardRef, step: str) -> str:
    """What the doer of a step will sign."""
    card = card_of(desk, ref)
    return done_shown(card, step_of(card, step), serial_of(desk, ref.visit))


def sign_step(
    desk: Desk, ref: CardRef, step: str, shown: str, *, note: str = "", files: tuple[Attachment, ...] = ()
) -> list[Entry[Body]]:
    """Sign a step as done, and record what it did to the engine, all or none."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    desk.entitled(Role(state.step.signed_by))
    ensure_in_hand(card, desk)
    _, last_move = sheet(desk, ref.visit, card.place)
    hindrances = sign_hindrances(card, state, last_move)
    if hindrances:
        raise hindrances[0]
    after = state.signed.revision if state.signed else 0
    reason = ""
    if after:
        reason = "done again: not agreed by the checker" if state.refused else "the step has another text now"
    body = _step_body(card, state, note).model_copy(update={"files": files})
    new = New(ref.step(step), body, visit=ref.visit, after=after, reason=reason)
    said = " ".join([shown, f"Note: {note}" if note else "", *(f"File {f.name} {f.sha256}." for f in files)])
    sign = signed(new, desk, Meaning.DID, said.strip(), Role(state.step.signed_by))
    return desk.record(sign, *_events(desk, card, state, after))


def _step_body(card: CardState, state: StepState, note: str) -> StepSigned:
    readings = card.readings(state)
    held = [readings[m.id] for m in state.step.measure if m.id in readings]
    return StepSigned(
        card=card.ref.card,
        run=card.ref.run,
        step=state.step.id,
        step_digest=digest_of(state.step),
        checked_by=state.step.checked_by if state.step.independent_check else "",
        readings=tuple(e.body.told for e in held),
        rests_on=tuple(e.seq for e in held),
        all_meet=all(e.body.verdict == "meets" for e in held),
        note=note,
    )


def _events(desk: Desk, card: CardState, state: StepState, after: int) -> list[New]:
    """What the step did to the engine, for the work that is owed from it."""
    ref = card.ref
    again = f"/again-{after}" if after else ""
    return [
        New(
            f"visit/{ref.visit}/event/cards/{ref.card}/{ref.run}/{state.step.id}/{n}{again}",
            WorkEvent(
                what=e.what,
                item=e.item,
                module=card.card.module,
                detail=f"{step_title(card, state)}, {desk.person.name}",
                happened_at=desk.now,
            ),
            visit=ref.visit,
        )
        for n, e in enumerate(state.step.event, 1)
    ]


def correct_text(desk: Desk, ref: CardRef, step: str) -> str:
    """What a person will sign who corrects a step."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    if state.signed is None:
        raise NotYetError(f"step {state.number} is not signed.", mend="There is nothing to correct yet.")
    return correct_shown(card, state, serial_of(desk, ref.visit))


def correct_step(
    desk: Desk,
    ref: CardRef,
    step: str,
    shown: str,
    *,
    reads: Mapping[str, Read],
    reason: str,
    after: int,
    note: str = "",
) -> list[Entry[Body]]:
    """Correct a signed step: new readings where given, the reason, a new signature. Its check falls away."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    desk.entitled(Role(state.step.signed_by))
    if state.signed is None:
        raise NotYetError(
            f"step {state.number} is not signed.", mend="Sign it; there is nothing to correct yet."
        )
    if len(reason.strip()) < 3:
        raise InputError("a correction needs its reason.", mend="Say what was wrong.", where="reason")
    told, meets, news = _corrected(desk, card, state, reads, reason)
    body = state.signed.body.model_copy(update={"readings": told, "all_meet": meets, "note": note})
    new = New(ref.step(step), body, visit=ref.visit, after=after, reason=reason)
    said = f"{shown} Reason: {reason}."
    return desk.record(signed(new, desk, Meaning.CORRECTED, said, Role(state.step.signed_by)), *news)


def _corrected(
    desk: Desk, card: CardState, state: StepState, reads: Mapping[str, Read], reason: str
) -> tuple[tuple[str, ...], bool, list[New]]:
    """Readings as they stand after a correction: in words, whether all meet, and the new records."""
    told, meets, news = [], True, []
    for m in state.step.measure:
        old = state.taken.get(m.id)
        body = old.body if old else None
        if m.id in reads:
            body = _reading(desk, card, state.step.id, m, reads[m.id])
            if not body.gauge_valid:
                raise NotYetError(
                    f"{m.name} was taken with {body.gauge}, which is out of date.",
                    mend="A correction of a signed step needs a valid gauge.",
                )
            if m.must_meet and body.verdict != "meets":
                raise NotYetError(f"{body.told}.", mend="Bring it within its limit first.")
            subject = card.ref.reading(state.step.id, m.id)
            news.append(
                New(subject, body, visit=card.ref.visit, after=old.revision if old else 0, reason=reason)
            )
        if body is not None:
            told.append(body.told)
            meets = meets and body.verdict == "meets"
    return tuple(told), meets, news


def check_text(desk: Desk, ref: CardRef, step: str) -> str:
    """What the independent checker will sign; whoever had a hand in the step is refused already here."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    ensure_independent(desk, card, state)
    if state.signed is None:
        raise NotYetError(f"step {state.number} is not signed.", mend="Its doer signs first.")
    return check_shown(card, state, serial_of(desk, ref.visit))


def check_step(
    desk: Desk, ref: CardRef, step: str, shown: str, *, agrees: bool, remark: str = ""
) -> Entry[Body]:
    """Sign the independent check of a step; whoever had a hand in it is refused."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    ensure_independent(desk, card, state)
    role = Role(state.step.checked_by)
    desk.entitled(role)
    if not state.step.independent_check:
        raise InputError(f"step {state.number} asks for no independent check.")
    if state.signed is None or not state.waits_for_check:
        raise NotYetError(f"step {state.number} does not wait for a check.", mend="Look at the card again.")
    if not agrees and len(remark.strip()) < 3:
        raise InputError("say what does not agree.", mend="One sentence for the doer.", where="remark")
    body = StepChecked(
        card=ref.card,
        run=ref.run,
        step=step,
        of_seq=state.signed.seq,
        agrees=agrees,
        all_meet=state.signed.body.all_meet,
        remark=remark,
    )
    after = state.check.revision if state.check else 0
    reason = "checked again" if after else ""
    said = shown if agrees else f"{shown} I do not agree: {remark}"
    new = New(f"{ref.step(step)}/check", body, visit=ref.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.CHECKED, said, role))[0]


def waive_text(desk: Desk, ref: CardRef, step: str) -> str:
    """What the lead will sign about a step that cannot be taken any more."""
    card = card_of(desk, ref)
    return waive_shown(card, step_of(card, step), serial_of(desk, ref.visit))


def waive_step(desk: Desk, ref: CardRef, step: str, shown: str, because: str) -> Entry[Body]:
    """The lead signs why what could only be taken now cannot be taken."""
    desk.entitled(Role.LEAD)
    card = card_of(desk, ref)
    state = step_of(card, step)
    if not state.step.only_chance:
        raise InputError(f"step {state.number} can still be done; it is not waived.", mend="Do and sign it.")
    if state.is_signed:
        raise NotYetError(f"step {state.number} is signed already.", mend="There is nothing to waive.")
    if len(because.strip()) < 10:
        raise InputError("say why it cannot be taken.", mend="A whole sentence.", where="because")
    body = ChanceWaived(card=ref.card, run=ref.run, step=step, cannot_because=because)
    new = New(f"{ref.step(step)}/waived", body, visit=ref.visit)
    return desk.record(signed(new, desk, Meaning.ACCEPTED, f"{shown} {because}", Role.LEAD))[0]


def dispose_text(desk: Desk, ref: CardRef, step: str, measure: str) -> str:
    """What the lead will sign about a reading that meets no limit."""
    card = card_of(desk, ref)
    taken = step_of(card, step).taken.get(measure)
    if taken is None:
        raise InputError(f"step '{step}' has no reading '{measure}'.", mend="Look at the card again.")
    return dispose_shown(card, taken.body.told, serial_of(desk, ref.visit))


def dispose_reading(
    desk: Desk, ref: CardRef, step: str, measure: str, shown: str, disposition: str, document: str
) -> Entry[Body]:
    """The lead records what approved data or engineering says about a reading that meets no limit."""
    desk.entitled(Role.LEAD)
    card = card_of(desk, ref)
    state = step_of(card, step)
    waiting: Sequence[tuple[Measure, Entry[ReadingTaken]]] = state.to_dispose()
    reading = next((e for m, e in waiting if m.id == measure), None)
    if reading is None:
        raise NotYetError(f"'{measure}' of step {state.number} waits for no disposition.")
    body = ReadingDisposed(
        card=ref.card,
        run=ref.run,
        step=step,
        measure=measure,
        of_seq=reading.seq,
        disposition=disposition,
        document=document,
    )
    old = state.disposed.get(measure)
    new = New(
        f"{ref.reading(step, measure)}/disposed",
        body,
        visit=ref.visit,
        after=old.revision if old else 0,
        reason="the reading was corrected" if old else "",
    )
    said = f"{shown} {disposition} ({document})"
    return desk.record(signed(new, desk, Meaning.ACCEPTED, said, Role.LEAD))[0]
