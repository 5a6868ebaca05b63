"""Directives and bulletins: to what each applies, and where it stands."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction

from spoolwright.crafts.life.figure import exact, shown
from spoolwright.crafts.life.model import DirectiveDone
from spoolwright.crafts.typefile.shop.lives import Directive, SerialRange


class State(StrEnum):
    """Where a directive stands on one engine or part."""

    OPEN = "open"
    COMPLIED = "complied"
    RECURRING = "complied, recurring"
    NOT_APPLICABLE = "not applicable"


@dataclass(frozen=True)
class Item:
    """The engine or part that a directive is read for; what is not known stays out of `counts`."""

    serial: str
    counts: Mapping[str, Fraction]
    part_number: str = ""

    @property
    def is_part(self) -> bool:
        return bool(self.part_number)


@dataclass(frozen=True)
class Told:
    """A directive for one item: its state, what is next, whether that is due now, and the reason in words."""

    directive: Directive
    item: Item
    state: State
    due: bool
    next_due: str
    why: str
    done: DirectiveDone | None


_NUMBERED = re.compile(r"(.*?)(\d+)")


def in_range(serial: str, span: SerialRange) -> bool | None:
    """Whether a serial lies in a range; None when it is not numbered as the range is."""
    parts = [_NUMBERED.fullmatch(s.strip()) for s in (serial, span.first, span.last)]
    if any(p is None for p in parts):
        return True if serial.strip() in (span.first, span.last) else None
    (own, first, last) = [(p[1], int(p[2])) for p in parts if p]
    if own[0] != first[0] or first[0] != last[0]:
        return None
    return first[1] <= own[1] <= last[1]


def applies(directive: Directive, item: Item) -> tuple[bool, str]:
    """Whether a directive applies to an item, and why; in doubt it applies."""
    if (directive.applies_to == "part") != item.is_part:
        return False, f"it is for a {directive.applies_to}"
    if item.is_part and directive.part_numbers and item.part_number not in directive.part_numbers:
        return False, f"part number {item.part_number} is none of {', '.join(directive.part_numbers)}"
    if not directive.serials:
        return True, "it applies to every serial"
    inside = [in_range(item.serial, s) for s in directive.serials]
    spans = ", ".join(f"{s.first} to {s.last}" for s in directive.serials)
    if any(inside):
        return True, f"serial {item.serial} lies in {spans}"
    if None in inside:
        return True, f"serial {item.serial} cannot be compared with {spans}: a person decides"
    return False, f"serial {item.serial} lies outside {spans}"


def tell(directive: Directive, item: Item, done: DirectiveDone | None, today: date) -> Told:
    """Where a directive stands on an item.

    Parameters
    ----------
    done : the newest record about it, None where there is none
    """
    holds, why = applies(directive, item)
    if not holds:
        return Told(directive, item, State.NOT_APPLICABLE, False, "", why, done)
    if done is None:
        return _open(directive, item, why, None, today)
    if done.revision != directive.revision and done.revision not in directive.accepts:
        why = f"recorded for revision {done.revision}; revision {directive.revision} does not accept that"
        return _open(directive, item, why, done, today)
    if done.state == "not applicable":
        return Told(directive, item, State.NOT_APPLICABLE, False, "", done.how, done)
    if _every(directive):
        return _recurring(directive, item, done, today)
    return Told(directive, item, State.COMPLIED, False, "", done.how, done)


def _open(directive: Directive, item: Item, why: str, done: DirectiveDone | None, today: date) -> Told:
    terms: list[str] = []
    due = False
    if directive.at_shop_visit:
        terms.append("at this shop visit")
        due = True
    if directive.due_on:
        terms.append(f"by {directive.due_on}")
        due |= directive.due_on <= today
    for measure in ("hours", "cycles"):
        if text := getattr(directive, f"before_{measure}"):
            terms.append(f"before {shown(exact(text))} {measure} since new")
            due |= _reached(item, measure, exact(text))
    every = _every(directive)
    if every:
        terms.append(f"never recorded as done, then every {every}")
        due = True
    if not terms:
        terms.append("no term transcribed: due now" if directive.mandatory else "no term")
        due = directive.mandatory
    return Told(directive, item, State.OPEN, due, ", ".join(terms), why, done)


def _every(directive: Directive) -> str:
    """Its intervals in words; empty where it does not recur."""
    measures = [(directive.every_hours, "hours"), (directive.every_cycles, "cycles")]
    terms = [f"{shown(exact(text))} {measure}" for text, measure in measures if text]
    return " or ".join([*terms, *([f"{directive.every_days} days"] if directive.every_days else [])])


def _reached(item: Item, measure: str, at: Fraction | None) -> bool:
    """Whether a count is reached; an unknown count is taken as reached."""
    now = item.counts.get(measure)
    return at is not None and (now is None or now >= at)


def _recurring(directive: Directive, item: Item, done: DirectiveDone, today: date) -> Told:
    terms: list[str] = []
    due = False
    for measure in ("hours", "cycles"):
        text = getattr(directive, f"every_{measure}")
        if not text:
            continue
        at = exact(getattr(done.at, measure))
        if at is None:
            terms.append(f"{measure} when it was done are not recorded")
            due = True
            continue
        then = at + (exact(text) or Fraction(0))
        terms.append(f"at {shown(then)} {measure}")
        due |= _reached(item, measure, then)
    if directive.every_days:
        day = done.on + timedelta(directive.every_days)
        terms.append(f"on {day}")
        due |= day <= today
    state = State.OPEN if due else State.RECURRING
    return Told(directive, item, state, due, " or ".join(terms), done.how, done)


def tell_all(
    directives: Sequence[Directive], item: Item, done: Mapping[str, DirectiveDone], today: date
) -> list[Told]:
    """Every directive that bears on an item's kind (engine or part) and, for parts, its number."""
    out = []
    for d in directives:
        same_kind = (d.applies_to == "part") == item.is_part
        ours = not item.is_part or not d.part_numbers or item.part_number in d.part_numbers
        if same_kind and ours and d.effective <= today:
            out.append(tell(d, item, done.get(d.id), today))
    return out
