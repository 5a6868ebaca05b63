"""One engine from arrival to the check on the aircraft, in a real browser; repeats go by use cases."""

from __future__ import annotations

import contextlib
import re
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Error, Page, expect
from pypdf import PdfReader

from spoolwright.bootstrap.demo.lives import enter_lives, review_lives
from spoolwright.bootstrap.demo.parts import kits_and_fits, stocks_the_store
from spoolwright.bootstrap.demo.people import PASSWORD, hire
from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.crafts.release.model import PackMade, ReleaseSigned
from spoolwright.crafts.visit.model import Stage
from spoolwright.crafts.visit.parts import Counts
from spoolwright.rig.bench import Ambient
from spoolwright.rig.record import RecordOptions, record_run
from spoolwright.rig.sheet import SheetOptions
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.web.app import create_app
from spoolwright.web.settings import Settings

pytestmark = pytest.mark.browser
NUMBER, SERIAL = "FW-26-900", "H4433"
VISIT = f"/visit/{NUMBER}"
BEGAN = datetime(2026, 9, 7, 8, 0, tzinfo=UTC)


@dataclass
class Told:
    """A served shop, and the story that moves its clock."""

    shop: Shop
    story: Story
    address: str


@pytest.fixture
def told(tmp_path: Path) -> Iterator[Told]:
    shop = open_shop(None, tmp_path / "shop")
    shop.types.adopt(shipped_type(), by="lena", at=BEGAN - timedelta(days=700))
    hire(shop, BEGAN)
    stocks_the_store(shop, shop.desk("rex", BEGAN), shop.desk("ines", BEGAN))
    counts = Counts(hours_since_new=2150.0, starts_since_new=1660)
    story = Story(shop, NUMBER, SERIAL, BEGAN, BEGAN + timedelta(days=60), counts)
    app = create_app(shop, Settings(clock=lambda: story.at))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Told(shop, story, f"http://127.0.0.1:{port}")
    server.should_exit = True
    thread.join(10)
    shop.close()


class People:
    """Everybody's browser window."""

    def __init__(self, browser: Browser, told: Told) -> None:
        self._browser, self._told = browser, told
        self._pages: dict[str, Page] = {}

    def __call__(self, login: str, address: str) -> Page:
        """A person, signed in, on a page; some minutes later."""
        self._told.story.at += timedelta(minutes=11)
        if login not in self._pages:
            self._pages[login] = self._browser.new_context(base_url=self._told.address).new_page()
        page = self._pages[login]
        page.goto(address)
        if page.locator("input[name=login]").count():  # for the first time, or the session has ended since
            page.fill("input[name=login]", login)
            page.fill("input[name=password]", PASSWORD)
            with page.expect_navigation():
                page.click("button.main")
            page.goto(address)
        return page


def press(page: Page, name: str) -> None:
    """Press a button and wait for the page it leads to."""
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).first.click()


def sign(page: Page, action: str = "") -> None:
    """Give the password in a form and send it."""
    which = f'[action$="{action}"]' if action else ""
    form = page.locator(f"form{which}:has(input[name=password])").first
    form.locator("input[name=password]").fill(PASSWORD)
    with page.expect_navigation():
        form.locator(".sign button.main").click()


def receive(at: People) -> None:
    page = at("ines", "/receive")
    page.fill("input[name=number]", NUMBER)
    page.fill("input[name=engine_serial]", SERIAL)
    page.fill("input[name=customer]", "Holm Utility Helicopters")
    page.fill("[name=reason_for_removal]", "low power on a hot day")
    page.fill("input[name=hours_since_new]", "2150")
    page.fill("input[name=starts_since_new]", "1660")
    press(page, "Open the visit")
    expect(page.locator(".visit-head")).to_contain_text(SERIAL)
    expect(at("lena", "/").locator("main")).to_contain_text(SERIAL)


def mend_the_ledger(at: People, story: Story) -> None:
    """The impeller's card does not add up; the record clerk finds the page and corrects the line."""
    page = at("rex", f"{VISIT}/life")
    expect(page.locator("main")).to_contain_text("life not proven")
    page.goto(f"{VISIT}/life/part?pn=940-212-4&sn=212-433-01")
    expect(page.locator(".findings").first).to_contain_text("does not add up")
    assert page.locator("text=may be fitted").count() == 0 or "referred" in page.inner_text("main")
    page.goto(f"{VISIT}/life/line?pn=940-212-4&sn=212-433-01&n=1")
    for measure in ("hours", "cycles", "starts"):
        page.fill(f"input[name=part_on_{measure}]", "0")
    page.fill("input[name=why]", "the missing page was found: the part was new when it was fitted")
    press(page, "Record the correction")
    page.goto(f"{VISIT}/life/part?pn=940-212-4&sn=212-433-01")
    assert page.locator(".findings").count() == 0
    review_lives(story)


def interrupted_card(at: People, story: Story) -> None:
    """A builder is called away; the same person may not check; another inspector does."""
    ref = story.issues("teardown_hot_section", "low power")
    story.works(ref, steps=3)
    story.takes(ref, "ada")
    page = at("ada", f"{VISIT}/cards/{ref.card}/1")
    expect(page.locator(".stand")).to_contain_text("step 4 of 9")
    page.get_by_text("Put the work down, or hand it over").click()
    page.locator(".pick", has_text="is begun").click()
    page.fill("textarea[name=in_hand]", "two of eight bolts are out")
    page.fill("input[name=why]", "called to the cell")
    sign(page, "/put-down")
    expect(page.locator(".hand")).to_contain_text(
        "Work goes on behind step 3, the last one signed: step 4 of 9."
    )
    story.works(ref)
    story.works(story.issues("inspection_hot_section", "teardown is done"))
    kits_and_fits(story, "hot_section")
    _checked_by_another(at, story)


def _checked_by_another(at: People, story: Story) -> None:
    ref = story.issues("build_hot_section", "inspection is closed")
    story.works(ref, steps=1)
    step = "rotor_in"
    story.takes(ref, "ada")
    page = at("ada", f"{VISIT}/cards/{ref.card}/1")
    sign(page, f"/{step}/sign")
    expect(page.locator(".check")).to_contain_text("another inspector checks it")
    assert page.locator('form[action$="/check"]').count() == 0
    other = at("ines", f"{VISIT}/cards/{ref.card}/1")
    other.locator(".pick", has_text=re.compile("^agrees")).click()
    sign(other, "/check")
    expect(other.locator(".stand")).to_contain_text("step 3 of 8")
    story.works(ref)
    story.works(story.issues("rig_for_test", "the build is closed"))
    story.stands_at(Stage.TEST)


def record(story: Story, folder: Path, run: str, seed: int, faults: dict[str, float]) -> tuple[Path, Path]:
    """A run of the engine on the simulated bench: recording and run sheet."""
    loaded = load_type(shipped_type())
    air = Ambient(temperature=286.15, pressure=100_900.0, relative_humidity=0.6, wind_speed=2.0)
    options = RecordOptions(
        seed=seed, serial=SERIAL, faults=faults, on=story.at.date(), rate=5.0, ambient=air,
        sheet=SheetOptions(run=run, limit_set="repaired", visit=NUMBER, hours=2150.0),
    )  # fmt: skip
    files = write_run(record_run(loaded.type_file, loaded.engine, options), folder, f"run-{run}", "parquet")
    return files.recording, files.sheet


def attach(at: People, files: tuple[Path, Path]) -> Page:
    """Attach a run and wait for its assessment."""
    page = at("tom", f"{VISIT}/testcell")
    if not page.locator('form[action$="/runs"] input[name=recording]').is_visible():
        page.get_by_text("Attach a run", exact=True).click()
    page.set_input_files('form[action$="/runs"] input[name=recording]', files[0])
    page.set_input_files('form[action$="/runs"] input[name=sheet]', files[1])
    press(page, "Attach and assess")
    _wait(page)
    return page


def _wait(page: Page) -> None:
    """Until no work is under way any more."""
    page.wait_for_timeout(500)
    for _ in range(240):
        with contextlib.suppress(Error):  # the page may be turning to the result by itself just now
            page.goto(f"{VISIT}/testcell")
            if page.locator("#jobs[hx-get]").count() == 0:
                return
        page.wait_for_timeout(500)
    raise AssertionError(page.inner_text("#jobs"))


def decide(page: Page, view: str, decision: str, cause: str = "") -> None:
    """The operator's own look first; then the proposal is shown and the runs are decided on."""
    assert page.locator("#decide .proposal").count() == 0, "no proposal is shown before the person's own look"
    with page.expect_navigation():
        page.get_by_role("link", name="Record your own look").click()
    page.locator(".pick", has_text=re.compile(f"^{view}$")).click()
    page.fill("textarea[name=words]", "steady at every point, no leak, no odd sound")
    press(page, "Record my look")
    page.locator(".pick", has_text=decision).click()
    page.fill("input[name=cause]", cause)
    press(page, "Read and sign")
    sign(page)
    page.goto(f"{VISIT}/testcell")
    expect(page.locator("#decide")).to_contain_text(decision)


def diagnose_and_reopen(at: People) -> None:
    page = at("lena", f"{VISIT}/testcell")
    press(page, "Diagnose the runs")
    _wait(page)
    with page.expect_navigation():
        page.locator("#diagnosis .proposal a").first.click()
    expect(page.locator("main")).to_contain_text("urbine")
    page.locator('details:has(form[action$="/reopen/check"]) > summary').last.click()
    page.locator('form[action$="/reopen/check"] .pick', has_text="gas generator turbine").click()
    page.fill("[name=reason]", "the diagnosis speaks for turbine tip clearance")
    with page.expect_navigation():
        page.locator('form[action$="/reopen/check"] button').click()
    sign(page)
    expect(at("lena", VISIT).locator("main")).to_contain_text("eopened")


def rebuild(story: Story) -> None:
    """The hot section is taken down and built a second time."""
    for card in ("teardown_hot_section", "inspection_hot_section"):
        story.works(story.issues(card, "opened again after the run"))
    story.works(story.issues("build_hot_section", "clearance restored"))
    story.works(story.issues("rig_for_test", "built again"))


def close_owed_work(at: People, story: Story) -> None:
    """One owed item is closed on its page by who may, the rest likewise."""
    story.works(story.issues("after_run", "the run is accepted"))
    page = at("ines", f"{VISIT}/owed")
    count = page.locator(".owed-item").count()
    assert count > 0
    item = page.locator('.owed-item:has(form[action$="/close"])').first
    if not item.locator('form[action$="/close"]').first.is_visible():
        item.locator("summary").first.click()
    item.locator("input[name=password]").first.fill(PASSWORD)
    with page.expect_navigation():
        item.locator(".sign button.main").first.click()
    expect(page.locator(".owed-item")).to_have_count(count - 1)
    story.settles_what_is_owed()
    expect(at("ines", f"{VISIT}/owed").locator("main")).to_contain_text("Everything that was owed is closed.")


def release(at: People, told: Told, tmp_path: Path) -> None:
    page = at("lena", f"{VISIT}/release")
    page.locator(".pick", has_text="repaired").click()
    press(page, "Set the word")
    page = at("cora", f"{VISIT}/release")
    expect(page.locator(".proposal").first).to_contain_text("Nothing is open and the records agree")
    page.fill("input[name=tracking]", "FEW-900")
    press(page, "Print the pack")
    sign(page, "/release/sign")
    expect(page.locator(".proposal").first).to_contain_text("Released")
    assert told.shop.records.current(ReleaseSigned, visit=NUMBER)
    (pack,) = told.shop.records.current(PackMade, visit=NUMBER)
    path = tmp_path / "pack.pdf"
    path.write_bytes(told.shop.attachments.read(pack.body.pack.sha256))
    text = "".join(p.extract_text() for p in PdfReader(path).pages)
    assert SERIAL in text and "Life-limited parts" in text and "Power at rated MGT" in text


def check_on_the_aircraft(at: People) -> None:
    page = at("tom", f"{VISIT}/installation")
    if not page.locator("input[name=checked_on]").is_visible():
        page.get_by_text("Enter a check", exact=True).click()
    page.fill("input[name=checked_on]", "2026-10-20")
    page.fill("input[name=hours]", "3")
    readings = {
        "pressure_altitude": "2000", "outside_air_temperature": "14", "gas_generator_speed": "95.5",
        "power_turbine_speed": "100", "torque": "80", "measured_gas_temperature": "700",
    }  # fmt: skip
    for name, value in readings.items():
        page.fill(f'form[action$="/checks"] input[name={name}]', value)
    with page.expect_navigation():
        page.locator('form[action$="/checks"] button.main').click()
    expect(page.locator("main")).to_contain_text("20 Oct 2026")


def test_one_engine_from_arrival_to_the_aircraft(browser: Browser, told: Told, tmp_path: Path) -> None:
    at, story = People(browser, told), told.story
    receive(at)
    story.is_received()
    enter_lives(story, gap="impeller")
    story.is_accepted()
    mend_the_ledger(at, story)
    interrupted_card(at, story)
    first = record(story, tmp_path, "1", 38, {"turbine_tip_clearance": 2.5})
    decide(attach(at, first), "does not meet", "rejected", "low power")
    diagnose_and_reopen(at)
    rebuild(story)
    decide(attach(at, record(story, tmp_path, "2", 9, {})), "meets", "accepted")
    close_owed_work(at, story)
    release(at, told, tmp_path)
    story.stands_at(Stage.INSTALLED)
    story.at = max(story.at, datetime(2026, 10, 21, 9, 0, tzinfo=UTC))
    check_on_the_aircraft(at)
    found = told.shop.verify()
    assert found.holds, found.faults
