"""Tools and loose items: what went to the work, what came back, and what is still missing."""

from __future__ import annotations

from collections.abc import Iterable

from spoolwright.crafts.cards.model import CardRef, CountLine, ToolMoved, ToolsCounted, ToolSearched
from spoolwright.crafts.cards.rules import NotYetError, card_of, step_of
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.people import Role


def place_subject(visit: str, module: str) -> str:
    return f"visit/{visit}/cards/_tools/{module}"


def count_lines(entries: Iterable[Entry[Body]], module: str) -> list[CountLine]:
    """The sheet of a module: each item, out and back, and what a signed search covers.

    A search covers its item only while nothing of that item moved afterwards.
    """
    out: dict[str, int] = {}
    back: dict[str, int] = {}
    last: dict[str, int] = {}
    searched: dict[str, Entry[Body]] = {}
    for entry in sorted(entries, key=lambda e: e.seq):
        body = entry.body
        if isinstance(body, ToolMoved) and body.module == module:
            column = out if body.direction == "out" else back
            column[body.item] = column.get(body.item, 0) + body.count
            last[body.item] = entry.seq
        elif isinstance(body, ToolSearched) and body.module == module:
            searched[body.item] = entry
    return [
        CountLine(
            item=i, out=out.get(i, 0), back=back.get(i, 0), found_missing=_covered(searched.get(i), last[i])
        )
        for i in last
    ]


def _covered(search: Entry[Body] | None, last_move: int) -> int:
    if search is None or search.seq < last_move or not isinstance(search.body, ToolSearched):
        return 0
    return search.body.missing


def differences(lines: Iterable[CountLine]) -> list[str]:
    """What does not balance, in words."""
    said = []
    for line in lines:
        missing = line.out - line.back - line.found_missing
        if missing > 0:
            said.append(f"{line.item}: {line.out} went out, {line.back} came back, {missing} missing")
        elif missing < 0:
            said.append(f"{line.item}: {line.out} went out but {line.back} came back")
    return said


def sheet(desk: Desk, visit: str, module: str) -> tuple[list[CountLine], int]:
    """The sheet of a module, and the place in the chain of its last movement (0: none)."""
    entries = desk.records.current(Body, under=place_subject(visit, module))
    moves = [e.seq for e in entries if isinstance(e.body, ToolMoved)]
    return count_lines(entries, module), max(moves, default=0)


def move_tool(desk: Desk, visit: str, moved: ToolMoved, key: str) -> Entry[Body]:
    """Record that tools or loose items went to the work or came back; the key makes it count once."""
    desk.entitled(Role.BUILDER, Role.INSPECTOR, Role.TEST_OPERATOR)
    return desk.record(New(f"{place_subject(visit, moved.module)}/{key}", moved, visit=visit))[0]


def sign_search(
    desk: Desk, visit: str, module: str, item: str, searched: str, shown: str, key: str
) -> Entry[Body]:
    """The lead signs that what is missing was searched for; the closure is then no longer held up by it."""
    desk.entitled(Role.LEAD)
    lines, last = sheet(desk, visit, module)
    line = next((x for x in lines if x.item == item), None)
    missing = line.out - line.back if line else 0
    if missing <= 0:
        raise NotYetError(f"nothing of '{item}' is missing at {module}.", mend="Look at the sheet again.")
    body = ToolSearched(module=module, item=item, missing=missing, of_seq=last, searched=searched)
    new = New(f"{place_subject(visit, module)}/searched/{key}", body, visit=visit)
    return desk.record(signed(new, desk, Meaning.ACCEPTED, f"{shown} {searched}", Role.LEAD))[0]


def search_shown(visit: str, module: str, line: CountLine) -> str:
    """What the lead signs about a search."""
    missing = f"{line.out - line.back} of {line.out} '{line.item}' are missing"
    return (
        f"Visit {visit}, {module.replace('_', ' ')}: {missing}. "
        "It was searched for as told here; I accept that the space is closed."
    )


def count_shown(visit: str, module: str, lines: Iterable[CountLine]) -> str:
    """What a person signs who counts before a closure."""
    rows = [f"{x.item}: {x.out} out, {x.back} back" for x in lines]
    said = "; ".join(rows) if rows else "no tool and no loose item was taken to the work"
    return f"Visit {visit}, {module.replace('_', ' ')}, counted before closing: {said}."


def count_tools(desk: Desk, ref: CardRef, step: str, shown: str) -> Entry[Body]:
    """Sign the count before a closure. A difference is refused until it is found or a search is signed."""
    card = card_of(desk, ref)
    state = step_of(card, step)
    desk.entitled(Role(state.step.signed_by))
    lines, last = sheet(desk, ref.visit, card.place)
    wrong = differences(lines)
    if wrong:
        raise NotYetError(
            f"the count does not balance: {'; '.join(wrong)}.",
            mend="Find it, or the lead signs the search for it.",
        )
    body = ToolsCounted(card=ref.card, run=ref.run, step=step, lines=tuple(lines), of_seq=last)
    after = state.counted.revision if state.counted else 0
    reason = "counted again" if after else ""
    new = New(f"{ref.step(step)}/tools", body, visit=ref.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.DID, shown, Role(state.step.signed_by)))[0]
