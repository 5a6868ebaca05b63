"""A lost connection loses nothing typed: drafts, sending again, double sending, both values of a conflict."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from spoolwright.crafts.visit.model import NoteTaken
from web.filled import Served, picture
from web.looking import TABLET, signed_in

pytestmark = pytest.mark.browser
NOTES = "/visit/W103/notes"
OFFER, LOST = "and not sent", "No connection: this is not recorded yet"


@pytest.fixture
def tablet(chrome: Browser, served: Served) -> Iterator[Page]:
    """A tablet on the page of notes."""
    with signed_in(chrome, served, "ada", **TABLET) as page:
        page.goto(NOTES)
        yield page


def notes(served: Served, text: str) -> list[NoteTaken]:
    return [e.body for e in served.shop.records.current(NoteTaken, visit="W103") if e.body.text == text]


def written(page: Page, text: str) -> None:
    page.get_by_label("What you saw").fill(text)
    page.locator("label.pick", has_text="Compressor").tap()


def test_what_was_typed_is_offered_again_after_a_reload(tablet: Page, served: Served) -> None:
    written(tablet, "a rub on the shroud")
    tablet.reload()
    expect(tablet.get_by_text(OFFER)).to_be_visible()
    assert tablet.get_by_label("What you saw").input_value() == ""
    tablet.get_by_role("button", name="Take it up again").tap()
    assert tablet.get_by_label("What you saw").input_value() == "a rub on the shroud"
    assert tablet.get_by_label("Compressor").is_checked()
    tablet.get_by_role("button", name="Keep the note").tap()
    expect(tablet.get_by_text("a rub on the shroud")).to_be_visible()
    tablet.reload()
    expect(tablet.get_by_text(OFFER)).to_have_count(0)
    assert len(notes(served, "a rub on the shroud")) == 1


def test_a_draft_can_be_thrown_away(tablet: Page) -> None:
    written(tablet, "a mistake")
    tablet.reload()
    tablet.get_by_role("button", name="Discard it").tap()
    tablet.reload()
    expect(tablet.get_by_text(OFFER)).to_have_count(0)


def test_without_a_line_nothing_is_lost_and_one_tap_sends_again(
    tablet: Page, served: Served, tmp_path: Path
) -> None:
    photo = tmp_path / "rub.png"
    photo.write_bytes(picture())
    written(tablet, "a rub on the liner")
    tablet.get_by_label("Photographs").set_input_files(photo)
    tablet.context.set_offline(True)
    tablet.get_by_role("button", name="Keep the note").tap()
    expect(tablet.get_by_text(LOST)).to_be_visible()
    assert tablet.get_by_label("What you saw").input_value() == "a rub on the liner"
    assert notes(served, "a rub on the liner") == []
    tablet.get_by_role("button", name="Send again").tap()
    expect(tablet.get_by_text(LOST)).to_be_visible()
    tablet.context.set_offline(False)
    tablet.get_by_role("button", name="Send again").tap()
    expect(tablet.locator(".notes").get_by_text("a rub on the liner")).to_be_visible()
    (kept,) = notes(served, "a rub on the liner")
    assert kept.files[0].name == "rub.png"


def test_an_answer_that_gets_lost_does_not_record_twice(tablet: Page, served: Served) -> None:
    written(tablet, "a dent in the duct")

    def lose_the_answer(route: object) -> None:
        route.fetch(max_redirects=0)  # type: ignore[attr-defined]
        route.abort()  # type: ignore[attr-defined]

    tablet.route("**/notes", lose_the_answer, times=1)
    tablet.get_by_role("button", name="Keep the note").tap()
    expect(tablet.get_by_text(LOST)).to_be_visible()
    assert len(notes(served, "a dent in the duct")) == 1
    tablet.get_by_role("button", name="Send again").tap()
    expect(tablet.locator(".notes").get_by_text("a dent in the duct")).to_be_visible()
    assert len(notes(served, "a dent in the duct")) == 1


def test_a_session_that_ended_keeps_the_draft(tablet: Page) -> None:
    written(tablet, "a crack, perhaps")
    tablet.context.clear_cookies()
    tablet.get_by_role("button", name="Keep the note").tap()
    expect(tablet.get_by_text("Your session has ended")).to_be_visible()
    tablet.get_by_role("button", name="Sign in").tap()
    tablet.get_by_label("Your login").fill("ada")
    tablet.get_by_label("Your password").fill("correct horse battery")
    tablet.get_by_role("button", name="Sign in").tap()
    tablet.wait_for_url(f"**{NOTES}")
    tablet.get_by_role("button", name="Take it up again").tap()
    assert tablet.get_by_label("What you saw").input_value() == "a crack, perhaps"


def test_no_password_and_no_token_is_ever_kept_in_the_browser(chrome: Browser, served: Served) -> None:
    with signed_in(chrome, served, **TABLET) as page:
        page.goto("/people/ada")
        page.locator("summary", has_text="New first password").tap()
        page.get_by_label("New password for").fill("a secret of ada")
        page.locator("summary", has_text="Give an authorisation").tap()
        page.get_by_label("Number").last.fill("A-77")
        kept = page.evaluate("() => JSON.stringify({ ...localStorage })")
        token = page.locator("[name=form_token]").first.get_attribute("value")
    assert "A-77" in kept
    assert "secret of ada" not in kept
    assert token not in kept


def test_two_at_once_are_shown_side_by_side_and_the_second_may_correct(
    chrome: Browser, served: Served
) -> None:
    with signed_in(chrome, served, **TABLET) as first, signed_in(chrome, served, **TABLET) as second:
        for page, waits in ((first, "the vane actuator"), (second, "the fuel control")):
            page.goto("/visit/W104")
            page.locator("summary", has_text="Move it on").tap()
            page.get_by_label("What it waits for").fill(waits)
        first.get_by_role("button", name="Record the stage").tap()
        expect(first.get_by_text("waits for the vane actuator").first).to_be_visible()
        second.get_by_role("button", name="Record the stage").tap()
        clash = second.locator(".conflict")
        expect(clash).to_contain_text("the vane actuator")
        expect(clash).to_contain_text("the fuel control")
        assert second.get_by_label("What it waits for").input_value() == "the fuel control"
        second.get_by_role("button", name="Record the stage").tap()
        expect(second.get_by_text("waits for the fuel control").first).to_be_visible()
    history = served.shop.records.history("visit/W104/stage")
    assert [e.body.waits_for for e in history][1:] == ["the vane actuator", "the fuel control"]  # type: ignore[attr-defined]


def test_without_scripts_forms_work_too(chrome: Browser, served: Served) -> None:
    with signed_in(chrome, served, "ada", java_script_enabled=False) as page:
        page.goto(NOTES)
        page.get_by_label("What you saw").fill("written without script")
        page.get_by_role("button", name="Keep the note").click()
        expect(page.locator(".notes").get_by_text("written without script")).to_be_visible()
