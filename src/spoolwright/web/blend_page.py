"""What the page of a stage's blends shows: the plan, the drawings, each finding's blend."""

from __future__ import annotations

import cmath
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from spoolwright.crafts.inspection import blend_words as words
from spoolwright.crafts.inspection.blend import BlendEffect, blend_effect, earlier_cut
from spoolwright.crafts.inspection.blend_plan import TOGETHER, Blended, StageBlends
from spoolwright.crafts.inspection.blend_record import CHOOSING, plan_of, plan_shown, planned, still_holds
from spoolwright.crafts.inspection.open import stage_link
from spoolwright.crafts.inspection.service import INSPECTING, finding_words
from spoolwright.crafts.inspection.standing import FindingState, StageState
from spoolwright.crafts.typefile.shop.inspection import Airfoil, DamageLimit
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import RangeError
from spoolwright.reports.blend_charts import balance_svg, interference_svg
from spoolwright.reports.blend_drawing import BlendDrawn, blend_svg


@dataclass(frozen=True)
class BlendShown:
    """A finding's blend as it is shown."""

    number: int
    title: str
    link: str
    blended: Blended
    line: DamageLimit
    effect: BlendEffect
    drawing: str
    chart: str

    @property
    def size(self) -> str:
        return words.size_words(self.blended.taken)

    @property
    def sizing(self) -> tuple[str, ...]:
        return words.sizing(self.blended.taken, self.line)


@dataclass(frozen=True)
class BlendPage:
    """The blends of a stage as a person sees them."""

    state: StageState
    folder: Folder
    desk: Desk
    chosen: tuple[int, ...] = ()

    @cached_property
    def _planned(self) -> tuple[StageBlends | None, str]:
        try:
            return planned(self.state, self.chosen), ""
        except RangeError as error:
            return None, str(error)

    @property
    def found(self) -> StageBlends | None:
        return self._planned[0]

    @property
    def refused(self) -> str:
        """Why no plan is possible; empty where one is."""
        return self._planned[1]

    @property
    def airfoil(self) -> Airfoil:
        assert self.state.part.airfoil is not None
        return self.state.part.airfoil

    @property
    def link(self) -> str:
        return stage_link(self.state.visit, self.state.part.id, self.state.serial)

    @property
    def action(self) -> str:
        return f"/visit/{self.state.visit}/inspection/{self.state.part.id}/blends"

    @property
    def to_view(self) -> list[FindingState]:
        """Findings whose proposal this person may not see yet: the own look comes first."""
        if not set(INSPECTING) & self.desk.person.roles:
            return []
        return [
            f
            for f in self.state.standing
            if not f.is_settled and f.decided is None and f.view_of(self.desk.person.login) is None
        ]

    @property
    def sentence(self) -> str:
        assert self.found is not None
        return words.plan_sentence(self.found, self.state.part)

    @property
    def first(self) -> list[int]:
        """Blades that go only so that the others keep the stage's limits."""
        return [n for n, why in self.found.replaced_for if why == TOGETHER] if self.found else []

    @property
    def in_forecast(self) -> bool:
        """Whether the forecast takes this stage's blends."""
        kind = self.folder.kind.shop.condition
        return kind is not None and self.state.part.id in [b.part for b in kind.blends]

    @property
    def shown(self) -> str:
        """What is signed."""
        assert self.found is not None
        return plan_shown(self.state, self.found)

    @property
    def may_sign(self) -> bool:
        found = self.found
        return bool(
            found and (found.plan.blend or found.plan.replace) and set(CHOOSING) & self.desk.person.roles
        )

    @cached_property
    def signed(self) -> object:
        return plan_of(self.folder, self.state)

    @cached_property
    def holds(self) -> bool:
        """Whether the signed plan is what would be proposed now."""
        entry = plan_of(self.folder, self.state)
        return entry is not None and still_holds(entry, self.state)

    @property
    def balance(self) -> str:
        """The stage's unbalance drawn."""
        found = self.found
        assert found is not None
        each: dict[int, float] = {}
        for b in found.blended:
            if b.finding.blade is not None:
                each[b.finding.blade] = each.get(b.finding.blade, 0.0) + b.taken.unbalance_g_mm
        left = cmath.rect(1e6 * found.plan.unbalance, found.plan.heavy_spot)
        return balance_svg(self.state.part, sorted(each.items()), left, f"{self.state.part.name}: unbalance")

    @property
    def rows(self) -> Iterator[BlendShown]:
        """Every blend of the plan with its drawings."""
        assert self.found is not None
        lines = {x.id: x for x in self.state.stage.limits}
        numbers = {id(f.body): f.number for f in self.state.findings}
        for b in sorted(self.found.blended, key=lambda b: b.finding.blade or 0):
            line = lines[b.judgement.limit]
            effect = blend_effect(b.finding, line, self.state.stage)
            assert effect is not None
            number = numbers[id(b.finding)]
            title = finding_words(self.folder, b.finding)
            title = title[0].upper() + title[1:]
            link = f"/visit/{self.state.visit}/inspection/{self.state.part.id}/finding/{number}"
            drawing = blend_svg(self._drawn(b), f"Blend of finding {number}")
            chart = ""
            if effect.lines:
                chart = interference_svg(self.airfoil, effect.lines, f"Finding {number}: frequencies")
            yield BlendShown(number, title, link, b, line, effect, drawing, chart)

    def _drawn(self, b: Blended) -> BlendDrawn:
        fillets = [z.span_to for z in self.state.part.zone if z.side == "fillet" and z.span_to < 1.0]
        stage, blade = self.state.stage, b.finding.blade
        cuts = [earlier_cut(x, stage) for x in stage.blends if x.blade == blade]
        planned_too = self.found.blended if self.found else ()
        same = [x.taken.cut for x in planned_too if x.finding.blade == blade and x is not b]
        return BlendDrawn(
            self.airfoil,
            b.taken.cut,
            float(b.finding.depth.mm) if b.finding.depth else 0.0,
            float(b.finding.length.mm) if b.finding.length else 0.0,
            max(fillets) * self.airfoil.span_mm if fillets else None,
            tuple(c for c in [*cuts, *same] if c is not None),
        )

    @property
    def said(self) -> object:
        """The words that templates use."""
        return words
