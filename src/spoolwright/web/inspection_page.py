"""What the page of an inspected part shows: the map, the form with what it starts from, what is to decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from spoolwright.crafts.inspection.deciding import AGREES, MAY
from spoolwright.crafts.inspection.entering import COLUMNS, KEYS, METHODS, SIZES, words_of
from spoolwright.crafts.inspection.model import Decision, FindingRecorded
from spoolwright.crafts.inspection.open import is_gone, stage_link
from spoolwright.crafts.inspection.service import INSPECTING, finding_words, whole_shown
from spoolwright.crafts.inspection.standing import FindingState, StageState
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError
from spoolwright.web.inspection_drawing import Outline, Sector, outline, rosette

FIELDS = {
    "depth": "Depth",
    "length": "Length",
    "width": "Width",
    "position": "Middle, from the platform",
    "fillet_distance": "End, from the fillet",
    "thickness_left": "Thickness left",
    "uncertainty": "Standard uncertainty",
}
DECISIONS: tuple[Decision, ...] = ("serviceable", "blend", "scrap", "refer to engineering")
WORDS = {
    "serviceable": "stays as it is",
    "blend": "blend",
    "scrap": "goes",
    "refer to engineering": "refer to engineering",
}
FOUND, DECIDED, GOES, EARLIER = "found", "decided", "goes", "earlier"


@dataclass(frozen=True)
class InspectionPage:
    """An inspected part as a person sees it."""

    stage: StageState
    folder: Folder
    desk: Desk
    asked: Mapping[str, str]

    @property
    def link(self) -> str:
        return stage_link(self.stage.visit, self.stage.part.id, self.stage.serial)

    @property
    def action(self) -> str:
        """Where the part's forms are sent."""
        return f"/visit/{self.stage.visit}/inspection/{self.stage.part.id}"

    @cached_property
    def last(self) -> FindingState | None:
        """The finding that was recorded last, for repeating it."""
        asked = self.asked.get("last", "")
        return self.stage.finding(int(asked)) if asked.isascii() and asked.isdigit() else None

    @cached_property
    def start(self) -> dict[str, str]:
        """What the form starts from: what the address says, else what was entered last."""
        start = {k: v for k, v in self.asked.items() if k in {"blade", "zone", "damage", "clock", *FIELDS}}
        if self.last is not None:
            try:
                before = words_of(self.last.body)
            except InputError:
                before = {}
            kept = ("unit", "method", "gauge", "uncertainty", "blade", "clock", "zone", "damage")
            start = {k: before.get(k, "") for k in kept} | start
        return self.blank | {"unit": "mm", "method": "direct"} | start

    @property
    def blank(self) -> dict[str, str]:
        """A form with nothing in it."""
        return dict.fromkeys(COLUMNS, "")

    def row(self, finding: FindingState) -> dict[str, str]:
        """What was entered, to be corrected."""
        try:
            return words_of(finding.body)
        except InputError:  # two units: the sizes are entered anew
            return self.blank | {"unit": "mm", "zone": finding.body.zone, "damage": finding.body.damage.value}

    @property
    def before(self) -> dict[str, str]:
        """The lengths of the finding recorded last, to repeat one by one."""
        if self.last is None:
            return self.blank
        sizes = {n: getattr(self.last.body, n) for n in SIZES}
        return self.blank | {n: s.value for n, s in sizes.items() if s is not None}

    @property
    def is_numbered(self) -> bool:
        return self.stage.part.count > 1

    @property
    def is_set(self) -> bool:
        """Whether the engine has many of it, each with its own serial."""
        bill = self.folder.kind.shop.part
        return any(k.quantity > 1 for k in bill if k.id == self.stage.part.part)

    @property
    def next_number(self) -> int:
        """The blade after the one recorded last."""
        at = (self.last.body.blade if self.last else None) or 0
        return at % self.stage.part.count + 1

    @property
    def sectors(self) -> list[Sector]:
        """The map of the stage with what was found."""
        states: dict[int, str] = {}
        for finding in self.stage.earlier:
            self._mark(states, finding, EARLIER)
        for finding in self.stage.standing:
            state = FOUND if finding.decided is None else GOES if finding.decided == "scrap" else DECIDED
            self._mark(states, finding, state)
        return rosette(self.stage.part, states)

    def _mark(self, states: dict[int, str], finding: FindingState, state: str) -> None:
        at = finding.body.blade if self.is_numbered else finding.body.clock
        order = (EARLIER, DECIDED, GOES, FOUND)
        if at is not None and order.index(state) >= order.index(states.get(at, EARLIER)):
            states[at] = state

    @property
    def outline(self) -> Outline:
        return outline(self.stage.part)

    @property
    def damages(self) -> list[tuple[str, str, str]]:
        """Kinds of damage: those that a limit of this part names first; value, word, key."""
        named = {d for line in self.stage.stage.limits for d in line.damage}
        ordered = sorted(KEYS, key=lambda d: d not in named)
        return [(d.value, d.value, KEYS[d]) for d in ordered]

    @property
    def named_damages(self) -> int:
        """How many kinds a limit of this part names."""
        return len({d for line in self.stage.stage.limits for d in line.damage})

    @property
    def sizes(self) -> list[tuple[str, str]]:
        """The lengths that a limit of this part asks for, then the rest."""
        asks = {"depth", "length"}
        for line in self.stage.stage.limits:
            asks |= {"width"} if line.width_max else set()
            asks |= {"fillet_distance"} if line.fillet_distance_min else set()
            asks |= {"thickness_left"} if line.remaining_thickness_min else set()
            asks |= {"position"} if line.spacing_min or line.remaining_chord_min else set()
        return [(n, w) for n, w in FIELDS.items() if n in asks] + [
            (n, w) for n, w in FIELDS.items() if n not in asks
        ]

    @property
    def methods(self) -> tuple[str, ...]:
        return METHODS

    @property
    def may_decide(self) -> bool:
        return bool(set(INSPECTING) & self.desk.person.roles)

    @property
    def gone(self) -> bool:
        return is_gone(self.stage)

    @cached_property
    def to_view(self) -> list[FindingState]:
        """Findings that this person has not looked at yet, and that are not decided."""
        if not self.may_decide or self.gone:
            return []
        return [f for f in self._undecided if f.view_of(self.desk.person.login) is None]

    @cached_property
    def to_decide(self) -> list[FindingState]:
        """Findings that this person looked at, waiting for a decision."""
        if not self.may_decide or self.gone:
            return []
        return [f for f in self._undecided if f.view_of(self.desk.person.login) is not None]

    @property
    def _undecided(self) -> list[FindingState]:
        return [f for f in self.stage.standing if needs_decision(f)]

    def shows_proposal(self, finding: FindingState) -> bool:
        """Whether the proposal may be seen: after the person's own look, or once it is decided."""
        return finding.decided is not None or finding.view_of(self.desk.person.login) is not None

    def choices(self, finding: FindingState) -> list[tuple[str, str]]:
        """What may be decided."""
        assert finding.judgement is not None
        return [(d, WORDS[d]) for d in MAY[finding.judgement.proposed]]

    def proposed(self, finding: FindingState) -> str:
        """The decision that follows the proposal."""
        assert finding.judgement is not None
        return AGREES.get(finding.judgement.proposed, "")

    def words(self, body: FindingRecorded) -> str:
        text = finding_words(self.folder, body)
        return text[0].upper() + text[1:]

    def next_step(self, finding: FindingState) -> tuple[str, str]:
        """What stands on a finding now: words and shape."""
        return next_step(finding)

    @property
    def whole(self) -> str:
        """What is signed when everything was seen, directly."""
        return whole_shown(self.stage, self.asked.get("method", "direct"), self.asked.get("not_seen", ""))


def needs_decision(finding: FindingState) -> bool:
    """Whether a person has to decide on a finding, for the first time or again."""
    if finding.replaced is not None or (finding.blend is not None and finding.blend_holds):
        return False
    if finding.blend is not None:
        return finding.decided == "blend"
    return finding.decided is None or finding.has_changed


def next_step(finding: FindingState) -> tuple[str, str]:
    """What stands on a finding now: words and shape."""
    decided = finding.decided
    if finding.body.withdrawn:
        return "withdrawn", "dash"
    if finding.replaced is not None:
        return "replaced", "done"
    if finding.blend is not None and decided == "blend":
        return ("blended", "done") if finding.blend_holds else ("blend outside its limits", "warn")
    if decided is None:
        return "to decide", "none"
    if finding.has_changed:
        return "more was found since: decide again", "warn"
    return {
        "serviceable": ("stays as it is", "done"),
        "blend": ("to be blended", "half"),
        "scrap": ("goes: replacement to come", "half"),
        "refer to engineering": ("with engineering", "wait"),
    }[decided]
