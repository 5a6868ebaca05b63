"""Which crafts take part in a shop: their records' kinds, and what each says is open.

A craft adds one line to `OPEN_ITEMS`: `by_folder(open.open_items)` where the visit's folder is enough, or a
function of folder and records where it also reads what stands outside the visit (parts, engines). Importing
the craft here is also what makes its kinds of records known; one without open items is named in `MODELS`.
"""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

from spoolwright.crafts.cards import open as cards
from spoolwright.crafts.inspection import open as inspection
from spoolwright.crafts.installation import open as installation
from spoolwright.crafts.life import open as life
from spoolwright.crafts.owed import open as owed
from spoolwright.crafts.receiving import open as receiving
from spoolwright.crafts.release import model as release
from spoolwright.crafts.scope import model as scope
from spoolwright.crafts.supply import open as supply
from spoolwright.crafts.testcell.visit import open as testcell
from spoolwright.crafts.visit import adopted, model, people
from spoolwright.crafts.visit.entry import Records
from spoolwright.crafts.visit.folder import Folder, OpenItem

Opening = Callable[[Folder, Records], list[OpenItem]]


def by_folder(open_items: Callable[[Folder], list[OpenItem]]) -> Opening:
    """A craft whose open items follow from the visit's folder alone."""
    return lambda folder, _records: open_items(folder)


MODELS: tuple[ModuleType, ...] = (
    adopted,
    model,
    people,
    release,
    scope,
)

OPEN_ITEMS: tuple[Opening, ...] = (
    receiving.open_items,
    life.open_items,
    supply.open_items,
    by_folder(cards.open_items),
    by_folder(owed.open_items),
    by_folder(inspection.open_items),
    by_folder(testcell.open_items),
    by_folder(installation.open_items),
)
