"""The demonstration's route cards and matrix hang together and name what exists."""

from __future__ import annotations

import pytest

from shop.memory import demonstration_type
from spoolwright.crafts.owed.rules import matches
from spoolwright.crafts.testcell.visit.model import AdjustmentKind
from spoolwright.crafts.typefile.shop.routes import CardStep, Measure, RouteCard
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import Role
from spoolwright.units import unit_named

KIND = demonstration_type()
CARDS = {c.id: c for c in KIND.shop.route_card}
DOCUMENTS = {d.id for d in KIND.type_file.document}
MODULES = {m.id for m in KIND.type_file.module}
PARTS = {p.id for p in KIND.shop.part}


@pytest.mark.parametrize("card", CARDS.values(), ids=lambda c: c.id)
def test_a_card_names_what_exists(card: RouteCard) -> None:
    assert card.module == "" or card.module in MODULES
    assert set(card.calls_for) <= set(CARDS)
    sources = [card.source, *(s.source for s in card.step)]
    sources += [m.source for s in card.step for m in s.measure if m.source]
    assert {s.document for s in sources} <= DOCUMENTS
    for step in card.step:
        assert {Role(step.signed_by), Role(step.checked_by)} <= set(Role)
        assert all(unit_named(m.unit).name == m.unit for m in step.measure)
        assert all(e.item in MODULES | PARTS | set(AdjustmentKind) for e in step.event)


def test_every_stage_of_the_job_has_a_card_and_every_torque_is_set_by_the_work() -> None:
    assert {c.stage for c in CARDS.values()} == {"teardown", "inspection", "build", "test rig", "release"}
    built = [m for c in CARDS.values() if c.stage == "build" for s in c.step for m in s.measure]
    torques = [m for m in built if m.unit == "N m"]
    assert torques and all(m.must_meet and m.instrument == "torque wrench" for m in torques)


def test_clearances_stand_before_what_takes_them_apart() -> None:
    for name in ("teardown_hot_section", "teardown_compressor"):
        steps = list(CARDS[name].step)
        apart = min(n for n, s in enumerate(steps) for e in s.event if e.item == CARDS[name].module)
        chances = [n for n, s in enumerate(steps) if s.only_chance]
        assert chances and max(chances) < apart


def test_the_matrix_names_what_exists_and_can_be_closed() -> None:
    limits = {x.id for x in KIND.type_file.limit}
    sets = {x.id for x in KIND.type_file.limit_set}
    for rule in KIND.shop.owed:
        assert rule.source.document in DOCUMENTS
        assert set(rule.closed_by.run) <= sets
        for name in rule.closed_by.step:
            card, step = name.split("/")
            assert step in {s.id for s in CARDS[card].step}
        for after in rule.after:
            known = limits if "exceedance" in after.what else MODULES | PARTS | set(AdjustmentKind)
            assert set(after.item) <= known


def test_no_step_owes_what_only_itself_could_prove() -> None:
    for rule in KIND.shop.owed:
        for name in rule.closed_by.step:
            card, step = name.split("/")
            (mine,) = [s for s in CARDS[card].step if s.id == step]
            owed = [e for e in mine.event if matches(rule, WorkEvent(what=e.what, item=e.item))]
            assert not owed or rule.closed_by.look or len(rule.closed_by.step) > 1


def test_every_limit_of_operation_that_can_be_exceeded_owes_an_inspection() -> None:
    for limit in ("mgt_red_line", "ng_red_line", "np_red_line", "torque_red_line", "start_peak", "chips"):
        event = WorkEvent(what="exceedance", item=limit)
        assert [r for r in KIND.shop.owed if matches(r, event)], limit


def test_mistakes_in_a_card_are_told() -> None:
    source = {"document": "OM-940", "paragraph": "1"}
    measure = {"id": "a", "name": "A", "unit": "mm", "instrument": ""}
    with pytest.raises(ValueError, match="names no document and paragraph"):
        Measure.model_validate(measure | {"max": 1})
    with pytest.raises(ValueError, match="min 2 is above max 1"):
        Measure.model_validate(measure | {"min": 2, "max": 1, "source": source})
    with pytest.raises(ValueError, match="must meet a limit but names none"):
        Measure.model_validate(measure | {"must_meet": True})
    step = {"id": "s", "text": "x", "source": source}
    with pytest.raises(ValueError, match="two measures have the same id"):
        CardStep.model_validate(step | {"measure": [measure, measure]})
    card = {
        "id": "c",
        "revision": "1",
        "title": "t",
        "stage": "build",
        "source": source,
        "step": [step, step],
    }
    with pytest.raises(ValueError, match="two steps have the same id"):
        RouteCard.model_validate(card)
