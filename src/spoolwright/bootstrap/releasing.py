"""The release of a visit: reviewed from all crafts, printed as one pack with the test report, kept."""

from __future__ import annotations

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.release.compose import Asked, release_pack
from spoolwright.crafts.release.pack import ChainHead
from spoolwright.crafts.release.service import Review, record_pack, review_release
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Body, Entry
from spoolwright.crafts.visit.folder import Folder


def reviewed(shop: Shop, folder: Folder) -> Review:
    """Everything that stands between the engine of a visit and its release."""
    return review_release(folder, shop.records, shop.open_items(folder.visit, folder.today))


def print_pack(shop: Shop, desk: Desk, folder: Folder, asked: Asked) -> Entry[Body]:
    """Set the release pack as PDF, keep it, and record it with the head of the chain that it prints."""
    from spoolwright.reports.release_pack import release_pack_pdf

    review = reviewed(shop, folder)
    head = ChainHead(*shop.records.head())
    pack = release_pack(desk, folder, review, head, asked)
    pdf = release_pack_pdf(pack, accepted_reports(desk, folder))
    name = f"release-{folder.visit}-record-{head.seq}.pdf"
    return record_pack(desk, review, desk.attachments.keep(pdf, name, "application/pdf"), head)


def accepted_reports(desk: Desk, folder: Folder) -> list[bytes]:
    """The report of the accepted runs as PDF; none while no run is accepted."""
    accepted = standing(folder).accepted
    if accepted is None:
        return []
    assessed = next((e for e in standing(folder).assessments if e.subject == accepted.body.assessment), None)
    return [] if assessed is None else [_report(desk, assessed.body.result)]


def _report(desk: Desk, result: Attachment) -> bytes:
    from spoolwright.crafts.testcell.model import Assessment
    from spoolwright.reports.pdf import report_pdf

    return report_pdf(Assessment.model_validate_json(desk.attachments.read(result.sha256)), ())
