"""What the lines of a ledger say about each other: birth to first line, line to line, engine to engine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from spoolwright.crafts.life.figure import exact, shown, slack
from spoolwright.crafts.life.findings import Fault, Finding
from spoolwright.crafts.life.line_checks import LOOK, of
from spoolwright.crafts.life.model import PartBorn, PartUsed


@dataclass(frozen=True)
class Present:
    """Where a part is now, and what its engine's papers said when it came; empty where they say nothing.

    `came_with_it` tells a part that arrived in the engine from one that was fitted in this visit.
    """

    engine_serial: str
    hours: str = ""
    starts: str = ""
    came_with_it: bool = True


FIND = "Find the record of that use; the ledger does not fill it."


def birth_findings(
    born: PartBorn | None, lines: Sequence[PartUsed], measures: Sequence[str]
) -> Iterator[Finding]:
    """Whether the life has a beginning, and the first line follows on it."""
    if born is None:
        text = "no birth certificate is recorded, so its life has no beginning."
        yield Finding(Fault.NO_BIRTH, 0, "", text, "Enter its birth certificate.")
    elif not born.document and not born.files:
        text = "the birth record names no document and has no file."
        yield Finding(Fault.NO_DOCUMENT, 0, "", text, "Attach the birth certificate.")
    absent = [m for m in measures if born and not of(born.counts, m)] if born else []
    if born and (absent or born.made_on is None):
        said = ", ".join([*absent, *([] if born.made_on else ["day it was made"])])
        yield Finding(
            Fault.UNKNOWN, 0, "", f"the birth record does not say: {said}.", "Enter its birth paper."
        )
    if not lines:
        return
    first = lines[0]
    if first.began != "installed":
        text = f"line {first.line} goes on from a line that is not there."
        yield Finding(Fault.CONTRADICTS, first.line, "", text, FIND)
    if born:
        if born.made_on and first.on and first.on < born.made_on:
            text = f"line {first.line} begins on {first.on}, before the part was made on {born.made_on}."
            yield Finding(Fault.DATES, first.line, "", text, LOOK)
        for m in measures:
            yield from _joined(m, of(born.counts, m), first, "at birth")


def chain_findings(lines: Sequence[PartUsed], measures: Sequence[str]) -> Iterator[Finding]:
    """Every gap and contradiction between lines."""
    for before, line in pairwise(lines):
        if line.line != before.line + 1:
            text = f"between line {before.line} and line {line.line} a line is missing."
            yield Finding(Fault.UNKNOWN, line.line, "", text, FIND)
        yield from _days(before, line)
        yield from _events(before, line)
        for m in measures:
            yield from _joined(m, of(before.part_off, m), line, f"at the end of line {before.line}")
    for i, line in enumerate(lines):
        for earlier in lines[: max(i - 1, 0)]:
            if earlier.engine_serial != line.engine_serial and _overlap(earlier, line):
                yield _two(earlier, line)
    yield from _engines(lines)


def _joined(measure: str, before: str, line: PartUsed, when: str) -> Iterator[Finding]:
    """The count at a line's start against the count before it."""
    now = of(line.part_on, measure)
    a, b = exact(before), exact(now)
    if a is None or b is None or abs(b - a) <= slack((before, now)):
        return
    told = f"{shown(a)} {when}, {shown(b)} at the start of line {line.line}"
    if b > a:
        text = f"{shown(b - a)} {measure} that no line tells: {told}."
        yield Finding(Fault.JUMP, line.line, measure, text, FIND)
    else:
        text = f"{measure} of the part fall by {shown(a - b)}: {told}."
        yield Finding(Fault.BACKWARDS, line.line, measure, text, LOOK)


def _days(before: PartUsed, line: PartUsed) -> Iterator[Finding]:
    if before.off is None or line.on is None or line.on >= before.off:
        return
    if before.engine_serial != line.engine_serial and _overlap(before, line):
        yield _two(before, line)
    else:
        text = f"line {line.line} begins on {line.on}, before line {before.line} ends on {before.off}."
        yield Finding(Fault.DATES, line.line, "", text, LOOK)


def _overlap(a: PartUsed, b: PartUsed) -> bool:
    """Whether both say that the part was fitted on a same day; what is not recorded says nothing."""
    ends = [date.max if x.ended == "still fitted" else x.off for x in (a, b)]
    if a.on is None or b.on is None or ends[0] is None or ends[1] is None:
        return False
    return max(a.on, b.on) < min(ends[0], ends[1])


def _two(a: PartUsed, b: PartUsed) -> Finding:
    text = (
        f"line {a.line} has the part in engine {a.engine_serial} until {a.off or 'now'}, "
        f"line {b.line} in engine {b.engine_serial} from {b.on}."
    )
    return Finding(Fault.TWO_ENGINES, b.line, "", text, LOOK)


def _events(before: PartUsed, line: PartUsed) -> Iterator[Finding]:
    if before.ended == "still fitted":
        fault = Fault.CONTRADICTS if before.engine_serial == line.engine_serial else Fault.TWO_ENGINES
        text = f"line {before.line} has it still fitted in {before.engine_serial}; line {line.line} follows."
        yield Finding(fault, line.line, "", text, "Enter the removal, or correct the line.")
    elif (before.ended == "continued") != (line.began == "continued"):
        what = "removal" if before.ended == "continued" else "installation"
        text = f"between line {before.line} and line {line.line} no {what} is recorded."
        yield Finding(Fault.CONTRADICTS, line.line, "", text, LOOK)
    elif line.began == "continued" and before.engine_serial != line.engine_serial:
        text = (
            f"line {line.line} goes on in engine {line.engine_serial}, "
            f"line {before.line} was in {before.engine_serial}."
        )
        yield Finding(Fault.CONTRADICTS, line.line, "", text, LOOK)


def _engines(lines: Sequence[PartUsed]) -> Iterator[Finding]:
    """Each engine's own counts from line to line: they never fall, and go on where a line goes on."""
    last: dict[tuple[str, str], tuple[str, int]] = {}
    for line in lines:
        for name in ("hours", "starts"):
            key = (line.engine_serial, name)
            now, (was, number) = of(line.engine_on, name), last.get(key, ("", 0))
            a, b = exact(was), exact(now)
            if a is not None and b is not None and abs(b - a) > slack((was, now)):
                told = (
                    f"{name} of engine {line.engine_serial}: {shown(a)} at the end of line {number}, "
                    f"{shown(b)} at the start of line {line.line}."
                )
                if b < a:
                    yield Finding(Fault.BACKWARDS, line.line, f"engine {name}", told, LOOK)
                elif line.began == "continued" and number == line.line - 1:
                    yield Finding(Fault.JUMP, line.line, f"engine {name}", told, FIND)
            if of(line.engine_off, name):
                last[key] = (of(line.engine_off, name), line.line)


def present_findings(lines: Sequence[PartUsed], now: Present) -> Iterator[Finding]:
    """Whether the ledger reaches to this day: its last line against the engine the part is in."""
    if not lines:
        return
    last = lines[-1]
    here = last.engine_serial == now.engine_serial
    if now.came_with_it and not here:
        text = (
            f"the part came in engine {now.engine_serial}; the ledger ends with line {last.line} "
            f"in engine {last.engine_serial or 'not recorded'}."
        )
        yield Finding(Fault.UNKNOWN, last.line, "", text, FIND)
    elif not here and last.ended == "still fitted":
        text = f"line {last.line} has it still fitted in {last.engine_serial}; it is in {now.engine_serial}."
        yield Finding(Fault.TWO_ENGINES, last.line, "", text, "Enter the removal, or correct the line.")
    for name in ("hours", "starts") if now.came_with_it and here else ():
        written, said = of(last.engine_off, name), getattr(now, name)
        a, b = exact(written), exact(said)
        if a is None or b is None or abs(b - a) <= slack((written, said)):
            continue
        text = (
            f"the ledger ends at {shown(a)} {name} of engine {now.engine_serial}; "
            f"the engine came with {shown(b)}."
        )
        if b > a:
            yield Finding(Fault.UNKNOWN, last.line, f"engine {name}", text, FIND)
        else:
            yield Finding(Fault.CONTRADICTS, last.line, f"engine {name}", text, LOOK)
