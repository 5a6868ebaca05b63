"""The scope of a visit: what is offered, what is asked for, what the lead signs and what follows from it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from shop.memory import NOON, MemoryShop
from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.bootstrap.scoping import facts_of
from spoolwright.core.planning.visits import LifedPart
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import (
    DispositionAccepted,
    FindingRecorded,
    Judgement,
    Proposed,
)
from spoolwright.crafts.scope.compare import NAME
from spoolwright.crafts.scope.facts import Facts, MarginFacts, Missing, PartFacts
from spoolwright.crafts.scope.future import forced_only, future_of
from spoolwright.crafts.scope.model import ScopeAsked, ScopeChosen
from spoolwright.crafts.scope.service import Proposal, ask, asked_of, choose, chosen_of, propose, shown_of
from spoolwright.crafts.typefile.shop.inspection import Damage
from spoolwright.crafts.visit.entry import Calculation, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.parts import PartNeeded
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

TODAY = NOON.date()
ASKED = ScopeAsked(begin_on=TODAY, least_life_h=500.0)
MARGINS = MarginFacts(
    limits=("MGT", "power"),
    means=(4.0, 12_000.0),
    uncertainties=(4.0, 6_000.0),
    passing=0.83,
    changes={
        "restore_clearance_gas_generator_turbine_1": (6.0, 9_000.0),
        "nozzle_gas_generator_turbine_A": (-2.0, 8_000.0),
        "restore_nozzle_gas_generator_turbine": (2.0, 1_000.0),
    },
)


@pytest.fixture
def shop() -> MemoryShop:
    shop = MemoryShop()
    shop.hire("lena", "Lena Ost", Role.LEAD)
    shop.hire("ines", "Ines Falk", Role.INSPECTOR)
    shop.open_visit()
    return shop


def known(folder: Folder, life: float = 3000.0, **parts: PartFacts) -> Facts:
    """Facts in which every life-limited part has the same life left."""
    limited = {k.id for k in folder.kind.shop.part if k.life_limited}
    every = {
        i.part: PartFacts(i.part, life_h=life if i.part in limited else None)
        for i in folder.kind.shop.scope_item
    }
    return Facts(every | parts, MARGINS)


def lines(proposal: Proposal, number: int) -> dict[str, str]:
    return {x.part: x.option for x in proposal.alternatives[number].lines}


def test_nothing_asks_for_work_and_nothing_is_done(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    cheapest = propose(folder, ASKED, known(folder)).alternatives[0]
    assert {x.kind for x in cheapest.lines} == {"keep"}
    terms = folder.kind.shop.scope_terms
    assert terms is not None
    assert (cheapest.money, cheapest.opened) == (terms.visit_money, ())
    assert cheapest.passing == pytest.approx(MARGINS.passing, abs=1e-6)  # as the forecast says


def test_what_a_scrapped_part_leaves_to_choose(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    disc = PartFacts("turbine_disc_1", life_h=3000.0, need="replace", because=("crack on slot 3: scrap",))
    facts = known(folder, turbine_disc_1=disc)
    for n, one in enumerate(propose(folder, ASKED, facts).alternatives):
        assert lines(propose(folder, ASKED, facts), n)["turbine_disc_1"] in ("exchange", "replace")
        assert "hot_section" in one.opened
        assert next(x for x in one.lines if x.part == "turbine_disc_1").because == disc.because


def test_a_part_that_does_not_reach_the_next_visit_is_not_kept(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    short = PartFacts("impeller", life_h=499.0)
    proposal = propose(folder, ASKED, known(folder, impeller=short))
    for n, one in enumerate(proposal.alternatives):
        assert lines(proposal, n)["impeller"] in ("exchange", "replace")
        assert one.life_h is not None and one.life_h >= ASKED.least_life_h
    offered = next(o for o in proposal.case.offered if o.item.part == "impeller")
    assert any("499 h left, 500 h asked" in told for told in offered.out)


def test_no_part_at_the_end_of_its_life_is_kept_even_when_nothing_is_asked(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    asked = ASKED.model_copy(update={"least_life_h": 0.0})
    used_up = PartFacts("turbine_disc_2", life_h=0.0)
    proposal = propose(folder, asked, known(folder, turbine_disc_2=used_up))
    assert all(lines(proposal, n)["turbine_disc_2"] != "keep" for n in range(len(proposal.alternatives)))


def test_more_life_asked_than_any_option_gives(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    asked = ASKED.model_copy(update={"least_life_h": 50_000.0})
    with pytest.raises(InputError, match="nothing is left to do"):
        propose(folder, asked, known(folder))


def test_alternatives_say_what_they_give_up(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    proposal = propose(folder, ASKED, known(folder, life=900.0))
    told = proposal.alternatives
    assert 3 <= len(told) <= 7
    assert [a.money for a in told] == sorted(a.money for a in told)
    best = max(told, key=lambda a: a.passing or 0.0)
    assert best.passing is not None and best.passing > MARGINS.passing
    assert "against the cheapest" in best.gives_up
    assert "of the chance to pass" in told[0].gives_up
    assert all(a.days_50 <= a.days_80 for a in told)
    assert all(a.gives_up.startswith("Gives up") for a in told)


def test_the_same_clearance_is_not_restored_twice(shop: MemoryShop) -> None:
    """Blades and shroud segments both restore the clearance of stage 1: its effect counts once."""
    folder = shop.folder("W100")
    worn = {
        p: PartFacts(p, life_h=900.0, need="replace") for p in ("turbine_blade_1", "turbine_shroud_segment")
    }
    only = replace(MARGINS, changes={"restore_clearance_gas_generator_turbine_1": (6.0, 9_000.0)})
    proposal = propose(folder, ASKED, replace(known(folder, **worn), margins=only))
    for one in proposal.alternatives:
        assert one.margin == pytest.approx(min((4.0 + 6.0) / 4.0, (12_000.0 + 9_000.0) / 6_000.0))


def test_opening_a_module_anyway_is_paid(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    asked = ASKED.model_copy(update={"must_open": ("compressor",)})
    assert all("compressor" in a.opened for a in propose(folder, asked, known(folder)).alternatives)


def test_what_blocks_leaves_no_alternative(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    facts = replace(known(folder), missing=(Missing("no rate", "/", blocks=True),))
    assert propose(folder, ASKED, facts).alternatives == ()


def test_only_the_lead_asks_and_signs(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    with pytest.raises(NotEntitledError):
        ask(shop.desk("ines"), folder, ASKED, 0)
    proposal = propose(folder, ASKED, known(folder))
    shown = shown_of(folder, ASKED, proposal, 1)
    with pytest.raises(NotEntitledError):
        choose(shop.desk("ines"), folder, ASKED, proposal, 1, shown, after=0)


def test_the_signed_scope_asks_for_its_parts_and_promises_a_day(shop: MemoryShop) -> None:
    lena, folder = shop.desk("lena"), shop.folder("W100")
    ask(lena, folder, ASKED, 0)
    asked = asked_of(shop.folder("W100"))
    assert asked is not None and asked.body == ASKED
    facts = known(folder, turbine_disc_1=PartFacts("turbine_disc_1", life_h=3000.0, need="replace"))
    proposal = propose(folder, ASKED, facts)
    shown = shown_of(folder, ASKED, proposal, 1)
    choose(lena, folder, ASKED, proposal, 1, shown, after=0)
    after = shop.folder("W100")
    entry = chosen_of(after)
    assert entry is not None and entry.signature is not None and entry.signature.shown == shown
    body: ScopeChosen = entry.body
    assert body.promised_on >= TODAY + timedelta(days=int(body.chosen.days_80))
    assert f"{body.promised_on:%d %b %Y}" in shown
    assert body.exclusions
    assert body.cards == ("teardown_hot_section",)
    needs = {e.body.part: e.body for e in after.of(PartNeeded)}
    assert set(needs) == {x.part for x in body.chosen.lines if x.kind in ("replace", "exchange")}
    assert needs["turbine_disc_1"].asked_by == "scope"


def test_another_scope_withdraws_what_it_does_not_need(shop: MemoryShop) -> None:
    lena, folder = shop.desk("lena"), shop.folder("W100")
    scrapped = known(folder, turbine_disc_1=PartFacts("turbine_disc_1", life_h=3000.0, need="replace"))
    first = propose(folder, ASKED, scrapped)
    choose(lena, folder, ASKED, first, 1, shown_of(folder, ASKED, first, 1), after=0)
    folder = shop.folder("W100")
    second = propose(folder, ASKED, known(folder))
    choose(lena, folder, ASKED, second, 1, shown_of(folder, ASKED, second, 1), after=1)
    (need,) = shop.folder("W100").of(PartNeeded)
    assert need.body.withdrawn and need.revision == 2


def test_signed_text_must_be_the_one_that_holds_now(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    proposal = propose(folder, ASKED, known(folder))
    with pytest.raises(InputError, match="not the one that was shown"):
        choose(shop.desk("lena"), folder, ASKED, proposal, 1, "something else", after=0)
    with pytest.raises(InputError, match="no alternative 9"):
        shown_of(folder, ASKED, proposal, 9)


def test_the_stored_calculation_runs_again(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    stored = propose(folder, ASKED, known(folder, life=900.0)).calculation
    kept = Calculation.model_validate_json(stored.model_dump_json())
    again = RECOMPUTE[NAME](kept.inputs, lambda _: b"")
    assert json.loads(json.dumps(again)) == kept.result


def test_shipped_scope_names_parts_cards_and_modules_that_are_there(shop: MemoryShop) -> None:
    kind = shop.folder("W100").kind
    parts, cards = {p.id for p in kind.shop.part}, {c.id for c in kind.shop.route_card}
    modules = {m.id for m in kind.type_file.module}
    assert {i.part for i in kind.shop.scope_item} <= parts
    assert {c for i in kind.shop.scope_item for o in i.option for c in o.cards} <= cards
    assert {o.module for o in kind.shop.scope_opening} == modules
    limited = {p.id for p in kind.shop.part if p.life_limited}
    for item in kind.shop.scope_item:
        assert item.option[0].kind == "keep"
        if item.part in limited:
            assert all(o.life_h for o in item.option if o.kind in ("replace", "exchange"))


def find(shop: MemoryShop, part: str, blade: int, decided: str = "") -> None:
    subject = f"visit/W100/inspection/{part}/-/finding/{blade}"
    finding = FindingRecorded(
        part=part, blade=blade, zone="leading_edge", damage=Damage.NICK, depth=Size(value="0.4", unit="mm")
    )
    desk = shop.desk("ines")
    desk.record(New(subject, finding, visit="W100"))
    if decided:
        body = DispositionAccepted(
            finding=subject,
            finding_revision=1,
            own_view=decided,  # type: ignore[arg-type]
            decided=decided,  # type: ignore[arg-type]
            judgement=Judgement(proposed=Proposed.BLEND, words="blend within limits"),
            calculation=Calculation(name="inspection.judgement", version="1", inputs={}, result={}),
        )
        desk.record(New(f"{subject}/disposition", body, visit="W100"))


def test_findings_say_what_is_needed(shop: MemoryShop) -> None:
    find(shop, "axial_rotor_1", 3, "serviceable")
    find(shop, "axial_rotor_1", 7, "blend")
    find(shop, "turbine_blade_1", 5, "scrap")
    find(shop, "impeller", 2, "scrap")
    find(shop, "impeller", 9)
    facts = facts_of(shop.desk("lena"), shop.folder("W100"))
    assert facts.parts["axial_rotor_1"].need == "repair"
    assert facts.parts["axial_rotor_1"].because == ("nick on blade 7: blend",)
    assert facts.parts["turbine_blade_1"].need == "repair"  # one blade of a set goes, the set stays
    assert facts.parts["impeller"].need == "replace"
    assert any("blade 9 has no disposition yet" in m.text for m in facts.missing)


def test_what_the_records_do_not_say_is_asked_for(shop: MemoryShop) -> None:
    facts = facts_of(shop.desk("lena"), shop.folder("W100"))
    told = " ".join(m.text for m in facts.missing)
    assert "no serial is recorded" in told and "No forecast in this visit" in told
    assert facts.margins is None
    assert propose(shop.folder("W100"), ASKED, facts).alternatives == ()


def test_work_does_not_begin_before_the_engine_came(shop: MemoryShop) -> None:
    early = ASKED.model_copy(update={"begin_on": date(2020, 1, 1)})
    with pytest.raises(InputError, match="before the engine came"):
        ask(shop.desk("lena"), shop.folder("W100"), early, 0)


def test_coming_visits_cost_no_more_than_what_limits_force(shop: MemoryShop) -> None:
    """Doing only what limits force is one of the plans, so the best costs no more."""
    folder = shop.folder("W100")
    lives = {"turbine_disc_1": 700.0, "turbine_disc_2": 900.0, "impeller": 1300.0, "axial_rotor_1": 1600.0}
    facts = known(folder, life=4000.0, **{p: PartFacts(p, life_h=h) for p, h in lives.items()})
    found = future_of(folder.kind.shop, facts)
    assert found is not None and found.gap == 0.0
    assert found.money <= found.forced_money
    assert found.visits[0].hours <= 500.0  # 700 h are two whole steps of 250 h
    shared = [v for v in found.visits if len(v.parts) > 1]
    assert shared, "an opening that is paid once is worth sharing"


def test_what_limits_alone_force() -> None:
    """Replaced at the end of each life, by hand: steps 2, 5, 8 and 4, 8."""
    parts = [LifedPart(0, 2, 3, 1.0), LifedPart(0, 4, 4, 1.0)]
    forced = forced_only(parts, 10)
    assert [list(np.flatnonzero(row)) for row in forced] == [[2, 5, 8], [4, 8]]


def test_no_part_with_a_limit_no_plan(shop: MemoryShop) -> None:
    folder = shop.folder("W100")
    assert future_of(folder.kind.shop, Facts({}, None)) is None
