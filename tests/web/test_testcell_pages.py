"""Pages of the test, of the check on the aircraft and of the fleet, as people use them."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from httpx import Response

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.jobs import Jobs
from spoolwright.bootstrap.shop_testing import Testing
from spoolwright.crafts.installation.model import CheckEntered
from spoolwright.crafts.testcell.visit.model import (
    AdjustmentMade,
    Exceeded,
    RunAttached,
    RunDisposed,
    RunsAssessed,
)
from spoolwright.crafts.testcell.visit.service import store_assessment
from spoolwright.crafts.visit.model import Stage, StageSet, WorkEvent
from spoolwright.rig.quick import quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type
from web.staff import PASSWORD, Browser

ROOM = "/visit/W100/testcell"
FIRST = f"{ROOM}/assessment/1"
People = Callable[[str], Browser]
LOADED = load_type(shipped_type())


@pytest.fixture(scope="module")
def run_files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A run of the rig with a run sheet of visit W100."""
    (run,) = quick_runs(LOADED.type_file, LOADED.engine, 1, seed=64)
    engine = run.sheet.engine.model_copy(update={"serial": "C940-117", "visit": "W100"})
    same = {k: "C940-117" if v == run.sheet.engine.serial else v for k, v in run.recording.attributes.items()}
    mine = replace(
        run,
        recording=replace(run.recording, attributes=same),
        sheet=run.sheet.model_copy(update={"engine": engine}),
    )
    files = write_run(mine, tmp_path_factory.mktemp("run"), "run-1", "parquet")
    return files.recording, files.sheet


@pytest.fixture
def people(browser_of: People, staffed: FilledShop) -> Iterator[People]:
    """Browsers of one server whose calculations run beside it in a thread."""
    made: list[Testing] = []

    def begin(login: str) -> Browser:
        browser = browser_of(login)
        state = browser.client.app.state  # type: ignore[attr-defined]
        if getattr(state, "testing", None) is None:
            made.append(Testing(staffed.shop, lambda: NOON, Jobs(ThreadPoolExecutor(1))))
            state.testing = made[0]
        return browser

    yield begin
    for testing in made:
        testing.jobs.close()


def recorded(answer: Response) -> Response:
    assert answer.status_code == 303, answer.text[-3000:]
    return answer


def attach(who: Browser, files: tuple[Path, Path], **values: str) -> Response:
    recording, sheet = files
    return who.send(
        ROOM,
        f"{ROOM}/runs",
        files={
            "recording": (recording.name, recording.read_bytes(), "application/octet-stream"),
            "sheet": (sheet.name, sheet.read_bytes(), "text/plain"),
        },
        **values,
    )


def wait(who: Browser, visit: str = "W100") -> None:
    jobs = who.client.app.state.testing.jobs  # type: ignore[attr-defined]
    for _ in range(1500):
        found = jobs.of_visit(visit)
        assert not [j.error for j in found if j.state == "failed"]
        if not found:
            return
        time.sleep(0.05)
    raise AssertionError("the work does not end")


def signed_after(who: Browser, page: str, check: str, action: str, **values: str) -> Response:
    """Fill a form, read what is signed on the next page, sign it."""
    asked = recorded(who.send(page, check, **values)).headers["location"]
    return who.send(asked, action, password=PASSWORD)


def assessed(people: People, run_files: tuple[Path, Path]) -> Browser:
    tom = people("tom")
    recorded(attach(tom, run_files))
    wait(tom)
    return tom


def test_a_run_from_attached_to_decided(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    tom = assessed(people, run_files)
    (run,) = staffed.shop.records.current(RunAttached)
    (result,) = staffed.shop.records.current(RunsAssessed)
    sentence = result.body.sentence.split(":")[0]
    assert staffed.shop.attachments.read(run.body.recording.sha256) == run_files[0].read_bytes()
    # design principle 9: nobody who decides sees the proposal before an own look
    assert sentence not in tom.get(ROOM).text
    assert "Record my look" in tom.get(FIRST).text
    assert tom.get(f"{FIRST}/how/{_a_how(staffed, result.body.result.sha256)}").status_code == 404
    assert "Not shown yet" in people("vic").get(FIRST).text
    refused = tom.send(FIRST, f"{FIRST}/look", view="meets", words="")
    assert refused.status_code == 422 and "saw is empty" in refused.text
    recorded(tom.send(FIRST, f"{FIRST}/look", view="meets", words="Steady, oil warm."))
    page = tom.get(FIRST).text
    assert "Thinnest margins" in page and "Steady, oil warm." in page
    assert people("vic").get(FIRST).status_code == 200 and "Thinnest" in people("vic").get(FIRST).text
    assert "Record my look" in people("cora").get(FIRST).text
    missing = tom.send(FIRST, f"{FIRST}/decide/check", decision="rejected")
    assert missing.status_code == 422 and "rejection names its cause" in missing.text
    asked = recorded(tom.send(FIRST, f"{FIRST}/decide/check", decision="rejected", cause="low power"))
    place = asked.headers["location"]
    wrong = tom.send(place, f"{FIRST}/decide", password="not it")
    assert wrong.status_code == 422 and "password" in wrong.text
    recorded(tom.send(place, f"{FIRST}/decide", password=PASSWORD))
    (decided,) = staffed.shop.records.current(RunDisposed)
    assert decided.signature is not None
    assert decided.signature.shown.startswith("Run 1 rejected. Cause: low power.")
    assert "find the cause" in tom.get(ROOM).text
    fleet = people("lena").get("/fleet").text
    assert "0 of 1 engines were accepted at the first decision" in fleet and "low power" in fleet


def _a_how(staffed: FilledShop, sha256: str) -> str:
    from spoolwright.crafts.testcell.model import Assessment

    a = Assessment.model_validate_json(staffed.shop.attachments.read(sha256))
    return next(v.reading.how for v in a.verdicts if v.reading)


def test_every_number_of_the_assessment_opens_its_derivation(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    tom = assessed(people, run_files)
    recorded(tom.send(FIRST, f"{FIRST}/look", view="cannot tell", words="Short run."))
    links = set(re.findall(rf'href="({FIRST}/how/[^"]+)"', tom.get(FIRST).text))
    assert len(links) > 20
    for link in sorted(links)[::7]:
        page = tom.get(link)
        assert page.status_code == 200 and "where it comes from" in page.text
    assert tom.get(f"{FIRST}/how/nothing").status_code == 404


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("C940-117", "C940-118"), "C940-118"),
        (("format = 1", "format = 1\nwrong_key = 3"), "wrong_key"),
    ],
)
def test_a_sheet_that_does_not_belong_is_refused_beside_its_field(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path], tmp_path: Path,
    change: tuple[str, str], told: str,
) -> None:  # fmt: skip
    sheet = tmp_path / "bad.run.toml"
    sheet.write_text(run_files[1].read_text().replace(*change))
    answer = attach(people("tom"), (run_files[0], sheet))
    assert answer.status_code == 422 and told in answer.text
    assert str(tmp_path) not in answer.text and "/tmp/" not in answer.text
    assert staffed.shop.records.current(RunAttached) == []


def test_an_attached_run_is_corrected_with_a_reason_only(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    tom = assessed(people, run_files)
    again = attach(tom, run_files)
    assert again.status_code == 422 and "Say why it is corrected" in again.text
    recorded(attach(tom, run_files, reason="sheet had the wrong fuel batch"))
    wait(tom)
    (run,) = staffed.shop.records.current(RunAttached)
    assert run.revision == 2 and len(staffed.shop.records.history(run.subject)) == 2


def test_an_adjustment_is_read_and_signed_and_told_to_owed(people: People, staffed: FilledShop) -> None:
    tom = people("tom")
    made = {
        "what": "topping",
        "run": "1",
        "before": "38400",
        "unit": "rpm",
        "reason": "short of take-off power",
    }
    lacking = tom.send(ROOM, f"{ROOM}/adjustments/check", **made)
    assert lacking.status_code == 422 and "setting as left is empty" in lacking.text
    recorded(
        signed_after(
            tom, ROOM, f"{ROOM}/adjustments/check", f"{ROOM}/adjustments", **made, after_value="38520"
        )
    )
    (entry,) = staffed.shop.records.current(AdjustmentMade)
    assert entry.body.after is not None and entry.body.after.value == 38520
    assert [e.body.item for e in staffed.shop.records.current(WorkEvent)] == ["topping"]
    refused = people("vic").send(ROOM, f"{ROOM}/adjustments/check", **made, after_value="38520")
    place = recorded(refused).headers["location"]
    assert people("vic").send(place, f"{ROOM}/adjustments", password=PASSWORD).status_code == 403


def test_a_diagnosis_opens_a_page_and_the_lead_reopens(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    tom = assessed(people, run_files)
    recorded(tom.send(ROOM, f"{ROOM}/diagnose"))
    wait(tom)
    page = f"{ROOM}/diagnosis/1"
    shown = tom.get(page).text
    assert "Causes, the most probable first" in shown and "Sister engines in this shop" in shown
    assert "Open a module again" not in shown
    lena = people("lena")
    why = re.findall(rf'href="({page}/how/[^"]+)"', lena.get(page).text)
    assert why and lena.get(why[0]).status_code == 200
    asked = {"module": "hot_section", "back_to": "teardown", "reason": "tip clearance"}
    recorded(signed_after(lena, page, f"{ROOM}/reopen/check", f"{ROOM}/reopen", **asked))
    stages = staffed.shop.records.current(StageSet, visit="W100")
    assert stages[-1].body.stage is Stage.TEARDOWN
    assert "Reopened: Combustor" in lena.get(ROOM).text


CHECK = {
    "checked_on": "2026-05-01", "hours": "3", "pressure_altitude": "3410", "pressure_altitude_unit": "ft",
    "outside_air_temperature": "18.8", "outside_air_temperature_unit": "degC",
    "gas_generator_speed": "95.5", "gas_generator_speed_unit": "%", "power_turbine_speed": "99.9",
    "power_turbine_speed_unit": "%", "torque": "66.6", "torque_unit": "%",
    "measured_gas_temperature": "770", "measured_gas_temperature_unit": "degC",
}  # fmt: skip
PLANE = "/visit/W100/installation"


def test_checks_on_the_aircraft_are_entered_imported_and_compared(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    rex = people("rex")
    odd = rex.send(PLANE, f"{PLANE}/checks", **(CHECK | {"measured_gas_temperature": "18"}))
    assert odd.status_code == 422 and "MGT 18 degC cannot be" in odd.text and 'value="3410"' in odd.text
    recorded(rex.send(PLANE, f"{PLANE}/checks", **CHECK))
    table = "date,hours [h],pressure_altitude [ft],oat [degC],ng [rpm],np [rpm],torque [N m],mgt [degC]\n"
    bad = {"table": ("checks.csv", (table + "2026-05-03,9,1000,9,36900,5831,1024,x\n").encode(), "text/csv")}
    refused = rex.send(PLANE, f"{PLANE}/import", files=bad)
    assert refused.status_code == 422 and "checks.csv:2" in refused.text and "is not a number" in refused.text
    good = {
        "table": ("checks.csv", (table + "2026-05-03,9,1000,9,36300,5831,1024,731\n").encode(), "text/csv")
    }
    recorded(rex.send(PLANE, f"{PLANE}/import", files=good))
    entered = staffed.shop.records.current(CheckEntered)
    assert len(entered) == 2
    place = f"{PLANE}/correct?subject={entered[0].subject}"
    assert 'value="3410"' in rex.get(place).text
    by_pressure = {k: v for k, v in CHECK.items() if not k.startswith("pressure_altitude")}
    by_pressure |= {"pressure": "895.3", "pressure_unit": "hPa"}
    recorded(rex.send(place, f"{PLANE}/correct", **by_pressure, reason="barometer read instead"))
    mended = staffed.shop.records.current(CheckEntered)[0].body.reading
    assert mended.pressure is not None and mended.pressure_altitude is None
    assert 'value="895.3"' in rex.get(place).text
    wrong = rex.send(place, f"{PLANE}/correct", **(by_pressure | {"pressure_unit": "rpm"}), reason="x")
    assert wrong.status_code == 422 and "is a unit of speed" in wrong.text
    assert "No run of this visit is accepted" in rex.get(PLANE).text
    assert "Enter a check" not in people("vic").get(PLANE).text
    tom = assessed(people, run_files)
    recorded(tom.send(FIRST, f"{FIRST}/look", view="meets", words="Steady, oil warm."))
    recorded(signed_after(tom, FIRST, f"{FIRST}/decide/check", f"{FIRST}/decide", decision="accepted"))
    recorded(rex.send(PLANE, f"{PLANE}/compare"))
    wait(rex)
    page = rex.get(PLANE).text
    assert "The rule: Tarn 3 rotorcraft flight manual" in page
    assert page.index("The flight manual") < page.index("Margin against the bench")
    assert "Cannot tell a trend: 2 check(s) are used" in page


def test_tables_are_adopted_by_the_lead(people: People) -> None:
    text = Path(shipped_type().parent / "corrie_940.checks.toml").read_bytes()
    files = {"checks": ("corrie_940.checks.toml", text, "text/plain")}
    page = "/fleet/tables"
    recorded(people("lena").send(page, page, files=files, type_id="corrie_940"))
    assert "corrie_940.checks.toml" in people("tom").get(page).text
    again = people("lena").send(page, page, files=files, type_id="corrie_940")
    assert again.status_code == 422 and "Say why" in again.text


def test_an_exceedance_is_acknowledged_on_the_page_and_owes_work(
    people: People, staffed: FilledShop, run_files: tuple[Path, Path]
) -> None:
    tom = assessed(people, run_files)
    (before,) = staffed.shop.records.current(RunsAssessed)
    hot = Exceeded(
        verdict="v1",
        limit="mgt_red_line",
        name="MGT red line",
        run="1",
        sentence="Reading 871 °C does not meet 866 °C.",
        action="Inspect to OM-940 72-30.",
        source="OLM-940 revision 3, paragraph 3.2",
    )
    body = before.body.model_copy(update={"exceeded": (hot,)})
    store_assessment(staffed.shop.desk("tom", NOON), "W100", body)
    second = f"{ROOM}/assessment/2"
    recorded(tom.send(second, f"{second}/look", view="does not meet", words="MGT went over at the slam."))
    blocked = signed_after(tom, second, f"{second}/decide/check", f"{second}/decide", decision="accepted")
    assert blocked.status_code == 422 and "not acknowledged: MGT red line" in blocked.text
    assert "This clears nothing" in tom.get(ROOM).text
    recorded(tom.send(ROOM, f"{ROOM}/exceeded", password=PASSWORD))
    events = [e.body for e in staffed.shop.records.current(WorkEvent)]
    assert [(e.what, e.item) for e in events] == [("exceedance", "mgt_red_line")]
    owed = people("ines").get("/visit/W100/owed").text
    assert "open; nothing is ready before" in owed and "exceeded" in owed
