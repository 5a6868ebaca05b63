"""Changes of the build that the shop could make, and what each would cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

from spoolwright.core.diagnosis.forecast.findings import Finding, relative_excess
from spoolwright.crafts.testcell.forecast.found import MODULE_WORD, Found
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet, CostTable
from spoolwright.units import difference_to_inner, to_inner

PAIRED: Final = 3
"""So many of the best single changes are also tried two at a time."""
_WORTH: Final = 0.5
"""A finding closer to its restored state than this many standard uncertainties offers no change."""


@dataclass(frozen=True)
class Change:
    """A change: findings and what they become."""

    id: str
    title: str
    kind: str
    to: tuple[Finding, ...]
    work: tuple[tuple[str, str, int], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Findings that change."""
        return tuple(f.name for f in self.to)


def changes_of(sheet: BuildSheet, found: Sequence[Found]) -> list[Change]:
    """Every single change: what is off put right, and every other nozzle class in store."""
    return [*_restored(found), *_classes(sheet, found)]


def _restored(found: Sequence[Found]) -> Iterator[Change]:
    for f in found:
        x = f.finding
        if abs(x.excess - f.restored.excess) <= _WORTH * max(x.uncertainty, 1e-9):
            continue
        title = f.remedy[:1].upper() + f.remedy[1:]
        yield Change(f"restore_{x.name}", title, f.kind, (f.restored,), ((f.kind, x.module, x.stage),))


def _classes(sheet: BuildSheet, found: Sequence[Found]) -> Iterator[Change]:
    built = {f.finding.module: f.finding for f in found if f.kind == "nozzle"}
    nominal = {n.module: n for n in sheet.nozzle}
    for c in sheet.nozzle_class:
        at = built.get(c.module)
        if at is None or c.nozzle_class == nominal[c.module].nozzle_class:
            continue
        area = to_inner(c.area.value, c.area.unit)
        whole = nominal[c.module].nominal_area
        u = difference_to_inner(c.standard_uncertainty.value, c.standard_uncertainty.unit)
        excess, spread = relative_excess(area, to_inner(whole.value, whole.unit), u)
        title = f"Fit the {MODULE_WORD[c.module]} nozzle of class {c.nozzle_class} ({excess:+.1f} %)"
        yield Change(
            f"nozzle_{c.module}_{c.nozzle_class}",
            title.replace("-", "−"),
            "nozzle",
            (replace(at, excess=excess, uncertainty=spread),),
            (("nozzle", c.module, 0),),
        )


def together(changes: Sequence[Change]) -> list[Change]:
    """Two at a time of changes that do not touch the same finding."""
    out = []
    for a, b in combinations(changes[:PAIRED], 2):
        if set(a.names) & set(b.names):
            continue
        title = f"{a.title}, and {b.title[:1].lower()}{b.title[1:]}"
        out.append(Change(f"{a.id}+{b.id}", title, "two", (*a.to, *b.to), (*a.work, *b.work)))
    return out


def cost_of(change: Change, table: CostTable | None) -> tuple[float | None, float | None, str]:
    """Hours and money of a change by the shop's table, and what the table lacks."""
    if table is None:
        return None, None, ""
    hours = money = 0.0
    for kind, module, stage in change.work:
        rows = [
            w for w in table.work if w.kind == kind and w.module in ("", module) and w.stage in (0, stage)
        ]
        if not rows:
            return None, None, "not in the cost table"
        best = max(rows, key=lambda w: (bool(w.module), bool(w.stage)))  # the most particular row holds
        hours, money = hours + best.hours, money + best.money
    return hours, money, ""
