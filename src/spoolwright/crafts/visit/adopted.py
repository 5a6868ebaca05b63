"""A type as the shop adopted it: the type file and its shop part are attachments of a record."""

from __future__ import annotations

from typing import ClassVar

from spoolwright.crafts.visit.entry import Attachment, Body


class TypeAdopted(Body):
    """The type file and shop part in force. Subject `type/ID`; new documents are a correction."""

    kind: ClassVar[str] = "type"

    type_id: str
    name: str
    type_file: Attachment
    shop_files: tuple[Attachment, ...] = ()
