"""What must be so before a step may be recorded, signed or checked."""

from __future__ import annotations

from datetime import date

from spoolwright.crafts.cards.model import CardRef, ReadingTaken, WorkPutDown
from spoolwright.crafts.cards.standing import CardState, StepState, standing
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body
from spoolwright.crafts.visit.people import NotEntitledError
from spoolwright.errors import InputError, SpoolwrightError


class NotYetError(SpoolwrightError):
    """Something else comes first: a step, a reading, a count, a check, a person taking the work up."""

    exit_code = 9


def card_of(desk: Desk, ref: CardRef) -> CardState:
    """A card as its records say now.

    Raises
    ------
    InputError
        It was not issued for this visit.
    """
    found = standing(desk.records.current(Body, under=ref.subject), ref.visit).get((ref.card, ref.run))
    if found is None:
        raise InputError(
            f"card '{ref.card}', run {ref.run}, was not issued for visit {ref.visit}.",
            mend="The lead issues it on the page of the cards.",
        )
    return found


def step_of(card: CardState, step: str) -> StepState:
    """A step of a card."""
    state = card.step(step)
    if state is None:
        raise InputError(
            f"card '{card.ref.card}' has no step '{step}'.",
            mend=f"Its steps: {', '.join(s.step.id for s in card.steps)}.",
        )
    return state


def ensure_in_hand(card: CardState, desk: Desk) -> None:
    """The person at the desk has the card in hand."""
    taken, down = card.taken, card.put_down
    if down is not None:
        raise NotYetError(
            f"the work was put down at step '{down.body.step}'.",
            mend="Take it up first; the card says where.",
        )
    if taken is None:
        raise NotYetError("nobody has this card in hand.", mend="Take it in hand first.")
    if taken.author != desk.person.login:
        raise NotYetError(
            f"{taken.body.by_name} has this card in hand since {taken.at.day} {taken.at:%b %H:%M} UTC.",
            mend="They hand it over or put it down; the lead can do it for them.",
        )


def out_of_order(card: CardState, state: StepState) -> NotYetError | None:
    """Which step comes first, if one does."""
    for earlier in card.steps[: state.number - 1]:
        if earlier.done:
            continue
        if earlier.waits_for_check:
            return NotYetError(
                f"step {earlier.number} waits for its independent check.",
                mend=f"Another {earlier.step.checked_by} checks it before step {state.number}.",
            )
        if earlier.step.only_chance:
            return NotYetError(
                f"step {earlier.number} can only be done now: '{earlier.step.text}'",
                mend="Take and sign it, or the lead signs why it cannot be taken.",
            )
        if not card.card.any_order or state.step.closure:
            return NotYetError(
                f"step {earlier.number} is not signed.",
                mend=f"It comes before step {state.number} on this card.",
            )
    return None


def reading_hindrances(card: CardState, state: StepState) -> list[NotYetError]:
    """What the readings of a step still lack before it can be signed."""
    held, lost = card.readings(state), card.lost(state)
    found = []
    for m in state.step.measure:
        if m.id in lost:
            found.append(
                NotYetError(f"{m.name} was taken before the interruption.", mend="Take it again, then sign.")
            )
        elif m.id not in held:
            found.append(NotYetError(f"{m.name} has no reading.", mend="Enter it with its gauge or tool."))
        else:
            found += _reading_hindrance(held[m.id].body, m.name, m.must_meet)
    return found


def _reading_hindrance(reading: ReadingTaken, name: str, must_meet: bool) -> list[NotYetError]:
    if not reading.gauge_valid:
        return [
            NotYetError(
                f"{name} was taken with {reading.gauge}, which was out of date.",
                mend="The value stays recorded. Measure again with a valid gauge, then sign.",
            )
        ]
    if must_meet and reading.verdict != "meets":
        return [
            NotYetError(
                f"{name}: {reading.entered} {reading.unit.replace('N m', 'N·m')} does not meet its limit.",
                mend="The work sets this value: bring it within and take it again.",
            )
        ]
    return []


def sign_hindrances(card: CardState, state: StepState, last_move: int) -> list[NotYetError]:
    """Everything that stands between a step and its signature, the first thing first."""
    found: list[NotYetError] = []
    if state.waived:
        found.append(
            NotYetError("the lead signed that this step cannot be taken.", mend="Go on with the next.")
        )
    if state.is_signed and not state.refused:
        found.append(
            NotYetError(f"step {state.number} is signed.", mend="A change is a correction, with reason.")
        )
    first = out_of_order(card, state)
    if first:
        found.append(first)
    found += reading_hindrances(card, state)
    if state.step.closure:
        count = card.counted(state)
        if count is None or count.body.of_seq != last_move:
            found.append(
                NotYetError(
                    "tools and loose items are not counted for this closure.",
                    mend="Count what went out and what came back, and sign the count.",
                )
            )
    return found


def hands_on(desk: Desk, card: CardState, state: StepState) -> frozenset[str]:
    """Everyone who had a hand in a step: signed, corrected, measured, counted, or left it unfinished."""
    ref, step = card.ref, state.step.id
    subjects = [ref.step(step), f"{ref.step(step)}/tools"]
    subjects += [ref.reading(step, m.id) for m in state.step.measure]
    logins = {e.author for subject in subjects for e in desk.records.history(subject)}
    for before, down in zip([None, *card.hands], card.hands, strict=False):
        if isinstance(down.body, WorkPutDown) and down.body.step == step and down.body.begun:
            logins |= {down.author} | ({before.author} if before else set())
    return frozenset(logins)


def ensure_independent(desk: Desk, card: CardState, state: StepState) -> None:
    """The person at the desk had no hand in the step.

    Raises
    ------
    NotEntitledError
        They did the step, corrected it, took one of its readings, or put it down.
    """
    if desk.person.login in hands_on(desk, card, state):
        raise NotEntitledError(
            f"{desk.person.name} had a hand in step {state.number} and cannot check it.",
            mend=f"Another {state.step.checked_by} looks at the work and signs.",
        )


def since_yesterday(card: CardState, today: date) -> bool:
    """In hand since an earlier day without a hand-over."""
    return card.taken is not None and card.taken.at.date() < today
