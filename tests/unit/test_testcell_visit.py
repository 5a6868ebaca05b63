"""The test cell in a visit: what may be recorded by whom, what stays open, what is written with it."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "shop"))
from memory import NOON, MemoryShop

from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.visit.model import (
    AdjustmentKind,
    AdjustmentMade,
    Exceeded,
    LookTaken,
    ModuleReopened,
    RunAttached,
    RunDisposed,
    RunsAssessed,
)
from spoolwright.crafts.testcell.visit.open import open_items
from spoolwright.crafts.testcell.visit.rules import differences
from spoolwright.crafts.testcell.visit.service import (
    acknowledge,
    attach_run,
    dispose,
    log_adjustment,
    reopen_module,
    store_assessment,
    take_look,
)
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.visit.entry import Attachment, Calculation, ConflictError, Meaning
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened, WorkEvent
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

TOPPING = {"kind": "topping", "at_s": 900.0, "text": "stop screw half a turn", "by": "tor"}
HOT = Exceeded(
    verdict="v7",
    limit="mgt_transient",
    name="MGT, transient",
    run="1",
    sentence="Reading 871 °C does not meet 866 °C.",
    action="Inspect to OM-940 72-30.",
    source="OLM-940 revision 3, 3.2",
)


@pytest.fixture
def shop() -> MemoryShop:
    shop = MemoryShop()
    shop.hire("tor", "Tor Aas", Role.TEST_OPERATOR)
    shop.hire("lea", "Lea Holt", Role.LEAD)
    shop.hire("vic", "Vic Moe", Role.VIEWER)
    shop.open_visit("W100", "C940-117")
    return shop


def sheet(run: str = "1", **changes: Any) -> RunSheet:
    given: dict[str, Any] = {
        "format": 1,
        "run": run,
        "performed_on": date(2026, 5, 4),
        "limit_set": "overhauled",
        "engine": {"serial": "C940-117"},
        "cell": {"cell": "cell_1", "configuration": "B2", "precipitation": "none"},
    }
    return RunSheet.model_validate(given | changes)


def file(shop: MemoryShop, text: str) -> Attachment:
    return shop.attachments.keep(text.encode(), text, "text/csv")


def attach(shop: MemoryShop, run: str = "1", **changes: Any) -> Any:
    (visit,) = shop.records.current(VisitOpened)
    desk = shop.desk("tor")
    return attach_run(desk, visit, sheet(run, **changes), file(shop, f"r{run}"), file(shop, f"s{run}"))


def assessed(shop: MemoryShop, runs: tuple[str, ...] = ("1",), exceeded: tuple[Exceeded, ...] = ()) -> str:
    body = RunsAssessed(
        runs=runs,
        outcome="some_do_not_meet" if exceeded else "all_meet",
        sentence="All readings meet their limits.",
        exceeded=exceeded,
        result=file(shop, "result"),
        calculation=Calculation(name="testcell.assess", version="1", inputs={}, result={}),
    )
    return store_assessment(shop.desk("tor"), "W100", body).subject


def texts(shop: MemoryShop) -> list[str]:
    return [i.text for i in open_items(shop.folder("W100"))]


def decide(shop: MemoryShop, subject: str, decision: str, cause: str = "") -> Any:
    runs = standing(shop.folder("W100")).undecided
    made = RunDisposed(assessment=subject, runs=runs, decision=decision, cause=cause)  # type: ignore[arg-type]
    return dispose(shop.desk("tor"), shop.folder("W100"), made)


def look(shop: MemoryShop, subject: str) -> None:
    taken = LookTaken(assessment=subject, view="meets", words="Steady, warm oil, MGT well below.")
    take_look(shop.desk("tor"), "W100", taken)


def test_a_run_of_another_engine_is_refused_and_the_sentence_tells_both(shop: MemoryShop) -> None:
    with pytest.raises(InputError, match=r"C940-118.*C940-117"):
        attach(shop, engine={"serial": "C940-118"})
    with pytest.raises(InputError, match=r"V-9.*W100"):
        attach(shop, engine={"serial": "C940-117", "visit": "V-9"})
    assert shop.records.current(RunAttached) == []


def test_no_run_is_hidden_or_counted_twice(shop: MemoryShop) -> None:
    attach(shop)
    with pytest.raises(ConflictError):
        attach(shop)
    (visit,) = shop.records.current(VisitOpened)
    with pytest.raises(InputError, match="attached already, as run 1"):
        attach_run(shop.desk("tor"), visit, sheet("2"), file(shop, "r1"), file(shop, "s2"))
    again = attach_run(
        shop.desk("tor"), visit, sheet(), file(shop, "r1"), file(shop, "mended"), after=1, reason="sheet"
    )
    kept = [e.body.sheet.name for e in shop.records.history(again.subject)]  # type: ignore[attr-defined]
    assert kept == ["s1", "mended"]


def test_from_attached_to_accepted_one_thing_is_open_at_a_time(shop: MemoryShop) -> None:
    assert texts(shop) == ["No test run is attached: attach it if one is made."]
    attach(shop)
    assert texts(shop) == ["Run 1 is attached and not assessed."]
    subject = assessed(shop)
    assert texts(shop) == ["Run 1 is assessed: accept or reject it."]
    with pytest.raises(InputError, match="own look"):
        decide(shop, subject, "accepted")
    look(shop, subject)
    entry = decide(shop, subject, "accepted")
    assert texts(shop) == []
    assert entry.signature.meaning is Meaning.ACCEPTED
    assert "All readings meet their limits." in entry.signature.shown
    attach(shop, "2")
    assert texts(shop) == ["Run 2 is attached and not assessed."]
    with pytest.raises(InputError, match="not the assessment of all runs"):
        decide(shop, subject, "rejected", "vibration")


def test_runs_assessed_again_with_the_same_outcome_stay_decided(shop: MemoryShop) -> None:
    attach(shop)
    subject = assessed(shop)
    look(shop, subject)
    decide(shop, subject, "accepted")
    assessed(shop)
    assert texts(shop) == []
    assessed(shop, exceeded=(HOT,))
    assert "Acknowledge: MGT, transient was exceeded in run 1." in texts(shop)
    attach(shop, "2")
    assessed(shop, ("1", "2"))
    assert "Run 1, 2 is assessed: accept or reject it." in texts(shop)


def test_only_those_entitled_decide(shop: MemoryShop) -> None:
    attach(shop)
    subject = assessed(shop)
    view = LookTaken(assessment=subject, view="meets", words="looks fine")
    with pytest.raises(NotEntitledError):
        take_look(shop.desk("vic"), "W100", view)
    made = RunDisposed(assessment=subject, runs=("1",), decision="accepted")
    with pytest.raises(NotEntitledError):
        dispose(shop.desk("vic"), shop.folder("W100"), made)


def test_an_exceedance_is_acknowledged_before_acceptance_and_its_event_is_written_with_it(
    shop: MemoryShop,
) -> None:
    attach(shop)
    subject = assessed(shop, exceeded=(HOT,))
    look(shop, subject)
    assert texts(shop)[0] == "Acknowledge: MGT, transient was exceeded in run 1."
    with pytest.raises(InputError, match="not acknowledged: MGT, transient"):
        decide(shop, subject, "accepted")
    entry, event = acknowledge(shop.desk("tor"), "W100", subject, HOT)
    assert isinstance(event.body, WorkEvent)
    assert (event.body.what, event.body.item) == ("exceedance", "mgt_transient")
    assert event.seq == entry.seq + 1
    assert entry.signature is not None and "clears nothing" in entry.signature.shown
    decide(shop, subject, "accepted")


def test_an_exceedance_of_an_earlier_run_stays_open_when_a_later_assessment_covers_it_no_more(
    shop: MemoryShop,
) -> None:
    attach(shop)
    assessed(shop, exceeded=(HOT,))
    attach(shop, "2")
    assessed(shop, ("1", "2"))
    assert texts(shop)[0] == "Acknowledge: MGT, transient was exceeded in run 1."


def test_adjustments_are_signed_and_told_to_owed(shop: MemoryShop) -> None:
    made = AdjustmentMade(
        what=AdjustmentKind.TOPPING,
        run="1",
        at_s=905.0,
        before=Amount(value=38400, unit="rpm"),
        after=Amount(value=38520, unit="rpm"),
        reason="Take-off power not reached at the stop.",
    )
    entry, event = log_adjustment(shop.desk("tor"), "W100", made)
    assert entry.signature is not None
    assert "topping, from 38400 rpm to 38520 rpm" in entry.signature.shown
    assert isinstance(event.body, WorkEvent)
    assert (event.body.what, event.body.item) == ("adjusted", "topping")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"after": None}, "before or after is missing"),
        ({"after": Amount(value=1.0, unit="%")}, "before is in rpm, after in %"),
        ({"after": Amount(value=38400, unit="rpm")}, "nothing was adjusted"),
        ({"what": AdjustmentKind.MGT_TRIM}, "data plate"),
    ],
)
def test_an_adjustment_that_tells_too_little_is_refused(
    shop: MemoryShop, changes: dict[str, Any], told: str
) -> None:
    given: dict[str, Any] = {
        "what": AdjustmentKind.TOPPING,
        "run": "1",
        "before": Amount(value=38400, unit="rpm"),
        "after": Amount(value=38520, unit="rpm"),
        "reason": "low",
    }
    with pytest.raises(InputError, match=told):
        log_adjustment(shop.desk("tor"), "W100", AdjustmentMade(**(given | changes)))


def adjustment(run: str = "1", at_s: float | None = 905.0, what: str = "topping") -> AdjustmentMade:
    return AdjustmentMade(what=AdjustmentKind(what), run=run, at_s=at_s, reason="why so")


def test_log_and_sheet_are_compared(shop: MemoryShop) -> None:
    run = attach(shop, adjustment=[TOPPING]).body
    assert differences([run], [adjustment()]) == []
    assert differences([run], [adjustment(at_s=None)]) == []
    (missing,) = differences([run], [])
    assert missing.startswith("Run 1: the run sheet tells topping at 900 s by tor")
    far = differences([run], [adjustment(at_s=1000.0)])
    assert len(far) == 2 and "does not tell it" in far[1]
    assert differences([run], [adjustment(), adjustment("3")]) == [
        "1 adjustment(s) logged for run 3, which is not attached."
    ]
    assert len(differences([run], [adjustment(what="idle")])) == 2


def test_reopening_is_the_leads_and_moves_the_stage_back(shop: MemoryShop) -> None:
    attach(shop)
    subject = assessed(shop)
    look(shop, subject)
    decide(shop, subject, "rejected", "hot section")
    assert texts(shop) == ["The run was rejected: find the cause, mend it, run again."]
    made = ModuleReopened(module="hot_section", reason="Tip clearance, 82 % of the evidence.")
    modules = ["compressor", "hot_section"]
    with pytest.raises(NotEntitledError):
        reopen_module(shop.desk("tor"), "W100", made, modules)
    with pytest.raises(InputError, match="no module"):
        reopen_module(shop.desk("lea"), "W100", made.model_copy(update={"module": "rotor"}), modules)
    _, event, stage = reopen_module(shop.desk("lea"), "W100", made, modules)
    assert isinstance(event.body, WorkEvent) and event.body.what == "reopened"
    assert isinstance(stage.body, StageSet) and stage.body.stage is Stage.TEARDOWN
    assert "Module hot section was reopened: a run after it is owed." in texts(shop)
    attach(shop, "2")
    later = assessed(shop, ("1", "2"))
    look(shop, later)
    assert decide(shop, later, "accepted").body.runs == ("2",)
    assert texts(shop) == []
    reopen_module(shop.desk("lea"), "W100", made, modules)
    assert standing(shop.folder("W100")).accepted is None
    assert shop.desk("lea").now == NOON
