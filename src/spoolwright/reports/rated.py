"""Performance at the ratings as tables, one for each block."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Assessment, RatedValue
from spoolwright.reports.figures import Cell, cell
from spoolwright.reports.labels import RATED, block_names, rating_names, words


@dataclass(frozen=True)
class RatedRow:
    """One quantity at one rating."""

    quantity: str
    unit: str
    approved: Cell | None
    nominal: Cell | None
    margin: Cell | None
    model: Cell | None
    difference: Cell | None
    note: str


@dataclass(frozen=True)
class RatedTable:
    """All ratings of one block."""

    block: str
    ratings: tuple[tuple[str, tuple[RatedRow, ...]], ...]


def rated_tables(a: Assessment) -> list[RatedTable]:
    """Values read off the curves at the ratings; the newest block first."""
    names, blocks = rating_names(a), block_names(a)
    found: dict[int | None, dict[str, list[RatedRow]]] = {}
    for r in a.rated:
        found.setdefault(r.block, {}).setdefault(names[r.rating], []).append(_row(r))
    newest_first = sorted(found, key=lambda b: -(b or 0))
    return [
        RatedTable(blocks.get(b or 0, ""), tuple((name, tuple(rows)) for name, rows in found[b].items()))
        for b in newest_first
    ]


def _row(r: RatedValue) -> RatedRow:
    nominal = cell(r.nominal)
    return RatedRow(
        quantity=RATED.get(r.quantity, words(r.quantity)),
        unit=nominal.main.unit if nominal else "",
        approved=cell(r.approved),
        nominal=nominal,
        margin=cell(r.margin),
        model=cell(r.model),
        difference=cell(r.difference),
        note="beyond the points" if r.extrapolated else "",
    )
