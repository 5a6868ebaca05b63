"""A diagnosis in a real browser: read in a minute, opened by number; by mouse, by touch, without script."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_checks import CONTEXTS, CONTRAST, DESK, LINKS, OPEN_ALL, SMALL_TARGETS, TOUCH, opened
from playwright.sync_api import Browser

from sample_diagnosis import CASES, group_found
from spoolwright.reports.diagnosis_html import write_diagnosis_html

pytestmark = pytest.mark.browser
EVERY = pytest.mark.parametrize("case", CASES)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("diagnoses")
    return {name: write_diagnosis_html(made(), folder / f"{name}.html") for name, made in CASES.items()}


@CONTEXTS
def test_answer_proposal_and_ranking_are_on_the_first_screen(
    browser: Browser, files: dict[str, Path], context: dict[str, object]
) -> None:
    seen = opened(browser, files["group"], **context)
    height = context["viewport"]["height"]  # type: ignore[index]
    assert seen.page.locator("main > :first-child").get_attribute("id") == "verdict"
    for part in (
        "h1",
        "#verdict .accept",
        "#causes .together tr:nth-child(3)",
        "#causes tbody:nth-of-type(2)",
    ):
        box = seen.page.locator(part).bounding_box()
        assert box and box["y"] + box["height"] < height, part
    seen.page.wait_for_timeout(300)
    assert seen.page.evaluate("window.shifted") < 0.01
    assert seen.complaints == []
    assert seen.requests == [files["group"].as_uri()]


@pytest.mark.parametrize("width", [390, 768, 1024, 1440])
@EVERY
def test_the_page_never_scrolls_sideways(
    browser: Browser, files: dict[str, Path], case: str, width: int
) -> None:
    page = opened(browser, files[case], viewport={"width": width, "height": 800}).page
    page.evaluate(OPEN_ALL)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@CONTEXTS
def test_a_probability_opens_what_it_rests_on(
    browser: Browser, files: dict[str, Path], context: dict[str, object]
) -> None:
    seen = opened(browser, files["group"], **context)
    page, touch = seen.page, bool(context.get("has_touch"))
    number = page.locator(f"#causes .together {LINKS}").first
    number.tap() if touch else number.click()
    box = page.locator("dialog")
    assert page.locator("#how-title").inner_text() == "Probability: one of the group"
    inner = box.locator(LINKS).first
    inner.tap() if touch else inner.click()
    assert page.locator("#how-title").inner_text() == "Probability: Compressor fouled"
    for words in ("58.0 %", "Bayes' rule", "41 accepted runs", "2.2 % low at all six points"):
        assert words in box.inner_text()
    assert seen.complaints == []


def test_a_margin_opens_its_own_derivation(browser: Browser, files: dict[str, Path]) -> None:
    page = opened(browser, files["group"], **DESK).page
    page.locator(f"#after td:nth-child(3) {LINKS}").first.click()
    assert page.locator("#how-title").inner_text() == group_found().derivations["after-0"].title
    assert "+17 ± 13 kW" in page.locator("dialog").inner_text()


def test_without_script_a_number_leads_to_the_appendix(browser: Browser, files: dict[str, Path]) -> None:
    page = opened(browser, files["group"], **DESK, java_script_enabled=False).page
    number = page.locator(f"#causes {LINKS}").first
    target = (number.get_attribute("href") or "").removeprefix("#")
    number.click()
    box = page.locator(f'[id="{target}"]').bounding_box()
    assert box and 0 <= box["y"] < 900


@EVERY
def test_everything_touched_is_large_enough(browser: Browser, files: dict[str, Path], case: str) -> None:
    page = opened(browser, files[case], **TOUCH).page
    page.evaluate(OPEN_ALL)
    assert page.evaluate(SMALL_TARGETS) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("case", ["group", "two"])
def test_text_stands_out_from_its_ground(
    browser: Browser, files: dict[str, Path], case: str, scheme: str
) -> None:
    page = opened(browser, files[case], **DESK, color_scheme=scheme).page
    page.evaluate(OPEN_ALL)
    assert page.evaluate(CONTRAST) == {}


def test_colour_stands_at_limits_only(browser: Browser, files: dict[str, Path]) -> None:
    """Red, amber and green mark limits (as 14 CFR 27.1549 marks instruments); all else is ink or touch."""
    page = opened(browser, files["two"], **DESK, color_scheme="light").page
    page.evaluate(OPEN_ALL)
    coloured = page.evaluate(
        "() => [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility())"
        ".filter((e) => ['rgb(179, 38, 30)', 'rgb(132, 83, 0)'].some("
        "(c) => ['color', 'stroke', 'fill'].some((name) => getComputedStyle(e)[name] === c)))"
        ".map((e) => e.closest('section').id)"
    )
    assert coloured and set(coloured) == {"after"}


def test_print_is_black_on_white_and_fits_the_paper(browser: Browser, files: dict[str, Path]) -> None:
    page = opened(browser, files["group"], **DESK, color_scheme="dark").page
    page.emulate_media(media="print", color_scheme="light")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    colours = page.evaluate(
        "() => [...new Set([...document.querySelectorAll('body *')].filter((e) => e.checkVisibility())"
        ".map((e) => getComputedStyle(e).color))]"
    )
    for colour in colours:
        r, g, b = colour.removeprefix("rgb(").removesuffix(")").split(", ")
        assert r == g == b
    page.set_viewport_size({"width": 695, "height": 1000})  # A4 less the margins, in CSS pixels
    assert page.evaluate("document.documentElement.scrollWidth") <= 697
