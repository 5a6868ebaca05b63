"""Page and print show what the assessment says, escape what came from outside, and belong to one result."""

from __future__ import annotations

import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pytest
from pypdf import PdfReader
from sample_assessment import HOSTILE, assessment, strips

from spoolwright.crafts.testcell.model import Assessment
from spoolwright.errors import OutputError
from spoolwright.reports.html import report_html
from spoolwright.reports.jsonfile import result_hash, schema, schema_text, write_json
from spoolwright.reports.pdf import report_pdf, write_pdf


class Elements(HTMLParser):
    """Start tags of a page, in order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


@pytest.fixture(scope="module")
def page() -> str:
    return report_html(assessment(), strips())


@pytest.fixture(scope="module")
def pdf_pages(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    path = write_pdf(assessment(), strips(), tmp_path_factory.mktemp("pdf") / "a.pdf")
    return [p.extract_text() for p in PdfReader(path).pages]


def test_page_puts_the_proposal_first_and_leaves_the_signature_open(page: str) -> None:
    body = page[page.index("<main>") :]
    order = [body.index(f'id="{name}"') for name in ("verdict", "next", "findings", "thin", "rated")]
    order += [body.index(f'id="{name}"') for name in ("run-1", "points", "margins", "rest", "how")]
    assert order == sorted(order)
    assert "<h1>1 reading does not meet its limit.</h1>" in body
    assert body.count("Accepted by:") == 1
    assert "Demonstration data, not approved." in page


def test_page_names_every_limit(page: str) -> None:
    for v in assessment().verdicts[:2]:
        assert v.name in page and v.source in page


def test_page_escapes_what_came_from_outside(page: str) -> None:
    assert HOSTILE not in page
    assert "&lt;/script&gt;" in page
    assert page.count("<script") == 2


def test_every_number_on_the_page_opens_its_derivation(page: str) -> None:
    tags = Elements(page).tags
    ids = {a["id"] for _, a in tags if a.get("id")}
    links = {(a["href"] or "")[1:] for tag, a in tags if tag == "a"}
    assert {i for i in links if i.startswith("how-")}
    assert links <= ids


def test_an_id_stands_once_on_the_page(page: str) -> None:
    ids = [a["id"] for _, a in Elements(page).tags if a.get("id")]
    assert len(ids) == len(set(ids))


def test_page_needs_nothing_from_elsewhere(page: str) -> None:
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []
    known = r'xmlns(:\w+)?="[^"]*"|<script>.*?</script>|base64,[^)]*'
    assert "//" not in re.sub(known, "", page, flags=re.DOTALL)
    assert not re.search(r"fetch\(|XMLHttpRequest|import\(|sendBeacon|WebSocket", page)


def test_json_reads_back_and_follows_its_schema(tmp_path: Path) -> None:
    path = write_json(assessment(), tmp_path / "a.json")
    jsonschema.Draft202012Validator(schema()).validate(json.loads(path.read_text()))
    assert Assessment.model_validate_json(path.read_text()) == assessment()


def test_published_schema_is_current(repository: Path) -> None:
    assert (repository / "docs/reference/assessment.schema.json").read_text() == schema_text()


def test_page_and_print_name_the_hash_of_the_json_file(
    tmp_path: Path, page: str, pdf_pages: list[str]
) -> None:
    file = write_json(assessment(), tmp_path / "a.json").read_bytes()
    digest = hashlib.sha256(file).hexdigest()
    assert result_hash(assessment()) == digest
    assert digest in page
    assert digest in "".join(pdf_pages).replace("\n", "")
    assert all(digest[:16] in p for p in pdf_pages)


def test_print_holds_the_words(pdf_pages: list[str]) -> None:
    text = "".join(pdf_pages)
    for word in ("1 reading does not meet its limit.", "Power at rated MGT", "Accepted by", "#panic[*]"):
        assert word in text


def test_each_printed_page_has_its_head_and_foot(pdf_pages: list[str]) -> None:
    many = len(pdf_pages)
    for n, text in enumerate(pdf_pages, start=1):
        assert f"page {n} of {many}" in text
        for word in ("FW-0001", "overhauled", "Demonstration data, not approved."):
            assert word in text


def test_print_is_reproducible() -> None:
    assert report_pdf(assessment(), strips()) == report_pdf(assessment(), strips())


def test_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot write"):
        write_json(assessment(), tmp_path / "file" / "a.json")
