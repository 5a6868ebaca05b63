"""Expected condition of the modules: what was measured and blended in a visit, as a forecast takes it.

What is not measured is left out, never guessed: the forecast lets it scatter as builds do, and it is told.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from spoolwright.core.blade.removed import segment_area
from spoolwright.crafts.inspection.blend import row_area, taken_by
from spoolwright.crafts.inspection.lengths import INCH
from spoolwright.crafts.inspection.model import DimensionSettled, DimensionTaken, Proposed
from spoolwright.crafts.inspection.stage import Earlier
from spoolwright.crafts.inspection.standing import StageState
from spoolwright.crafts.typefile.shop.condition import ForecastCondition
from spoolwright.crafts.typefile.shop.inspection import Dimension
from spoolwright.crafts.visit.folder import Folder

BLEND_UNCERTAINTY = 0.10
"""Standard uncertainty of a blended area, of itself: common practice, no source."""
UNITS = {"mm²": "mm2", "in²": "in2", "µm": "um"}


@dataclass(frozen=True)
class Measured:
    """A quantity that the forecast takes: which table of the build sheet, its keys, the amounts in it."""

    table: str
    title: str
    keys: Mapping[str, str | int | float]
    amounts: Mapping[str, tuple[float, str]]
    value: str
    nominal: str
    uncertainty: str
    link: str


@dataclass(frozen=True)
class NotTaken:
    """What the forecast goes without, and where it is entered."""

    text: str
    link: str


@dataclass(frozen=True)
class ExpectedCondition:
    """What a forecast takes from a visit's inspection, and what it lacks."""

    measured: tuple[Measured, ...]
    missing: tuple[NotTaken, ...]


def expected_condition(folder: Folder, stages: Mapping[str, StageState]) -> ExpectedCondition | None:
    """The condition of a visit; None where the type does not say how. `stages` by inspected part."""
    kind = folder.kind.shop.condition
    if kind is None:
        return None
    found: list[Measured | NotTaken] = [*_dimensions(folder, kind), *_blends(folder, kind, stages)]
    return ExpectedCondition(
        tuple(x for x in found if isinstance(x, Measured)),
        tuple(x for x in found if isinstance(x, NotTaken)),
    )


def _dimensions(folder: Folder, kind: ForecastCondition) -> Iterator[Measured | NotTaken]:
    known = {d.id: d for d in folder.kind.shop.dimension}
    base = f"/visit/{folder.visit}/inspection/dimensions#"
    for c in kind.clearance:
        d, link = known[c.dimension], base + c.dimension
        mean = _mean(folder, d, c.uncertainty)
        if mean is None:
            yield _not_measured(d, link)
            continue
        unit = UNITS.get(d.unit, d.unit)
        amounts = {
            "gap": (mean[0], unit), "nominal_gap": (c.nominal, unit), "standard_uncertainty": (mean[1], unit),
            "span": (c.blade_height, unit),
        }  # fmt: skip
        keys: dict[str, str | int | float] = {"module": c.module, "stage": c.stage}
        yield _row("clearance", d, keys, amounts, mean, c.nominal, link)
    for n in kind.nozzle:
        d, link = known[n.dimension], base + n.dimension
        mean = _mean(folder, d, n.uncertainty)
        if mean is None:
            yield _not_measured(d, link)
            continue
        unit = UNITS.get(d.unit, d.unit)
        amounts = {"area": (mean[0], unit), "nominal_area": (n.nominal, unit),
                   "standard_uncertainty": (mean[1], unit)}  # fmt: skip
        yield _row("nozzle", d, {"module": n.module}, amounts, mean, n.nominal, link)
    for r in kind.roughness:
        d, link = known[r.dimension], base + r.dimension
        mean = _mean(folder, d, 0.0)
        if mean is None:
            yield _not_measured(d, link)
            continue
        amounts = {"roughness": (mean[0], UNITS.get(d.unit, d.unit)), "chord": (r.chord_mm, "mm")}
        yield _row("roughness", d, {"stage": r.stage, "reynolds": r.reynolds}, amounts, mean, None, link)


def _row(
    table: str,
    d: Dimension,
    keys: Mapping[str, str | int | float],
    amounts: Mapping[str, tuple[float, str]],
    mean: tuple[float, float, int],
    nominal: float | None,
    link: str,
) -> Measured:
    value, u, count = mean
    of = f", mean of {count}" if count > 1 else ""
    told = f"{u:.3g} {d.unit}" if u else "30 % of the grain"
    stated = "smooth" if nominal is None else f"{nominal:g} {d.unit}"
    return Measured(table, d.name, keys, amounts, f"{value:.4g} {d.unit}{of}", stated, told, link)


def _not_measured(d: Dimension, link: str) -> NotTaken:
    return NotTaken(f"{d.name}: not measured as built.", link)


def _mean(folder: Folder, d: Dimension, otherwise: float) -> tuple[float, float, int] | None:
    """Mean over the places of a dimension, its standard uncertainty, how many; without what was replaced."""
    settled = {e.body.dimension: e for e in folder.of(DimensionSettled)}
    values, us = [], []
    for e in folder.of(DimensionTaken):
        closed = settled.get(e.subject)
        if e.body.dimension != d.id or (closed is not None and closed.body.how == "replaced"):
            continue
        times = _times(e.body.unit, d.unit)
        values.append(float(Fraction(e.body.value) * times))
        us.append(float(Fraction(e.body.uncertainty) * times) if e.body.uncertainty else otherwise)
    if not values:
        return None
    # one gauge measures all places: its error does not average out
    return sum(values) / len(values), math.sqrt(sum(u * u for u in us) / len(us)), len(values)


def _times(of: str, to: str) -> Fraction:
    if of == to:
        return Fraction(1)
    return INCH if of == "in" else 1 / INCH


def _blends(
    folder: Folder, kind: ForecastCondition, stages: Mapping[str, StageState]
) -> Iterator[Measured | NotTaken]:
    for row in kind.blends:
        state, link = stages[row.part], f"/visit/{folder.visit}/inspection/{row.part}"
        airfoil = state.part.airfoil
        if airfoil is None:
            yield NotTaken(f"{state.part.name}: blends not taken, its airfoil is not transcribed.", link)
            continue
        waiting = [f for f in state.standing if f.decided is None and not f.is_settled]
        if waiting:
            told = f"{state.part.name}: {len(waiting)} not decided; their blends are not in it."
            yield NotTaken(told, link)
        if not state.findings and state.signed is None:
            yield NotTaken(f"{state.part.name}: not inspected in this visit.", link)
            continue
        area = done_area(state.stage.blends) + planned_area(state)
        if area <= 0.0:
            continue
        whole = 1e6 * row_area(airfoil, state.part.count)
        u = BLEND_UNCERTAINTY * area
        amounts = {"blended_area": (area, "mm2"), "row_area": (whole, "mm2"),
                   "standard_uncertainty": (u, "mm2")}  # fmt: skip
        yield Measured(
            "blend", f"Blends, {state.part.name}", {"stage": row.stage}, amounts,
            f"{area:.1f} mm² of {whole:.0f} mm²", "none", f"{u:.2g} mm²", f"{link}/blends",
        )  # fmt: skip


def done_area(blends: tuple[Earlier, ...]) -> float:
    """Area of the blends that are there [mm²]; of two at one place the larger counts."""
    kept: list[tuple[Earlier, float]] = []
    for b in sorted(blends, key=lambda b: -b.depth):
        if b.depth <= 0 or b.length <= 0 or any(_meet(b, other) for other, _ in kept):
            continue
        kept.append((b, segment_area(float(b.length), float(b.depth))))
    return sum(area for _, area in kept)


def _meet(a: Earlier, b: Earlier) -> bool:
    if (a.blade, a.zone) != (b.blade, b.zone):
        return False
    if a.position is None or b.position is None:
        return True
    return abs(a.position - b.position) <= (a.length + b.length) / 2


def planned_area(state: StageState) -> float:
    """Area that the smallest blends of what is decided to be blended will take [mm²]."""
    lines = {x.id: x for x in state.stage.limits}
    total = 0.0
    for f in state.standing:
        judged = f.judgement
        if f.decided != "blend" or f.is_settled or judged is None or judged.proposed is not Proposed.BLEND:
            continue
        taken = taken_by(f.body, lines[judged.limit], state.stage)
        total += taken.area_mm2 if taken else 0.0
    return total
