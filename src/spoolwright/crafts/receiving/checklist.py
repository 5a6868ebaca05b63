"""The documents that should have come, and what was found of each."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.crafts.receiving.model import DocumentReceived
from spoolwright.crafts.typefile.shop.receiving import ExpectedDocument
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder, newest


@dataclass(frozen=True)
class Line:
    """A document that should come, for the engine or a module, and what was recorded of it."""

    document: ExpectedDocument
    module: str
    subject: str
    found: Entry[DocumentReceived] | None
    module_name: str = ""

    @property
    def state(self) -> str:
        """What a person reads."""
        return self.found.body.state if self.found else "not looked for"

    @property
    def words(self) -> str:
        """The document in words, with its module."""
        return f"{self.document.name}, {self.module_name}" if self.module else self.document.name


def document_subject(visit: str, document: str, module: str = "") -> str:
    """Where a document of the checklist is recorded."""
    return "/".join(p for p in ("visit", visit, "receiving", "document", document, module) if p)


def checklist(folder: Folder) -> list[Line]:
    """Every document the type's list expects, engine first, then module by module."""
    found = folder.of(DocumentReceived)
    expected = folder.kind.shop.expected_document
    names = {m.id: m.name for m in folder.kind.type_file.module}
    wanted = [(d, "") for d in expected if d.per == "engine"]
    wanted += [(d, m.id) for m in folder.kind.type_file.module for d in expected if d.per == "module"]
    lines = []
    for document, module in wanted:
        subject = document_subject(folder.visit, document.id, module)
        lines.append(Line(document, module, subject, newest(found, subject), names.get(module, "")))
    return lines
