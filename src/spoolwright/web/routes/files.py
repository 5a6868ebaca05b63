"""Files that belong to records, by the hash of their content."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path, Query
from starlette.responses import Response

from spoolwright.store.attachments import MissingAttachmentError
from spoolwright.web.frame import DeskHere, NotThereError
from spoolwright.web.security.content import PDF, kind_of

router = APIRouter()
Hash = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]


@router.get("/file/{sha256}")
def file(sha256: Hash, desk: DeskHere, name: Annotated[str, Query(max_length=200)] = "") -> Response:
    """A file; what a browser cannot show safely is offered to be saved. The content never changes."""
    try:
        content = desk.attachments.read(sha256)
    except MissingAttachmentError as error:
        raise NotThereError(error.what, mend=error.mend) from error
    kind = kind_of(content)
    shown = kind is not None and kind.shown
    title = quote(name or f"{sha256[:12]}")
    return Response(
        content,
        media_type=kind.media_type if kind else "application/octet-stream",
        headers={
            "Content-Disposition": f"{'inline' if shown else 'attachment'}; filename*=UTF-8''{title}",
            # A browser shows no PDF in a sandbox; the policy still lets nothing in it load or run.
            "Content-Security-Policy": "default-src 'none'" + ("" if kind is PDF else "; sandbox"),
            "Cache-Control": "private, max-age=31536000, immutable",
        },
    )
