"""Pages of a release: nothing is signed while something is open, and only on the newest pack."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from httpx import Response
from pypdf import PdfReader
from typer.testing import CliRunner

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap import shop as shop_module
from spoolwright.cli import main
from spoolwright.crafts.release.model import PackMade, ReleaseSigned
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import NoteTaken, ShopKnown, VisitOpened
from spoolwright.errors import InputError
from web.staff import PASSWORD, Browser

RELEASE = "/visit/W100/release"
People = Callable[[str], Browser]


@pytest.fixture
def nothing_open(staffed: FilledShop, monkeypatch: pytest.MonkeyPatch) -> FilledShop:
    """A shop in which every other craft has nothing open; what release itself asks stays."""
    monkeypatch.setattr(shop_module, "OPEN_ITEMS", ())
    return staffed


def record_shop(filled: FilledShop) -> None:
    body = ShopKnown(
        name="Fellgate Engine Works", address="1 Mill Lane", authority="Demonstration authority",
        approval_number="DEMO.145.940", page_address="https://shop.example", demonstration=True,
    )  # fmt: skip
    filled.records.add([New("shop", body)], by="lena", at=NOON - timedelta(days=1))


def set_word(lena: Browser, word: str) -> Response:
    return lena.send(RELEASE, f"{RELEASE}/word", word=word)


def printed(who: Browser, filled: FilledShop, tracking: str = "FEW-26-0100") -> PackMade:
    answer = who.send(RELEASE, f"{RELEASE}/pack", tracking=tracking, remarks="")
    assert answer.status_code == 303, answer.text[-2000:]
    (pack,) = filled.records.current(PackMade, visit="W100")
    return pack.body


def sign(who: Browser, tracking: str = "FEW-26-0100", password: str = PASSWORD) -> Response:
    return who.send(f"{RELEASE}?tracking={tracking}", f"{RELEASE}/sign", password=password)


def test_a_fresh_visit_says_what_is_open(staffed: FilledShop, browser_of: People) -> None:
    text = browser_of("cora").get(RELEASE).text
    assert "Not ready for release" in text
    assert "The shop&#39;s own name and approval are not recorded." in text
    assert "No word is set" in text
    assert "Not before everything above is closed." in text
    assert "145.A.50" in text and "43.9(a)(2)" in text


def test_the_whole_way_to_a_release(nothing_open: FilledShop, browser_of: People) -> None:
    filled, lena, cora = nothing_open, browser_of("lena"), browser_of("cora")
    record_shop(filled)
    assert set_word(lena, "repaired").status_code == 303
    pack = printed(cora, filled)
    assert (pack.open_items, pack.holes) == (0, 0)
    assert sign(cora, password="wrong").status_code == 422
    with pytest.raises(AssertionError, match="no form"):
        sign(lena)  # the lead is not certifying staff: no form is offered
    assert sign(cora).status_code == 303
    (released,) = filled.records.current(ReleaseSigned, visit="W100")
    assert released.signature is not None and released.signature.person == "cora"
    assert "FEW-26-0100" in released.signature.shown and pack.pack.sha256[:16] in released.signature.shown
    assert "Released" in cora.get(RELEASE).text


def test_a_record_after_the_print_asks_for_a_new_print(nothing_open: FilledShop, browser_of: People) -> None:
    filled, cora = nothing_open, browser_of("cora")
    record_shop(filled)
    set_word(browser_of("lena"), "inspected")
    printed(cora, filled)
    page = f"{RELEASE}?tracking=FEW-26-0100"
    hidden = cora.hidden(page, f"{RELEASE}/sign")
    note = New("visit/W100/note/1", NoteTaken(text="A blank is missing."), "W100")
    filled.records.add([note], by="ada", at=NOON)
    answer = cora.client.post(f"{RELEASE}/sign", data=hidden | {"password": PASSWORD}, follow_redirects=False)
    assert answer.status_code == 422 and "after the pack was printed" in answer.text
    assert "print the pack again" in cora.get(RELEASE).text
    assert filled.records.current(ReleaseSigned, visit="W100") == []


def test_overhauled_is_blocked_without_its_work_and_test(
    nothing_open: FilledShop, browser_of: People
) -> None:
    """14 CFR 43.2(a): disassembled, cleaned, inspected, repaired as necessary, reassembled, tested."""
    filled, cora = nothing_open, browser_of("cora")
    record_shop(filled)
    set_word(browser_of("lena"), "overhauled")
    text = cora.get(RELEASE).text
    assert "&#39;overhauled&#39; is blocked (disassembled, 43.2(a)(1))" in text
    assert "&#39;overhauled&#39; is blocked (tested, 43.2(a)(2)): no test run is accepted." in text
    assert printed(cora, filled).holes > 0
    with pytest.raises(AssertionError, match="no form"):
        sign(cora)


def test_only_the_lead_sets_the_word(staffed: FilledShop, browser_of: People) -> None:
    lena, ada = browser_of("lena"), browser_of("ada")
    hidden = lena.hidden(RELEASE, f"{RELEASE}/word")
    assert set_word(lena, "repaired").status_code == 303
    mine = {"form_token": ada.hidden(RELEASE, f"{RELEASE}/pack")["form_token"]}
    data = hidden | mine | {"word": "modified"}
    answer = ada.client.post(f"{RELEASE}/word", data=data, follow_redirects=False)
    assert answer.status_code == 403
    assert staffed.records.current(VisitOpened, visit="W100")[0].body.word == "repaired"


def test_the_pack_prints_the_audit_head(nothing_open: FilledShop, browser_of: People, tmp_path: Path) -> None:
    filled = nothing_open
    record_shop(filled)
    pack = printed(browser_of("cora"), filled)
    data = filled.attachments.read(pack.pack.sha256)
    text = "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(data)).pages)
    flat = "".join(text.split())
    assert pack.head_digest in flat
    assert f"record{pack.head_seq}" in flat
    assert "thecertificateisthecertifyingperson" in flat
    assert filled.records.at_seq(pack.head_seq).digest == pack.head_digest  # type: ignore[union-attr]


def test_a_signed_pack_shows_one_flipped_byte(
    nothing_open: FilledShop, browser_of: People, tmp_path: Path
) -> None:
    """Key and certificate by openssl; the check by pyHanko's own validation."""
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    from spoolwright.reports.release_pack import signed_pdf

    key, cert, p12 = (tmp_path / n for n in ("key.pem", "cert.pem", "key.p12"))
    for words in (
        f"req -x509 -newkey rsa:2048 -nodes -keyout {key} -out {cert} -days 30 -subj /CN=Certifying "
        "-addext keyUsage=critical,digitalSignature,nonRepudiation",
        f"pkcs12 -export -inkey {key} -in {cert} -out {p12} -passout pass:hush",
    ):
        subprocess.run(["openssl", *words.split()], check=True, capture_output=True)
    record_shop(nothing_open)
    pack = printed(browser_of("cora"), nothing_open)
    signed = signed_pdf(nothing_open.attachments.read(pack.pack.sha256), p12, b"hush", "Release")

    def holds(data: bytes) -> bool:
        found = PdfFileReader(io.BytesIO(data)).embedded_signatures[0]
        status = validate_pdf_signature(found, ValidationContext(trust_roots=[], allow_fetching=False))
        return bool(status.intact and status.valid)

    assert holds(signed)
    printed_pack, out = tmp_path / "pack.pdf", tmp_path / "signed.pdf"
    printed_pack.write_bytes(nothing_open.attachments.read(pack.pack.sha256))
    call = ["sign-pack", str(printed_pack), "--key", str(p12), "--out", str(out)]
    assert CliRunner().invoke(main.app, call, input="hush\n").exit_code == 0
    assert holds(out.read_bytes())
    refused = CliRunner().invoke(main.app, [*call[:-1], str(tmp_path / "no.pdf")], input="wrong\n")
    assert isinstance(refused.exception, InputError) and not (tmp_path / "no.pdf").exists()
    changed = bytearray(signed)
    changed[len(changed) // 3] ^= 1
    assert not holds(bytes(changed))
