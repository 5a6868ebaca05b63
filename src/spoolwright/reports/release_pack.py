"""The release pack as one PDF: drafts, what is open, the records, then the test reports; signed if asked."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from spoolwright.crafts.release.drafts import DRAFT_MARK
from spoolwright.crafts.release.pack import Pack, Section
from spoolwright.errors import InputError
from spoolwright.reports.pdf import set_print


def release_pack_pdf(pack: Pack, test_reports: Sequence[bytes] = ()) -> bytes:
    """The pack as PDF bytes; the test reports (PDF) follow as its last pages."""
    made = set_print("release_pack.typ", lambda work: _data(pack, work))
    return _joined([made, *test_reports]) if test_reports else made


def signed_pdf(pdf: bytes, key_file: Path, passphrase: bytes, reason: str) -> bytes:
    """A PDF with a digital signature that covers every byte of it.

    Parameters
    ----------
    pdf : bytes
        What is signed.
    key_file : Path
        The signer's key and certificate, PKCS #12.
    passphrase : bytes
        Opens the key file; kept nowhere.
    reason : str
        Stands in the signature.

    Raises
    ------
    InputError
        The key file cannot be opened.
    """
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers

    try:
        signer = signers.SimpleSigner.load_pkcs12(str(key_file), passphrase=passphrase)
    except (OSError, ValueError):
        signer = None
    if signer is None:
        raise InputError(
            "the key cannot be opened.", where=str(key_file), mend="Give a PKCS #12 file and its passphrase."
        )
    about = signers.PdfSignatureMetadata(field_name="Release", reason=reason)
    out = signers.sign_pdf(IncrementalPdfFileWriter(io.BytesIO(pdf)), about, signer=signer)
    return bytes(out.getbuffer())


def _joined(parts: Sequence[bytes]) -> bytes:
    from pypdf import PdfWriter

    writer = PdfWriter()
    for part in parts:
        writer.append(io.BytesIO(part))
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def _data(pack: Pack, work: Path) -> dict[str, Any]:
    if pack.address:
        (work / "qr.svg").write_text(qr_svg(pack.address))
    return {
        "title": pack.title,
        "demonstration": pack.demonstration,
        "foot": f"visit {pack.visit} · printed {pack.made_at:%Y-%m-%d %H:%M} UTC by {pack.made_by} · "
        f"record {pack.head.seq}, audit head {pack.head.digest[:16]}",
        "facts": [list(f) for f in pack.facts],
        "proposal": pack.proposal,
        "complete": pack.complete,
        "head": f"record {pack.head.seq}, {pack.head.digest}",
        "address": pack.address,
        "open": [list(o) for o in pack.open],
        "holes": [list(h) for h in pack.holes],
        "draft_mark": DRAFT_MARK,
        "certificate": [[f.number, f.name, f.value] for f in pack.certificate],
        "entry": [[f.number, f.name, f.value] for f in pack.entry],
        "sections": [_section(s) for s in pack.sections],
    }


def _section(section: Section) -> dict[str, Any]:
    widths = section.widths or tuple(1.0 for _ in section.columns)
    return {**asdict(section), "widths": list(widths)}


def qr_svg(text: str) -> str:
    """A QR code as SVG, black on white."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m").save(out, kind="svg", border=2, xmldecl=False)
    return out.getvalue().decode()
