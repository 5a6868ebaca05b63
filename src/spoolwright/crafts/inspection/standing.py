"""Where the inspection of a stage stands: what was found, what is proposed, what was decided and done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from spoolwright.crafts.inspection.model import (
    BlendDone,
    Decision,
    DispositionAccepted,
    EngineeringAnswered,
    FindingRecorded,
    Judgement,
    PartReplaced,
    StageInspected,
    ViewGiven,
)
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.typefile.shop.inspection import InspectedPart
from spoolwright.crafts.visit.entry import Body, Entry, Records
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartFitted, segment

Found = Entry[FindingRecorded]


@dataclass
class FindingState:
    """A finding with everything that was recorded on it."""

    entry: Found
    views: dict[str, Entry[ViewGiven]] = field(default_factory=dict)
    disposition: Entry[DispositionAccepted] | None = None
    engineering: Entry[EngineeringAnswered] | None = None
    blend: Entry[BlendDone] | None = None
    replaced: Entry[PartReplaced] | None = None
    judgement: Judgement | None = None
    """What the limits propose now; none for a withdrawn finding."""

    @property
    def number(self) -> int:
        """The number within its stage and visit."""
        return int(self.entry.subject.rsplit("/", 1)[1])

    @property
    def body(self) -> FindingRecorded:
        return self.entry.body

    @property
    def decided(self) -> Decision | None:
        """What holds now: engineering's answer where there is one, else what was accepted."""
        if not self.is_accepted or self.disposition is None:
            return None
        answered = self.engineering
        if answered is not None and answered.body.finding_revision == self.entry.revision:
            return answered.body.answer
        return self.disposition.body.decided

    @property
    def is_accepted(self) -> bool:
        """Whether a disposition stands on the finding as it is recorded now."""
        held = self.disposition
        return held is not None and held.body.finding_revision == self.entry.revision

    @property
    def has_changed(self) -> bool:
        """Whether the limits would propose something else now than what was accepted."""
        if self.disposition is None or self.judgement is None or self.is_settled:
            return False
        return not self.is_accepted or self.judgement.proposed != self.disposition.body.judgement.proposed

    @property
    def is_settled(self) -> bool:
        """Whether the metal itself is dealt with: blended or replaced."""
        return self.blend is not None or self.replaced is not None

    @property
    def blend_holds(self) -> bool:
        """Whether the blend as measured is within the line that allowed it."""
        return self.blend is not None and all(c.holds for c in self.blend.body.checks)

    def view_of(self, login: str) -> Entry[ViewGiven] | None:
        """A person's own look at the finding as it is recorded now."""
        held = self.views.get(login)
        return held if held is not None and held.body.finding_revision == self.entry.revision else None


@dataclass(frozen=True)
class StageState:
    """A part in a visit as it stands."""

    visit: str
    part: InspectedPart
    serial: str
    findings: tuple[FindingState, ...]
    earlier: tuple[FindingState, ...]
    """Of other visits, by the same serial."""
    signed: Entry[StageInspected] | None
    stage: Stage

    @cached_property
    def standing(self) -> list[FindingState]:
        """Findings that were not withdrawn."""
        return [f for f in self.findings if not f.body.withdrawn]

    @property
    def prefix(self) -> str:
        """The subject of the stage."""
        return stage_subject(self.visit, self.part.id, self.serial)

    @property
    def is_signed(self) -> bool:
        """Whether somebody signed that it was looked at whole, and nothing was found or changed since."""
        newest = max((f.entry.seq for f in self.findings), default=0)
        return self.signed is not None and self.signed.body.newest == newest

    def finding(self, number: int) -> FindingState | None:
        """A finding by its number."""
        return next((f for f in self.findings if f.number == number), None)


def stage_subject(visit: str, part: str, serial: str) -> str:
    """The subject of a part in a visit; one without serial is a set that has none."""
    return f"visit/{visit}/inspection/{part}/{segment(serial) if serial else '-'}"


def stage_state(
    folder: Folder, part: InspectedPart, serial: str, earlier: tuple[FindingState, ...] = ()
) -> StageState:
    """A part in a visit, with every finding judged against the limits as they are now."""
    prefix = stage_subject(folder.visit, part.id, serial)
    findings = _folded(e for e in folder.entries if e.subject.startswith(prefix + "/"))
    signed = [e for e in folder.of(StageInspected) if e.subject == f"{prefix}/inspected"]
    limits = tuple(x for x in folder.kind.shop.damage_limit if x.part == part.id)
    gone = _gone(findings, part)
    blends = (*_blends(earlier, part), *_blends(findings, part))
    live = [f for f in findings if not f.body.withdrawn and not f.is_settled and f.body.blade not in gone]
    stage = Stage(part, limits, tuple(f.body for f in live), blends)
    for state, judged in zip(live, judge_stage(stage), strict=True):
        state.judgement = judged
    for state in findings:
        if state.body.withdrawn or state.judgement is not None:
            continue
        if state.is_settled and state.disposition is not None:
            state.judgement = state.disposition.body.judgement
        else:  # on a blade that goes anyway
            alone = Stage(part, limits, (*stage.findings, state.body), blends)
            state.judgement = judge_stage(alone)[-1]
    return StageState(
        folder.visit, part, serial, tuple(findings), earlier, signed[0] if signed else None, stage
    )


def earlier_findings(
    folder: Folder, records: Records, part: InspectedPart, serial: str
) -> tuple[FindingState, ...]:
    """What other visits recorded on the same serial; of a set without serial, visits of the same engine."""
    kinds = (FindingRecorded, DispositionAccepted, EngineeringAnswered, BlendDone, PartReplaced)
    every: list[Entry[Body]] = list(records.current(*kinds))
    mine = [e for e in every if e.visit != folder.visit]
    if not serial:
        engine = folder.of(VisitOpened)[-1].body.engine_serial
        visits = {e.visit for e in records.current(VisitOpened) if e.body.engine_serial == engine}
        mine = [e for e in mine if e.visit in visits]
    return tuple(
        f
        for f in _folded(mine)
        if f.body.part == part.id and f.body.serial == serial and not f.body.withdrawn
    )


def stages_begun(folder: Folder) -> list[tuple[str, str]]:
    """Part and serial of everything that was looked at in a visit."""
    begun = [(e.body.part, e.body.serial) for e in folder.of(FindingRecorded)]
    begun += [(e.body.part, e.body.serial) for e in folder.of(StageInspected)]
    return list(dict.fromkeys(begun))


def serial_known(folder: Folder, part: InspectedPart) -> str:
    """The serial of a part of which an engine has one, from its parts list; else none."""
    kind = next((k for k in folder.kind.shop.part if k.id == part.part), None)
    if kind is None or kind.quantity > 1 or not kind.serialised:
        return ""
    fitted = [
        e.body.serial for e in folder.of(PartFitted) if e.body.part == part.part and e.body.engine_serial
    ]
    return fitted[-1] if fitted else ""


def _folded(entries: Iterable[Entry[Body]]) -> list[FindingState]:
    """Findings with what was recorded on each, in the order they were first recorded."""
    rest: list[Entry[Body]] = []
    states: dict[str, FindingState] = {}
    for e in entries:
        if isinstance(e.body, FindingRecorded):
            states[e.subject] = FindingState(e)  # type: ignore[arg-type]
        else:
            rest.append(e)
    for e in rest:
        state = states.get(getattr(e.body, "finding", ""))
        if state is None:
            continue
        match e.body:
            case ViewGiven():
                state.views[e.author] = e  # type: ignore[assignment]
            case DispositionAccepted():
                state.disposition = e  # type: ignore[assignment]
            case EngineeringAnswered():
                state.engineering = e  # type: ignore[assignment]
            case BlendDone():
                state.blend = e  # type: ignore[assignment]
            case PartReplaced():
                state.replaced = e  # type: ignore[assignment]
    return list(states.values())


def _gone(findings: Iterable[FindingState], part: InspectedPart) -> set[int | None]:
    """Blades that go, so that nothing on them counts any more; none stands for the whole part."""
    going = {f.body.blade for f in findings if f.decided == "scrap" or f.replaced is not None}
    return going if part.count > 1 and part.outline not in WHOLE else set()


WHOLE = frozenset({"integral bladed disk", "impeller", "gears", "nozzle", "disk"})
"""Outlines whose numbered places are of one piece: a place that is outside takes the part with it."""


def _blends(findings: Iterable[FindingState], part: InspectedPart) -> tuple[Earlier, ...]:
    """Blends that are on the metal; those on a blade that was replaced afterwards went with it."""
    states = list(findings)
    new = {f.body.blade: f.replaced.seq for f in states if f.replaced is not None}
    out = []
    for f in states:
        if f.blend is None or f.blend.seq < new.get(f.body.blade, 0):
            continue
        position = f.body.position.mm if f.body.position else None
        blend = f.blend.body
        out.append(Earlier(f.body.blade or 0, f.body.zone, blend.depth.mm, position, blend.length.mm))
    return tuple(out)
