"""Drafts of what the certifying person fills in: field names from the regulations, values from the records.

Nothing here is a certificate. Signature, name and date of the certifying person stay empty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.visit.model import ShopKnown, VisitOpened

DRAFT_MARK = "draft: the certificate is the certifying person's"
LEFT_EMPTY = "(the certifying person's)"

STATUS_WORDS = {
    "overhauled": "Overhauled",
    "repaired": "Repaired",
    "inspected": "Inspected/Tested",
    "tested": "Inspected/Tested",
    "modified": "Modified",
}
"""The entries that block 11 of the certificate allows for maintenance, by the visit's word.

References: Regulation (EU) No 1321/2014, Annex I (Part-M), Appendix II, block 11.
"""


@dataclass(frozen=True)
class DraftField:
    """A field of a certificate or entry: its number and name in the regulation, and what the records give."""

    number: str
    name: str
    value: str


def certificate_draft(
    shop: ShopKnown,
    visit: VisitOpened,
    description: str,
    part_number: str,
    tracking: str,
    remarks: Sequence[str],
) -> list[DraftField]:
    """The fields of an authorised release certificate, as far as the records give them.

    References: Regulation (EU) No 1321/2014, Annex I (Part-M), Appendix II, blocks 1 to 14e.
    """
    rows = [
        ("1", "Approving competent authority / country", shop.authority),
        ("2", "Title of the certificate", "Authorised release certificate"),
        ("3", "Form tracking number", tracking or LEFT_EMPTY),
        ("4", "Organisation name and address", f"{shop.name}, {shop.address}"),
        ("5", "Work order / contract / invoice", visit.number),
        ("6", "Item", "1"),
        ("7", "Description", description),
        ("8", "Part number", part_number),
        ("9", "Quantity", "1"),
        ("10", "Serial number", visit.engine_serial),
        ("11", "Status / work", STATUS_WORDS.get(visit.word, "")),
        ("12", "Remarks", "\n".join(remarks)),
        ("13a–13e", "Production release", "not used for maintenance"),
        ("14a", "Release under 145.A.50 or another regulation named in block 12", LEFT_EMPTY),
        ("14b", "Authorised signature", LEFT_EMPTY),
        ("14c", "Certificate / approval reference number", shop.approval_number),
        ("14d", "Name", LEFT_EMPTY),
        ("14e", "Date", LEFT_EMPTY),
    ]
    return [DraftField(*row) for row in rows]


def maintenance_entry_draft(
    visit: VisitOpened, work: Sequence[str], completed_on: date | None, performers: Sequence[str]
) -> list[DraftField]:
    """The fields of a maintenance record entry, as far as the records give them.

    References: 14 CFR 43.9(a)(1) to (4).
    """
    done = "\n".join(work) or "nothing is recorded as done"
    rows = [
        ("(a)(1)", "Description of the work performed, or reference to acceptable data", done),
        (
            "(a)(2)",
            "Date of completion",
            "not complete" if completed_on is None else completed_on.isoformat(),
        ),
        ("(a)(3)", "Name of the person performing the work", ", ".join(performers)),
        ("(a)(4)", "Signature, certificate number and kind of certificate of who approves", LEFT_EMPTY),
    ]
    return [DraftField(f"43.9{number}", name, value) for number, name, value in rows]
