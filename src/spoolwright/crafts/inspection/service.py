"""Use cases: record findings, correct and withdraw them, sign that a stage was looked at whole."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.crafts.inspection.entering import part_named
from spoolwright.crafts.inspection.model import FindingRecorded, StageInspected
from spoolwright.crafts.inspection.standing import (
    FindingState,
    Found,
    StageState,
    earlier_findings,
    serial_known,
    stage_state,
    stage_subject,
)
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, ConflictError, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.people import Role
from spoolwright.crafts.visit.service import refuse_viewer
from spoolwright.errors import InputError

INSPECTING = (Role.INSPECTOR, Role.NDI_2, Role.NDI_3)
_TRIES = 20


def stage_of(desk: Desk, folder: Folder, part: str, serial: str) -> StageState:
    """A part in a visit with earlier visits' findings.

    Raises
    ------
    InputError
        There is no such inspected part.
    """
    kind = part_named(folder.kind.shop.inspected_part, part)
    return stage_state(folder, kind, serial, earlier_findings(folder, desk.records, kind, serial))


def record_findings(desk: Desk, folder: Folder, bodies: Sequence[FindingRecorded]) -> list[Found]:
    """Record findings, all or none; each gets the next number of its part.

    Raises
    ------
    InputError
        Exactly the same is recorded already, or stands twice among them.
    """
    refuse_viewer(desk)
    for attempt in range(_TRIES):
        try:
            return desk.record(*_numbered(desk, folder, bodies))  # type: ignore[return-value]
        except ConflictError:  # somebody else took the number in between
            if attempt == _TRIES - 1:
                raise
    raise AssertionError


def with_known_serial(folder: Folder, body: FindingRecorded) -> FindingRecorded:
    """A finding whose serial was left out, with the one that the engine's parts list has."""
    part = part_named(folder.kind.shop.inspected_part, body.part)
    serial = body.serial or serial_known(folder, part)
    return body.model_copy(update={"serial": serial})


def _numbered(desk: Desk, folder: Folder, bodies: Sequence[FindingRecorded]) -> list[New]:
    news: list[New] = []
    known: dict[str, list[tuple[int, FindingRecorded]]] = {}
    for body in bodies:
        part_named(folder.kind.shop.inspected_part, body.part)
        prefix = stage_subject(folder.visit, body.part, body.serial)
        if prefix not in known:
            there = desk.records.current(FindingRecorded, under=f"{prefix}/finding")
            known[prefix] = [(_number(e.subject), e.body) for e in there]
        same = next((n for n, b in known[prefix] if b == body), None)
        if same is not None:
            what = f"exactly this is recorded as finding {same}: {finding_words(folder, body)}."
            raise InputError(what, where="blade", mend="Where there are two, give their places or a remark.")
        number = max((n for n, _ in known[prefix]), default=0) + 1
        known[prefix].append((number, body))
        news.append(New(f"{prefix}/finding/{number}", body, visit=folder.visit))
    return news


def correct_finding(
    desk: Desk, folder: Folder, finding: FindingState, body: FindingRecorded, *, after: int, reason: str
) -> Found:
    """Record what a finding should have said; what was accepted on it has to be accepted again."""
    refuse_viewer(desk)
    old = finding.body
    if not reason.strip():
        raise InputError("a correction needs its reason.", mend="Say why it changes.", where="reason")
    if (old.part, old.serial) != (body.part, body.serial):
        mend = "Withdraw it there, record it anew here."
        raise InputError("a finding cannot move to another part.", mend=mend, where="serial")
    if finding.is_settled:
        raise InputError("the metal is blended or replaced already.", mend="Record a new finding.")
    new = New(finding.entry.subject, body, visit=folder.visit, after=after, reason=reason)
    (entry,) = desk.record(new)
    return entry  # type: ignore[return-value]


def withdraw_finding(desk: Desk, folder: Folder, finding: FindingState, *, after: int, reason: str) -> Found:
    """It was no damage after all; the record stays."""
    body = finding.body.model_copy(update={"withdrawn": True})
    return correct_finding(desk, folder, finding, body, after=after, reason=reason)


def whole_shown(stage: StageState, method: str, not_seen: str) -> str:
    """What is signed when a part was looked at whole."""
    count = len(stage.standing)
    serial = f", serial {stage.serial}" if stage.serial else ""
    found = "no finding" if not count else f"{count} finding{'s' if count > 1 else ''}"
    rest = f" Not seen: {not_seen}" if not_seen else ""
    return (
        f"Visit {stage.visit}. {stage.part.name}{serial}: looked at whole ({method}), "
        f"by {_source(stage)}; {found} recorded.{rest}"
    )


def sign_whole(
    desk: Desk, stage: StageState, method: str, not_seen: str, shown: str, *, after: int
) -> Entry[Body]:
    """Sign that a part was looked at whole; a later finding opens it again."""
    body = StageInspected.model_validate(
        {
            "part": stage.part.id,
            "serial": stage.serial,
            "method": method,
            "findings": len(stage.standing),
            "newest": max((f.entry.seq for f in stage.findings), default=0),
            "not_seen": not_seen,
        }
    )
    reason = "looked at again" if after else ""
    new = New(f"{stage.prefix}/inspected", body, visit=stage.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.DID, shown, *INSPECTING))[0]


def finding_words(folder: Folder, body: FindingRecorded) -> str:
    """A finding in a line: where, what, how large."""
    part = part_named(folder.kind.shop.inspected_part, body.part)
    zone = next((z.name for z in part.zone if z.id == body.zone), body.zone)
    where = f"{part.numbered} {body.blade}, " if body.blade is not None else ""
    where += f"{body.clock} o'clock, " if body.clock is not None else ""
    sizes = [
        f"{name} {size}"
        for name, size in (("depth", body.depth), ("length", body.length), ("width", body.width))
        if size is not None
    ]
    return f"{where}{zone[0].lower()}{zone[1:]}: {body.damage.value}" + "".join(f", {s}" for s in sizes)


def _number(subject: str) -> int:
    return int(subject.rsplit("/", 1)[1])


def _source(stage: StageState) -> str:
    return f"{stage.part.source.document}, {stage.part.source.paragraph}"
