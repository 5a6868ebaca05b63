"""Which items of the test schedule a visit has shown, which stay open, which are owed again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from spoolwright.crafts.testcell.model import ScheduleState
from spoolwright.crafts.testcell.reading import ShownItem
from spoolwright.crafts.testcell.run_sheet import CheckDone, RunSheet
from spoolwright.crafts.testcell.wording import joined
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.procedure import ScheduleItem


@dataclass(frozen=True)
class _Moment:
    """When something happened: run in order, then seconds."""

    run: int
    at_s: float

    def before(self, other: _Moment) -> bool:
        """Whether this comes first."""
        return (self.run, self.at_s) < (other.run, other.at_s)


def schedule_states(
    type_file: TypeFile, limit_set: str, sheets: Sequence[RunSheet], shown: Sequence[ShownItem]
) -> list[ScheduleState]:
    """State of every schedule item that the limit set asks for; sheets in the order of the runs."""
    return [_state(item, type_file, sheets, shown) for item in type_file.schedule if limit_set in item.sets]


def _state(
    item: ScheduleItem, type_file: TypeFile, sheets: Sequence[RunSheet], shown: Sequence[ShownItem]
) -> ScheduleState:
    state, text = _check(item, sheets) if item.kind == "check" else _run_item(item, sheets, shown)
    return ScheduleState(
        item=item.id, name=item.name, state=state, text=text, source=source_text(type_file, item.source)
    )


State = Literal["shown", "not_shown", "open", "owed_again", "not_satisfactory"]


def _check(item: ScheduleItem, sheets: Sequence[RunSheet]) -> tuple[State, str]:
    done = [(n, s, c) for n, s in enumerate(sheets) for c in s.check if c.item == item.id]
    if not done:
        return "open", "not signed on any run sheet"
    n, sheet, last = done[-1]
    if last.result == "not_satisfactory":
        return "not_satisfactory", f"run {sheet.run}: {_signed(last)}"
    again = _adjusted_since(item, sheets, _Moment(n, -1.0))
    # A check is signed with a date, not at a second of the recording: an adjustment in its own run counts as
    # before.
    again = [a for a in again if a[0] > n]
    if again:
        return "owed_again", f"signed in run {sheet.run}, then {_kinds(again, sheets)}"
    return "shown", f"run {sheet.run}: {_signed(last)}"


def _signed(check: CheckDone) -> str:
    words = {"satisfactory": "satisfactory", "not_satisfactory": "not satisfactory"}[check.result]
    return f"{words}{', ' + check.text if check.text else ''}, signed by {check.by}"


def _run_item(
    item: ScheduleItem, sheets: Sequence[RunSheet], shown: Sequence[ShownItem]
) -> tuple[State, str]:
    order = {s.run: n for n, s in enumerate(sheets)}
    own = [s for s in shown if s.item == item.id and s.run in order]
    if not own:
        return "not_shown", "no run of this visit shows it"
    moments = [_Moment(order[s.run], s.to_s) for s in own]
    standing = [m for m in moments if not _adjusted_since(item, sheets, m)]
    if standing and len(standing) >= item.repeats:
        return "shown", f"{_times(len(own))}, in {_runs(own)}"
    if len(standing) < len(own):
        last = max(moments, key=lambda m: (m.run, m.at_s)) if not standing else standing[0]
        again = _adjusted_since(item, sheets, last) or _adjusted_since(item, sheets, moments[0])
        return "owed_again", f"shown in {_runs(own)}, then {_kinds(again, sheets)}"
    return "not_shown", f"shown {_times(len(own))} of {item.repeats} asked for, in {_runs(own)}"


def _adjusted_since(item: ScheduleItem, sheets: Sequence[RunSheet], moment: _Moment) -> list[tuple[int, str]]:
    """Adjustments after a moment that make the item owed again: run index and kind."""
    return [
        (n, a.kind)
        for n, sheet in enumerate(sheets)
        for a in sheet.adjustment
        if a.kind in item.repeat_after and moment.before(_Moment(n, a.at_s))
    ]


def _kinds(adjusted: list[tuple[int, str]], sheets: Sequence[RunSheet]) -> str:
    return joined([f"{kind.replace('_', ' ')} adjusted in run {sheets[n].run}" for n, kind in adjusted])


def _times(n: int) -> str:
    return "once" if n == 1 else f"{n} times"


def _runs(own: list[ShownItem]) -> str:
    return "run " + joined(list(dict.fromkeys(s.run for s in own)))
