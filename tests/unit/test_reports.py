"""Reports show what the assessment says, escape what came from outside, and read back."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest
from pypdf import PdfReader
from rich.console import Console
from sample_assessment import HOSTILE, assessment, strips

from spoolwright.crafts.testcell.model import Assessment
from spoolwright.errors import OutputError
from spoolwright.reports.html import report_html
from spoolwright.reports.jsonfile import schema, schema_text, write_json
from spoolwright.reports.pdf import report_pdf, write_pdf
from spoolwright.reports.terminal import print_summary


@pytest.fixture(scope="module")
def page() -> str:
    return report_html(assessment(), strips())


def test_page_names_every_limit_and_the_proposal(page: str) -> None:
    for v in assessment().verdicts[:2]:
        assert v.name in page
    assert "Proposed: 1 reading does not meet its limit." in page
    assert "Demonstration data, not approved." in page
    assert "____" in page


def test_page_escapes_what_came_from_outside(page: str) -> None:
    assert HOSTILE not in page
    assert "&lt;/script&gt;" in page


def test_every_number_on_the_page_opens_its_derivation(page: str) -> None:
    targets = set(re.findall(r'class="num" href="#(how-[^"]+)"', page))
    assert targets
    assert targets <= set(re.findall(r'id="(how-[^"]+)"', page))


def test_page_needs_nothing_from_elsewhere(page: str) -> None:
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []
    known = r'xmlns(:\w+)?="[^"]*"|<script>.*?</script>|base64,[^)]*'
    assert "//" not in re.sub(known, "", page, flags=re.DOTALL)


def test_json_reads_back_and_follows_its_schema(tmp_path: Path) -> None:
    path = write_json(assessment(), tmp_path / "a.json")
    jsonschema.Draft202012Validator(schema()).validate(json.loads(path.read_text()))
    assert Assessment.model_validate_json(path.read_text()) == assessment()


def test_published_schema_is_current(repository: Path) -> None:
    assert (repository / "docs/reference/assessment.schema.json").read_text() == schema_text()


def test_pdf_holds_the_words_and_is_reproducible(tmp_path: Path) -> None:
    path = write_pdf(assessment(), strips(), tmp_path / "a.pdf")
    text = "".join(p.extract_text() for p in PdfReader(path).pages)
    for word in (
        "Proposed:",
        "Power at rated MGT",
        "Demonstration data, not approved.",
        "Accepted by",
        "#panic[*]",
    ):
        assert word in text
    assert path.read_bytes() == report_pdf(assessment(), strips())


def test_summary_puts_the_failure_first() -> None:
    console = Console(width=160, record=True, file=open("/dev/null", "w"))  # noqa: SIM115
    print_summary(assessment(), console)
    text = console.export_text()
    assert text.index("MGT at rated power") < text.index("Power at rated MGT")
    assert "Accepted by: ____" in text


def test_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot write"):
        write_json(assessment(), tmp_path / "file" / "a.json")
