"""The print of a real run is short enough to be read, and its figures are those of the result."""

from __future__ import annotations

import hashlib

from pypdf import PdfReader
from reported_run import Reported


def test_a_run_prints_on_a_dozen_pages(reported: Reported) -> None:
    pages = [p.extract_text() for p in PdfReader(reported.print).pages]
    assert len(pages) <= 13
    assert "6 readings do not meet their limits." in pages[0]
    assert "Accepted by:" in pages[0]
    # A page that holds little more than its head and foot wastes paper; the last may.
    assert min(len(p) for p in pages[:-1]) > 500
    digest = hashlib.sha256(reported.result.read_bytes()).hexdigest()
    assert all(digest[:16] in p for p in pages)


def test_every_reading_and_every_point_is_printed(reported: Reported) -> None:
    text = " ".join(" ".join(p.extract_text().split()) for p in PdfReader(reported.print).pages)
    for v in reported.assessment.verdicts:
        assert v.name in text
    for p in reported.assessment.points:
        assert f"{p.id} " in text
