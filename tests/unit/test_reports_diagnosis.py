"""Page, print, file and terminal say what the diagnosis says, and escape what came from outside."""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from pypdf import PdfReader
from rich.console import Console
from test_reports import Elements

from sample_diagnosis import CASES, HOSTILE, cannot_tell, cause_found, group_found, hostile, two_found
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.reports.diagnosis_html import diagnosis_html, write_diagnosis_html
from spoolwright.reports.diagnosis_json import diagnosis_schema, diagnosis_schema_text, write_diagnosis_json
from spoolwright.reports.diagnosis_pdf import diagnosis_pdf, write_diagnosis_pdf
from spoolwright.reports.diagnosis_terminal import print_diagnosis

EVERY = pytest.mark.parametrize("case", CASES.values(), ids=CASES)
Case = Callable[[], Diagnosis]


@pytest.fixture(scope="module")
def page() -> str:
    return diagnosis_html(group_found())


@pytest.fixture(scope="module")
def pdf_pages(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    return printed(group_found(), tmp_path_factory.mktemp("pdf"))


def printed(d: Diagnosis, folder: Path) -> list[str]:
    """Text of each page, whatever its line breaks and kinds of space."""
    path = write_diagnosis_pdf(d, folder / "d.pdf")
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


def on_terminal(d: Diagnosis, *, width: int = 160, everything: bool = False) -> str:
    console = Console(width=width, file=io.StringIO(), color_system=None)
    print_diagnosis(d, console, everything=everything)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue().replace("\u00a0", " ")


def seen(html: str) -> str:
    """What a reader of the page reads before its appendix, whatever its line breaks and kinds of space."""
    body = html[html.index("<main>") : html.index('<section id="how">')]
    return " ".join(re.sub(r"<[^>]*>", " ", body).split())


def test_answer_and_proposal_stand_first_and_the_signature_is_open(page: str) -> None:
    body = page[page.index("<main>") :]
    parts = (
        "verdict",
        "causes",
        "checks",
        "after",
        "evidence",
        "seen",
        "every",
        "doubts",
        "sisters",
        "rest",
        "how",
    )
    places = [body.index(f'id="{name}"') for name in parts]
    assert places == sorted(places)
    words = seen(page)
    assert words.startswith("Diagnosis The compressor has lost 2.3 % of its flow (1.8 to 2.9)")
    assert "Proposed: look at compressor stage 1 with the borescope" in words
    assert words.count("Accepted by:") == 1 and "Accepted by: ____" not in words
    assert "Demonstration data, not approved." in page


def test_page_holds_what_a_lead_needs(page: str) -> None:
    words = seen(page)
    for told in (
        "93 %", "58 %", "35 %", "very probable", "2.3 % of flow", "1.8 to 2.9", "3 h, 240 EUR",
        "46 h, 11 800 EUR", "differ by less than the scatter of builds", "Borescope of compressor stage 1",
        "0.47 bit/h", "tells much", "2.2 % low at all six points", "over 1 000 times more probable",
        "1.2 times less probable",
        "−14 ± 10 kW", "−19 ± 14 hp", "+17 ± 13 kW", "−6.4 ± 4.8 K", "would meet its limit",
        "Point 1.9: not steady, MGT still rose.", "blade lot 77-C", "41 accepted runs", "nothing wrong 50 %",
        "visit V-1877", "The reading creeps by 4 K.",
        "a misfit as large as this comes about in 42 % of runs",
    ):  # fmt: skip
        assert told in words, told


@EVERY
def test_page_is_sound_in_every_case(case: Case) -> None:
    html = diagnosis_html(case())
    tags = Elements(html).tags
    ids = [a["id"] for _, a in tags if a.get("id")]
    links = {(a["href"] or "")[1:] for tag, a in tags if tag == "a"}
    assert len(ids) == len(set(ids))
    assert links <= set(ids)
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', html) == []
    assert not re.search(r"fetch\(|XMLHttpRequest|import\(|sendBeacon|WebSocket", html)


@pytest.mark.parametrize("column", ["probability", "size", "work"])
def test_every_number_of_the_ranking_opens_how_it_came_to_be(page: str, column: str) -> None:
    ranking = page[page.index('id="causes"') : page.index('id="checks"')]
    for cause in group_found().groups[0].causes:
        assert f'href="#how-{column}:{cause}"' in ranking
        assert f'<article id="how-{column}:{cause}"' in page


def test_a_derivation_of_the_diagnosis_goes_before_the_one_told_from_its_record() -> None:
    d = group_found()
    own = d.derivations["now-0"].model_copy(
        update={"id": "probability:compressor_fouling", "title": "Own words"}
    )
    html = diagnosis_html(d.model_copy(update={"derivations": {**d.derivations, own.id: own}}))
    assert html.count('id="how-probability:compressor_fouling"') == 1
    assert '<article id="how-probability:compressor_fouling"><h3>Own words</h3>' in html


def test_cannot_tell_ranks_nothing() -> None:
    html = diagnosis_html(cannot_tell())
    assert 'id="causes"' not in html and "Nothing wrong" not in html
    assert "Repeat the run with three holds" in html


def test_what_is_explained_badly_is_told_beside_the_answer() -> None:
    html = diagnosis_html(two_found())
    assert "Something else may be at work" in html[html.index("<main>") : html.index("<nav")]
    assert "Something else may be at work" not in diagnosis_html(cause_found())


def test_page_escapes_what_came_from_outside() -> None:
    html = diagnosis_html(hostile())
    assert HOSTILE not in html
    assert "&lt;/script&gt;" in html
    assert html.count("<script") == 2


def test_print_does_not_obey_what_came_from_outside(tmp_path: Path) -> None:
    text = " ".join(printed(hostile(), tmp_path))
    assert "#panic[*]" in text


def test_terminal_does_not_obey_what_came_from_outside() -> None:
    said = group_found().model_copy(update={"sentence": "\x1b[2Jgone [bold]x[/bold]"})
    told = on_terminal(said)
    assert "\x1b" not in told and "[bold]x[/bold]" in told


@EVERY
def test_json_reads_back_and_follows_its_schema(case: Case, tmp_path: Path) -> None:
    path = write_diagnosis_json(case(), tmp_path / "d.json")
    jsonschema.Draft202012Validator(diagnosis_schema()).validate(json.loads(path.read_text()))
    assert Diagnosis.model_validate_json(path.read_text()) == case()


def test_schema_refuses_what_is_no_diagnosis() -> None:
    jsonschema.Draft202012Validator.check_schema(diagnosis_schema())
    wrong = json.loads(group_found().model_dump_json()) | {"accepted_by": "somebody"}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(diagnosis_schema()).validate(wrong)


def test_published_schema_is_current(repository: Path) -> None:
    assert (repository / "docs/reference/diagnosis.schema.json").read_text() == diagnosis_schema_text()


def test_page_and_print_name_the_hash_of_the_json_file(
    tmp_path: Path, page: str, pdf_pages: list[str]
) -> None:
    digest = hashlib.sha256(write_diagnosis_json(group_found(), tmp_path / "d.json").read_bytes()).hexdigest()
    assert digest in page
    assert digest in " ".join(pdf_pages)
    assert all(digest[:16] in p for p in pdf_pages)


def test_print_answers_on_its_first_page(pdf_pages: list[str]) -> None:
    for words in (
        "The compressor has lost 2.3 % of its flow", "Proposed: look at compressor stage 1", "Accepted by:",
        "One of these; the readings cannot tell which", "58 %", "46 h, 11 800 EUR",
        "Borescope of compressor stage 1", "+17 ± 13 kW", "+23 ± 18 hp", "would meet its limit",
    ):  # fmt: skip
        assert words in pdf_pages[0], words


def test_print_leaves_improbable_causes_to_the_page_and_says_so(tmp_path: Path) -> None:
    text = " ".join(printed(two_found(), tmp_path))
    assert "Power turbine worn, 79 %" in text and "damaged by a foreign object, 8 %" not in text
    assert "for 1 more in the HTML page" in text


def test_reasons_of_a_large_group_are_folded_on_the_page_and_stand_below_the_table_in_print(
    tmp_path: Path,
) -> None:
    (group,) = group_found().groups
    two = group.model_copy(update={"reason": "A is like B by -1.5 K; A is like C."})
    d = group_found().model_copy(update={"groups": (two,)})
    html = diagnosis_html(d)
    folded = html[html.index("Why they cannot be told apart") :]
    assert "<li>A is like B by −1.5\u00a0K.<li>A is like C." in folded
    assert "Why they cannot be told apart: A is like B by −1.5 K. A is like C." in printed(d, tmp_path)[0]


@EVERY
def test_each_printed_page_has_its_head_and_foot(case: Case, tmp_path: Path) -> None:
    pages = printed(case(), tmp_path)
    assert len(pages) <= 3
    for n, text in enumerate(pages, start=1):
        assert f"page {n} of {len(pages)}" in text
        assert "serial H4417" in text and "Demonstration data, not approved." in text


def test_print_is_reproducible() -> None:
    assert diagnosis_pdf(group_found()) == diagnosis_pdf(group_found())


@pytest.mark.parametrize("width", [80, 160])
def test_terminal_tells_answer_causes_checks_and_margins(width: int) -> None:
    told = " ".join(on_terminal(group_found(), width=width).split())
    for words in (
        "Proposed: look at compressor stage 1",
        "93 %",
        "Compressor fouled",
        "46 h",
        "Accepted by: ____",
    ):
        assert words in told
    order = [
        told.index(w)
        for w in ("Proposed", "Causes, the", "Next checks", "For (+)", "Margins now", "Accepted")
    ]
    assert order == sorted(order)


def test_terminal_folds_what_is_not_asked_for() -> None:
    short, long = (on_terminal(group_found(), everything=e) for e in (False, True))
    eroded = "With this put right: Compressor eroded"
    assert eroded not in short and eroded in long


def test_page_is_written_to_its_place(tmp_path: Path, page: str) -> None:
    assert write_diagnosis_html(group_found(), tmp_path / "x" / "d.html").read_text() == page
