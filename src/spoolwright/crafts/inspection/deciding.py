"""Use cases on a finding: the own look, the decision, engineering's answer, the blend, the replacement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from spoolwright.crafts.inspection.calc import disposition_calculation
from spoolwright.crafts.inspection.checks import compared
from spoolwright.crafts.inspection.lengths import in_mm
from spoolwright.crafts.inspection.model import (
    BlendDone,
    Check,
    Decision,
    DispositionAccepted,
    EngineeringAnswered,
    FindingRecorded,
    Judgement,
    PartReplaced,
    Proposed,
    ViewGiven,
)
from spoolwright.crafts.inspection.service import INSPECTING, finding_words
from spoolwright.crafts.inspection.stage import Stage
from spoolwright.crafts.inspection.standing import FindingState, StageState
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.parts import segment
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

AGREES: dict[Proposed, Decision] = {
    Proposed.AS_IS: "serviceable",
    Proposed.BLEND: "blend",
    Proposed.OUTSIDE: "scrap",
    Proposed.REFER: "refer to engineering",
}
"""The decision that follows a proposal; 'measure first' has none."""
MAY: dict[Proposed, tuple[Decision, ...]] = {
    Proposed.AS_IS: ("serviceable", "blend", "scrap", "refer to engineering"),
    Proposed.BLEND: ("blend", "scrap", "refer to engineering"),
    Proposed.OUTSIDE: ("scrap", "refer to engineering"),
    Proposed.REFER: ("scrap", "refer to engineering"),
    Proposed.MEASURE: ("scrap", "refer to engineering"),
}
"""What a person may decide: never more than the limits allow."""


@dataclass(frozen=True)
class Choice:
    """What a person decides on a finding."""

    number: int
    decided: Decision
    reason: str = ""


def give_views(desk: Desk, stage: StageState, views: Mapping[int, Decision]) -> list[Entry[Body]]:
    """Record the person's own look at findings, before the proposals are shown.

    Raises
    ------
    InputError
        There is no such finding, or the person's view of it is recorded already.
    """
    desk.entitled(*INSPECTING)
    news = []
    for number, view in views.items():
        finding = finding_of(stage, number)
        if finding.view_of(desk.person.login) is not None:
            what = f"your view of finding {number} is recorded already."
            raise InputError(what, mend="Decide on it now; you may differ from your first view.")
        before = finding.views.get(desk.person.login)
        body = ViewGiven(finding=finding.entry.subject, finding_revision=finding.entry.revision, view=view)
        subject = f"{finding.entry.subject}/view/{desk.person.login}"
        after, reason = (before.revision, "the finding was corrected") if before else (0, "")
        news.append(New(subject, body, visit=stage.visit, after=after, reason=reason))
    return desk.record(*news) if news else []


def finding_of(stage: StageState, number: int) -> FindingState:
    """A finding that stands, by its number."""
    found = stage.finding(number)
    if found is None or found.body.withdrawn:
        raise InputError(f"there is no finding {number} here.", mend="Look at the list again.")
    return found


def accept_shown(folder: Folder, stage: StageState, choices: Sequence[Choice]) -> str:
    """What is signed: each finding with what the limits say and what is decided."""
    lines = []
    for choice in choices:
        finding = finding_of(stage, choice.number)
        judged = _judged(finding)
        paragraph = f" ({judged.paragraph})" if judged.paragraph else ""
        differs = f" Because: {choice.reason}" if choice.reason else ""
        lines.append(
            f"{choice.number}. {_upper(finding_words(folder, finding.body))}. {judged.words}{paragraph} "
            f"Decided: {choice.decided}.{differs}"
        )
    serial = f", serial {stage.serial}" if stage.serial else ""
    return "\n".join([f"Visit {stage.visit}. {stage.part.name}{serial}.", *lines])


def accept(desk: Desk, stage: StageState, choices: Sequence[Choice], shown: str) -> list[Entry[Body]]:
    """Sign decisions on findings.

    Raises
    ------
    InputError
        A person has not given the own view, decides more than the limits allow, or differs without a reason.
    """
    desk.entitled(*INSPECTING)
    if not choices:
        raise InputError("nothing is decided.", mend="Choose for at least one finding.")
    news = []
    for choice in choices:
        finding = finding_of(stage, choice.number)
        body = _disposition(desk, stage, finding, choice)
        before = finding.disposition
        reason = "decided again" if before else ""
        subject = f"{finding.entry.subject}/disposition"
        after = before.revision if before else 0
        new = New(subject, body, visit=stage.visit, after=after, reason=reason)
        news.append(signed(new, desk, Meaning.ACCEPTED, shown, *INSPECTING))
    return desk.record(*news)


def _disposition(desk: Desk, stage: StageState, finding: FindingState, choice: Choice) -> DispositionAccepted:
    view, judged = finding.view_of(desk.person.login), _judged(finding)
    if finding.replaced is not None or (finding.blend is not None and finding.blend_holds):
        raise InputError(f"finding {choice.number} is blended or replaced.", mend="Nothing is to decide.")
    if view is None:
        what = f"your own view of finding {choice.number} is not recorded."
        raise InputError(what, mend="Look at it and give your view first.", where="view")
    if choice.decided not in MAY[judged.proposed]:
        what = (
            f"finding {choice.number}: {judged.proposed.value}; '{choice.decided}' is not the shop's to say."
        )
        raise InputError(what, mend=f"One of: {', '.join(MAY[judged.proposed])}.", where="decided")
    if choice.decided != AGREES.get(judged.proposed) and not choice.reason.strip():
        what = f"finding {choice.number} is decided otherwise than proposed."
        raise InputError(what, mend="Say why.", where=f"reason_{choice.number}")
    return DispositionAccepted(
        finding=finding.entry.subject,
        finding_revision=finding.entry.revision,
        own_view=view.body.view,
        decided=choice.decided,
        judgement=judged,
        reason=choice.reason.strip(),
        calculation=_calculated(stage, finding, judged),
    )


def _calculated(stage: StageState, finding: FindingState, judged: Judgement) -> Calculation:
    if finding.blend is not None and finding.disposition is not None:  # the damage itself is gone
        return finding.disposition.body.calculation
    return disposition_calculation(*_judged_on(stage, finding), judged.model_dump(mode="json"))


def _judged_on(stage: StageState, finding: FindingState) -> tuple[Stage, int]:
    """The stage on which a finding is judged, and its place there."""
    base = stage.stage
    findings: tuple[FindingRecorded, ...] = base.findings
    if finding.body not in findings:
        findings = (*findings, finding.body)
    return Stage(base.part, base.limits, findings, base.blends), findings.index(finding.body)


def _judged(finding: FindingState) -> Judgement:
    assert finding.judgement is not None
    return finding.judgement


def answer_shown(folder: Folder, finding: FindingState, answer: str, document: str) -> str:
    """What is signed when engineering has answered."""
    words = _upper(finding_words(folder, finding.body))
    told = f"Engineering's answer: {answer} ({document}). I entered it as it stands."
    return f"Visit {folder.visit}. {words}. {told}"


def record_answer(
    desk: Desk, folder: Folder, finding: FindingState, answer: EngineeringAnswered, shown: str, *, after: int
) -> Entry[Body]:
    """Enter engineering's answer to a finding that was referred."""
    held = finding.disposition
    if held is None or held.body.decided != "refer to engineering" or not finding.is_accepted:
        raise InputError("the finding was not referred to engineering.", mend="Decide on it first.")
    subject, reason = f"{finding.entry.subject}/engineering", "answered again" if after else ""
    new = New(subject, answer, visit=folder.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.DID, shown, Role.LEAD, *INSPECTING))[0]


def blend_checks(stage: StageState, finding: FindingState, blend: BlendDone) -> tuple[Check, ...]:
    """A blend as measured, against the line that allowed it."""
    judged = finding.disposition.body.judgement if finding.disposition else None
    line = next((x for x in stage.stage.limits if judged and x.id == judged.limit), None)
    if line is None or line.allows != "blend":
        return ()
    out = []
    rows = (
        ("depth from the original edge", blend.depth, line.depth_after_max, True),
        ("length", blend.length, line.length_max, True),
        ("radius", blend.radius, line.radius_min, False),
    )
    for name, size, bound, at_most in rows:
        if bound is not None:
            reading, u = (size.mm, size.u_mm) if size else (None, 0.0)
            out.append(compared(name, reading, in_mm(bound, line.unit), line.unit, u, at_most=at_most))
    if line.length_to_depth_min is not None and blend.depth.mm > 0:
        ratio = blend.length.mm / blend.depth.mm
        least = line.length_to_depth_min
        holds = blend.length.mm >= in_mm(least, "mm") * blend.depth.mm
        said = f"{float(ratio):.2f}".rstrip("0").rstrip(".")
        out.append(Check(bound="length to depth", reading=said, limit=f"at least {least}", holds=holds))
    return tuple(out)


def blend_shown(folder: Folder, finding: FindingState) -> str:
    """What is signed when a blend was measured."""
    words = _upper(finding_words(folder, finding.body))
    return f"Visit {folder.visit}. {words}. It is blended; the sizes entered are as I measured them."


def record_blend(
    desk: Desk, stage: StageState, finding: FindingState, blend: BlendDone, shown: str, *, after: int
) -> list[Entry[Body]]:
    """Record a blend as measured; inspection for cracks afterwards becomes owed by the event."""
    if finding.decided != "blend":
        raise InputError("no blend was decided for this finding.", mend="Decide on it first.")
    body = blend.model_copy(update={"checks": blend_checks(stage, finding, blend)})
    subject, reason = f"{finding.entry.subject}/blend", "measured again" if after else ""
    new = New(subject, body, visit=stage.visit, after=after, reason=reason)
    news = [signed(new, desk, Meaning.DID, shown, Role.BUILDER, *INSPECTING)]
    if not after:
        news.append(_event(stage, finding, "blended", f"depth {blend.depth}, length {blend.length}"))
    return desk.record(*news)


def replaced_shown(folder: Folder, finding: FindingState) -> str:
    """What is signed when a blade or part was replaced."""
    words = _upper(finding_words(folder, finding.body))
    return f"Visit {folder.visit}. {words}. What carries it was taken out and replaced."


def record_replaced(
    desk: Desk, stage: StageState, finding: FindingState, new_serial: str, remark: str, shown: str
) -> list[Entry[Body]]:
    """Record that the blade or part with a finding was replaced."""
    if finding.decided != "scrap":
        raise InputError("it was not decided that it goes.", mend="Decide on it first.")
    body = PartReplaced(finding=finding.entry.subject, new_serial=new_serial, remark=remark)
    new = New(f"{finding.entry.subject}/replaced", body, visit=stage.visit)
    event = _event(stage, finding, "replaced", f"new serial {new_serial}" if new_serial else "")
    return desk.record(signed(new, desk, Meaning.DID, shown, Role.BUILDER, *INSPECTING), event)


def _event(stage: StageState, finding: FindingState, what: str, detail: str) -> New:
    part, serial = stage.part, segment(stage.serial) if stage.serial else "-"
    on = f"{part.numbered} {finding.body.blade}" if finding.body.blade is not None else ""
    body = WorkEvent.model_validate(
        {
            "what": what,
            "item": part.part,
            "module": part.module,
            "serial": stage.serial,
            "detail": ", ".join(x for x in (on, detail) if x),
        }
    )
    subject = f"visit/{stage.visit}/event/inspection-{what}-{part.id}-{serial}-{finding.number}"
    return New(subject, body, visit=stage.visit)


def _upper(text: str) -> str:
    return text[0].upper() + text[1:]
