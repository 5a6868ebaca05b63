"""The page of a photograph: marks typed or touched give a length; it goes into a finding, it is verified."""

from __future__ import annotations

import re
import struct
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser as Chrome
from playwright.sync_api import Page

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "prove"))
from _photographs import FOUR, Array, Camera, photograph, turned

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.photo import PhotoMeasured, measurements
from spoolwright.crafts.visit.model import NoteTaken
from web.filled import Served
from web.looking import TABLET, signed_in
from web.staff import Browser

SCRATCH = np.array([[-4e-3, -2e-3], [4e-3, 4e-3]])
"""10 mm by 6, 8 and 10."""
VIEW = Camera(turned(0.3, 2) @ turned(0.6, 0), np.array([0.0, 0.0, 0.062]))
TARGET = {"scale": "target", "known": "20 x 14", "offset_percent": "0", "path": "straight", "unit": "mm"}
ROTOR = "/visit/W100/inspection/axial_rotor_1"
NICK = {"method": "direct", "blade": "7", "zone": "le_tip", "damage": "scratch", "unit": "mm", "depth": "0.1"}


def png(grey: Array) -> bytes:
    """Grey values 0 to 1 as PNG (ISO/IEC 15948)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    values = np.clip(np.rint(255 * grey), 0, 255).astype(np.uint8)
    rows = b"".join(b"\0" + row.tobytes() for row in values)
    head = struct.pack(">IIBBBBB", values.shape[1], values.shape[0], 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


@pytest.fixture(scope="module")
def taken() -> bytes:
    """A photograph of a target of 20 x 14 mm and a scratch of 10 mm, seen at 34°."""
    return png(photograph(VIEW, FOUR, SCRATCH, np.random.default_rng(1)))


@pytest.fixture
def ines(browser_of: Callable[[str], Browser]) -> Browser:
    return browser_of("ines")


def typed(points: Array) -> str:
    return "\n".join(f"{x:.1f} {y:.1f}" for x, y in VIEW.sees(points))


def scratched(browser: Browser, shop: FilledShop, taken: bytes) -> str:
    """Record a finding with the photograph; the page on which it is measured."""
    files = {"photos": ("blade7.png", taken, "image/png")}
    assert browser.send(ROTOR, f"{ROTOR}/finding", files=files, **NICK).status_code == 303
    (found,) = shop.shop.folder("W100", NOON.date()).of(FindingRecorded)
    return f"/visit/W100/inspection/photo/{found.body.photographs[0].sha256}"


def kept(shop: FilledShop, link: str) -> list[PhotoMeasured]:
    folder = shop.shop.folder("W100", NOON.date())
    return [e.body for e in measurements(folder, link.rsplit("/", 1)[1])]


def test_typed_marks_give_the_length_and_it_goes_into_the_finding(
    ines: Browser, staffed: FilledShop, taken: bytes
) -> None:
    link = scratched(ines, staffed, taken)
    assert f'href="{link}"' in ines.get(f"{ROTOR}/finding/1").text
    marks = {"scale_marks": typed(FOUR), "damage_marks": typed(SCRATCH)}
    doubts = {"scale_mark_px": "1", "damage_mark_px": "1"}
    assert ines.send(link, link, **TARGET, **marks, **doubts).status_code == 303
    (body,) = kept(staffed, link)
    # the truth is 10 mm; marks are rounded to a tenth of a pixel, some 0.01 mm
    assert float(body.size.mm) == pytest.approx(10.0, abs=0.03)
    assert float(body.low) < 10.0 < float(body.high)
    (entry,) = measurements(staffed.shop.folder("W100", NOON.date()), link.rsplit("/", 1)[1])
    (finding,) = staffed.shop.folder("W100", NOON.date()).of(FindingRecorded)
    words = {"measurement": entry.subject, "finding": finding.subject, "field": "length"}
    assert ines.send(link, f"{link}/put", **words).status_code == 303
    (finding,) = staffed.shop.folder("W100", NOON.date()).of(FindingRecorded)
    assert finding.body.length == body.size
    assert finding.body.length is not None and finding.body.length.u_mm > 0.0
    assert "length measured in the photograph blade7.png" in finding.reason
    assert staffed.shop.verify().holds


def test_a_measurement_is_withdrawn_with_its_reason(ines: Browser, staffed: FilledShop, taken: bytes) -> None:
    link = scratched(ines, staffed, taken)
    marks = {"scale_marks": typed(FOUR), "damage_marks": typed(SCRATCH)}
    ines.send(link, link, **TARGET, **marks, scale_mark_px="1", damage_mark_px="1")
    (entry,) = measurements(staffed.shop.folder("W100", NOON.date()), link.rsplit("/", 1)[1])
    assert ines.send(link, f"{link}/withdraw", measurement=entry.subject, reason="").status_code == 422
    answer = ines.send(link, f"{link}/withdraw", measurement=entry.subject, reason="wrong blade")
    assert answer.status_code == 303
    assert kept(staffed, link) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"damage_marks": "10 20"}, "fewer than two marks"),
        ({"damage_marks": "10,5 20,5"}, "is no pair of numbers"),
        ({"known": "20"}, "a flat target needs four points or more"),
        ({"known": "20 x 0"}, "a side of the target"),
        ({"scale_mark_px": "0"}, "Above zero"),
        ({"path": "depth"}, "depth cannot be measured from one view"),
        ({"scale_marks": "10 10; 200 10; 10 200; 200 200"}, "in their order"),
        ({"known": "0 0; 20 0; 20 14; 0 14; 10 7"}, "5 points of the scale are known, 4 are marked"),
    ],
)
def test_what_gives_no_length_is_told_beside_its_field(
    ines: Browser, staffed: FilledShop, taken: bytes, words: dict[str, str], told: str
) -> None:
    link = scratched(ines, staffed, taken)
    marks = {"scale_marks": typed(FOUR), "damage_marks": typed(SCRATCH)}
    sent = {**TARGET, **marks, "scale_mark_px": "1", "damage_mark_px": "1", **words}
    answer = ines.send(link, link, **sent)
    assert answer.status_code == 422
    assert told.lower() in re.sub(r"&#39;", "'", answer.text).lower()
    assert kept(staffed, link) == []


def test_only_a_photograph_of_the_visit_is_measured(ines: Browser, staffed: FilledShop, taken: bytes) -> None:
    assert ines.get(f"/visit/W100/inspection/photo/{'0' * 64}").status_code == 404
    notes = "/visit/W100/notes"
    files = {"photos": ("note.png", taken, "image/png")}
    assert ines.send(notes, notes, files=files, text="the scratch").status_code == 303
    (note,) = staffed.shop.folder("W100", NOON.date()).of(NoteTaken)
    link = f"/visit/W100/inspection/photo/{note.body.files[0].sha256}"
    assert ines.get(link).status_code == 200


def touched(page: Page, pixels: Array) -> None:
    """Tap pixels of the photograph."""
    for x, y in pixels:
        at = page.evaluate(
            "([x, y]) => { const p = new DOMPoint(x, y).matrixTransform("
            "document.querySelector('.photo-frame svg').getScreenCTM()); return [p.x, p.y]; }",
            [x, y],
        )
        page.touchscreen.tap(*at)


@pytest.mark.browser
def test_by_touch_on_a_tablet(chrome: Chrome, served: Served, taken: bytes) -> None:
    with signed_in(chrome, served, "ines", **TABLET) as page:
        page.goto("/visit/W101/notes")
        page.fill("[name=text]", "a scratch")
        page.set_input_files("[name=photos]", {"name": "a.png", "mimeType": "image/png", "buffer": taken})
        page.click("button.main")
        page.wait_for_selector(".notes li")
        (note,) = served.shop.shop.folder("W101", NOON.date()).of(NoteTaken)
        page.goto(f"/visit/W101/inspection/photo/{note.body.files[0].sha256}")
        page.wait_for_selector(".photo-frame svg")
        page.check("[name=scale][value=target]", force=True)
        page.fill("[name=known]", "20 x 14")
        touched(page, VIEW.sees(FOUR))
        page.click("[data-set=damage_marks]")
        touched(page, VIEW.sees(SCRATCH) + np.array([[0.0, 0.0], [3.0, 0.0]]))
        for _ in range(3):
            page.click("[data-step='-1 0']")
        page.click(".photo-doubt summary")
        page.fill("[name=offset_percent]", "0")
        page.click(".photo-enter button.main")
        page.wait_for_selector(".photo-length")
    folder = served.shop.shop.folder("W101", NOON.date())
    (entry,) = measurements(folder, note.body.files[0].sha256)
    # a tap lands within a CSS pixel, under one pixel of this picture
    assert float(entry.body.size.mm) == pytest.approx(10.0, abs=0.2)
    assert float(entry.body.low) < 10.0 < float(entry.body.high)
