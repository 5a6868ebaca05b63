"""Pages of lives as a records person uses them: a card with a gap, closed, signed, printed, verified."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest
from httpx import Response

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.life.model import CyclesAdvised, LedgerReviewed, LimitChangeSeen, PartUsed, RateStated
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.parts import PartFitted, part_subject
from spoolwright.sources.life_csv import COLUMNS
from web.staff import PASSWORD, Browser

BrowserOf = Callable[[str], Browser]
ROOM = "/visit/W100/life"
PN, SN = "940-310-2", "D7"
PART = f"{ROOM}/part?pn={PN}&sn={SN}"
ASKED = {"pn": PN, "sn": SN}


def row(**cells: str) -> dict[str, str]:
    return {"part_number": PN, "serial": SN} | cells


BIRTH = row(event="birth", on="2011-02-01", part_hours_on="0", part_cycles_on="0", document="certificate 77")
FIRST = row(
    event="use", engine="H4402", on="2012-05-02", off="2016-08-30", engine_hours_on="310.5",
    engine_hours_off="1510.5", engine_starts_on="402", engine_starts_off="1402", part_hours_on="0",
    part_hours_off="1200.0", part_cycles_on="0", part_cycles_off="1430", table="H-1",
    flown="full=900; partial=2000; ground=100", document="card page 1",
) | {"class": "utility"}  # fmt: skip
GAP = FIRST | {
    "engine": "C940-117", "on": "2017-01-02", "off": "2019-08-30", "part_hours_on": "1320.0",
    "part_hours_off": "2520.0", "part_cycles_on": "1430", "part_cycles_off": "2860", "ended": "still fitted",
}  # fmt: skip


def table(*rows: dict[str, str]) -> dict[str, tuple[str, bytes, str]]:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return {"table": ("cards.csv", out.getvalue().encode(), "text/csv")}


def take(browser: Browser, *rows: dict[str, str]) -> Response:
    return browser.send(ROOM, f"{ROOM}/cards", files=table(*rows))


@pytest.fixture
def rex(browser_of: BrowserOf, staffed: FilledShop) -> Browser:
    """The records person's browser; the engine holds the disc D7."""
    disc = PartFitted(
        part="turbine_disc_1",
        part_number=PN,
        serial=SN,
        module="hot_section",
        engine_serial="C940-117",
        on=NOON.date(),
    )
    staffed.records.add([New(part_subject(PN, SN, "fit"), disc, visit="W100")], by="ines", at=NOON)
    return browser_of("rex")


def test_a_gap_is_shown_in_words_then_closed_and_the_part_signed(rex: Browser, staffed: FilledShop) -> None:
    assert take(rex, BIRTH, FIRST, GAP).status_code == 303
    text = rex.get(PART).text
    assert "120 hours that no line tells: 1,200 at the end of line 1, 1,320 at the start of line 2." in text
    assert "refer: life not proven" in text
    assert "may be fitted" not in text.split("Against the limits")[0]
    line = f"{ROOM}/line?pn={PN}&sn={SN}&n=2"
    mended = {
        "began": "installed", "ended": "still fitted", "engine_serial": "C940-117", "on": "2017-01-02",
        "off": "2019-08-30", "engine_on_hours": "310.5", "engine_off_hours": "1510.5",
        "engine_on_starts": "402", "engine_off_starts": "1402", "part_on_hours": "1200.0",
        "part_off_hours": "2400.0", "part_on_cycles": "1430", "part_off_cycles": "2860",
        "flown_full": "900", "flown_partial": "2000", "flown_ground": "100", "operating_class": "utility",
        "table": "H-1", "document": "card page 2",
    }  # fmt: skip
    refused = rex.send(line, f"{ROOM}/line", **mended)
    assert refused.status_code == 422 and "Say why it is corrected" in refused.text
    assert rex.send(line, f"{ROOM}/line", why="hours copied from another card", **mended).status_code == 303
    text = rex.get(PART).text
    assert "2,860 of 8,800 cycles: 5,940 left" in text and "Proposed: <b>may be fitted</b>" in text
    signed = rex.send(PART, f"{ROOM}/dispose", password=PASSWORD)
    assert signed.status_code == 303, signed.text
    (entry,) = staffed.records.current(LedgerReviewed)
    assert entry.body.disposition == "may be fitted"
    assert entry.signature is not None and "5,940 left" in entry.signature.shown
    assert [e.revision for e in staffed.records.current(PartUsed)] == [1, 2]
    verified = staffed.shop.verify()
    assert not verified.faults, verified.faults


def test_an_unproven_part_cannot_be_signed_as_fit_even_by_a_forged_form(
    rex: Browser, staffed: FilledShop
) -> None:
    take(rex, BIRTH, FIRST, GAP)
    hidden = rex.hidden(PART, f"{ROOM}/dispose")
    forged = hidden | {"disposition": "may be fitted", "password": PASSWORD}
    answer = rex.client.post(f"{ROOM}/dispose", data=forged, follow_redirects=False)
    assert answer.status_code == 422
    forged["shown"] = hidden["shown"].replace("referred", "may be fitted")
    answer = rex.client.post(f"{ROOM}/dispose", data=forged, follow_redirects=False)
    assert answer.status_code == 422 and "may not be fitted: refer: life not proven" in answer.text
    assert staffed.records.current(LedgerReviewed) == []


def test_parts_that_wait_for_nothing_else_are_signed_together(rex: Browser, staffed: FilledShop) -> None:
    """Two discs are proven, a third is not: two are signed with one sentence that names both."""
    for serial in ("D8", "D9"):
        fitted = PartFitted(
            part="turbine_disc_1", part_number=PN, serial=serial, module="hot_section",
            engine_serial="C940-117", on=NOON.date(),
        )  # fmt: skip
        staffed.records.add([New(part_subject(PN, serial, "fit"), fitted, visit="W100")], by="ines", at=NOON)
    here = FIRST | {"engine": "C940-117"}
    take(rex, BIRTH, here, BIRTH | {"serial": "D8"}, here | {"serial": "D8"}, here | {"serial": "D9"})
    texts = [i.text for i in staffed.shop.open_items("W100", NOON.date())]
    assert "2 life-limited parts, proven and within their limits, wait for a signed disposition." in texts
    assert rex.send(f"{ROOM}/sign", f"{ROOM}/sign", password=PASSWORD).status_code == 303
    entries = staffed.records.current(LedgerReviewed)
    assert sorted(e.body.serial for e in entries) == ["D7", "D8"]
    for entry in entries:
        assert entry.signature is not None
        assert "these 2 life-limited parts may be fitted" in entry.signature.shown
        assert "serials D7, D8: 1,430 of 8,800" in entry.signature.shown and "D9" not in entry.signature.shown
    assert "No part waits for a signature alone" in rex.get(f"{ROOM}/sign").text
    assert not staffed.shop.verify().faults


def test_a_builder_signs_no_ledger(rex: Browser, browser_of: BrowserOf, staffed: FilledShop) -> None:
    take(rex, BIRTH, FIRST)
    assert browser_of("ada").send(PART, f"{ROOM}/dispose", password=PASSWORD).status_code == 403
    assert staffed.records.current(LedgerReviewed) == []


def test_the_review_begins_with_the_next_forced_removal(rex: Browser, staffed: FilledShop) -> None:
    """Utility with 59.6 cycles a month by table H-2; 8,800 - 1,430 = 7,370 left: 123.7 months."""
    take(rex, BIRTH, FIRST | {"engine": "C940-117"})
    assert "The operator&#39;s rate is not stated" in rex.get(ROOM).text.replace("'", "&#39;")
    said = {
        "hours_per_month": "30", "flown_full": "40", "flown_partial": "60", "flown_ground": "5",
        "operating_class": "utility", "stated_by": "planning office",
    }  # fmt: skip
    assert rex.send(ROOM, f"{ROOM}/rate", **said).status_code == 303
    text = rex.get(ROOM).text
    first = text.index("Next forced removal")
    assert first < text.index("in about 123.7 months") < text.index("Open in the lives")
    assert len(staffed.records.current(RateStated)) == 1
    bad = rex.send(ROOM, f"{ROOM}/rate", **(said | {"hours_per_month": "thirty"}))
    assert bad.status_code == 422 and "no figure" in bad.text and "planning office" in bad.text


def test_a_table_with_mistakes_records_nothing_and_tells_the_line(rex: Browser, staffed: FilledShop) -> None:
    answer = take(rex, BIRTH, FIRST | {"engine_hours_on": "12h30"})
    assert answer.status_code == 422 and "cards.csv:3" in answer.text
    assert staffed.records.current(PartUsed) == []


def test_a_directive_is_signed_with_what_was_done(rex: Browser, staffed: FilledShop) -> None:
    page = f"{ROOM}/directive?id=B-940-028"
    assert "Go on to sign" in rex.get(page).text
    said = "&state=complied&revision=B&how=later+valve+fitted&on=2026-05-02&by=Ada+Lund&document=card+12"
    signing = page + said
    sentence = "complied with on 2026-05-02 by Ada Lund: later valve fitted. Document: card 12."
    assert f"B-940-028 revision B: {sentence}" in rex.get(signing).text
    assert rex.send(signing, f"{ROOM}/directive", password=PASSWORD).status_code == 303
    items = staffed.shop.open_items("W100", NOON.date())
    assert not [i for i in items if "B-940-028" in i.text]
    assert "later valve fitted" in rex.get(f"{ROOM}/sheet").text


def test_a_limit_that_fell_lists_its_serials_and_is_recorded(rex: Browser, staffed: FilledShop) -> None:
    """1,430 cycles are used: 11,500 - 1,430 = 10,070 were left, 8,800 - 1,430 = 7,370 are."""
    take(rex, BIRTH, FIRST)
    assert "fell from 11,500 to 8,800 cycles" in rex.get("/lives").text
    page = f"/lives/corrie_940/change?pn={PN}&measure=cycles&effective=2026-02-16"
    text = rex.get(page).text
    assert all(x in text for x in ("10,070", "7,370", "in engine C940-117, in the shop (visit W100)"))
    assert rex.send(page, "/lives/corrie_940/change", password=PASSWORD).status_code == 303
    (entry,) = staffed.records.current(LimitChangeSeen)
    assert [a.serial for a in entry.body.affected] == [SN] and entry.body.revision == "9"
    assert "recorded 4 May 2026" in rex.get("/lives").text


def test_cycles_counted_in_a_recording_stay_advice(rex: Browser, staffed: FilledShop) -> None:
    """Rest to 38,650 rpm and back twice is two full cycles of either module."""
    take(rex, BIRTH, FIRST)
    speeds = [0, 0, 20000, 38650, 38650, 15000, 0, 0, 25000, 38650, 12000, 0, 0]
    lines = ["time [s],NG [rpm]", *(f"{i},{v}" for i, v in enumerate(speeds))]
    file = {"recording": ("flight.csv", "\n".join(lines).encode(), "text/csv")}
    answer = rex.send(ROOM, f"{ROOM}/count", files=file)
    assert answer.status_code == 303, answer.text
    (entry,) = staffed.records.current(CyclesAdvised)
    result = entry.body.calculation.result
    assert result["hot_section"]["full_cycles"] == pytest.approx(2.0, rel=1e-12)
    assert "2.0 full cycles in 1 recording" in rex.get(ROOM).text
    again = rex.send(ROOM, f"{ROOM}/count", files=file)
    assert again.status_code == 422 and "counts once" in again.text
    assert "1,430 of 8,800" in rex.get(PART).text
    assert not staffed.shop.verify().faults


@pytest.mark.parametrize(
    "path",
    [
        ROOM,
        PART,
        f"{ROOM}/line?pn={PN}&sn={SN}&n=1",
        f"{ROOM}/birth?pn={PN}&sn={SN}",
        f"{ROOM}/sheet",
        "/lives",
    ],
)
def test_every_page_stands_without_any_record(browser_of: BrowserOf, path: str) -> None:
    assert browser_of("vic").get(path).status_code == 200


def test_what_is_not_there_is_told(rex: Browser) -> None:
    for path, status in (
        (f"{ROOM}/directive?id=X-1", 404),
        ("/lives/corrie_940/change?pn=1&measure=cycles&effective=2026-02-16", 404),
        ("/lives/none/change?pn=1&measure=cycles&effective=x", 404),
        (f"{ROOM}/line?pn={PN}&sn={SN}&n=x", 404),
    ):
        assert rex.get(path).status_code == status, path
