"""From the build sheet to findings as the rules take them, each with its entered amounts in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.forecast.findings import (
    Finding,
    clearance_excess,
    friction_rise,
    orifice_share,
    relative_excess,
)
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet, Clearance, Stages
from spoolwright.crafts.typefile.base import Amount
from spoolwright.units import difference_to_inner, from_inner, to_inner, unit_named

_PRINTED: Final = {"1": "", "deg": "°", "cm2": " cm²", "mm2": " mm²", "in2": " in²", "um": " µm"}
MODULE_WORD: Final = {
    "compressor": "compressor",
    "gas_generator_turbine": "gas generator turbine",
    "power_turbine": "power turbine",
    "": "",
}
DIRT: Final = {
    "washed": (0.0, 0.15),
    "clean": (0.0, 0.20),
    "light": (0.6, 0.35),
    "fouled": (1.6, 0.7),
    "heavy": (3.2, 1.1),
}
"""Flow lost for each state of the surface, and its standard deviation [%]. `[M]`; a judgement by eye."""
DIRT_WORD: Final = {
    "washed": "washed",
    "clean": "clean",
    "light": "lightly dirty",
    "fouled": "fouled",
    "heavy": "heavily fouled",
}


@dataclass(frozen=True)
class Found:
    """A finding with its words.

    Parameters
    ----------
    finding : as the rules take it
    kind : table of the build sheet
    title : what it is, in words
    as_built : entered value with its unit
    nominal : entered nominal value with its unit
    uncertainty : entered standard uncertainty with its unit
    restored : the finding after it is put right
    remedy : what putting it right is called
    """

    finding: Finding
    kind: str
    title: str
    as_built: str
    nominal: str
    uncertainty: str
    restored: Finding
    remedy: str


def found_of(sheet: BuildSheet, model: EngineModel) -> list[Found]:
    """Everything that the build sheet tells, in its order."""
    return [
        *_clearances(sheet),
        *_nozzles(sheet),
        *_blades(sheet),
        *_surface(sheet),
        *_leaks(sheet, model),
        *_rest(sheet),
    ]


def words(a: Amount) -> str:
    """An amount as entered."""
    unit = _PRINTED.get(a.unit, f" {a.unit}")
    return f"{a.value:g}{unit}".replace("-", "−")


def _in(a: Amount) -> float:
    return to_inner(a.value, a.unit)


def _u(a: Amount) -> float:
    return difference_to_inner(a.value, a.unit)


def _share(stages: Stages, module: str, given: float | None = None) -> float:
    return given if given is not None else 1.0 / int(getattr(stages, module))


def _clearances(sheet: BuildSheet) -> Iterator[Found]:
    for c in sheet.clearance:
        excess, u = _clearance(c)
        name = f"clearance_{c.module}_{c.stage}"
        share = _share(sheet.stages, c.module, c.work_share)
        f = Finding(name, "clearance", c.module, c.stage, excess, u, share)
        title = f"Tip clearance, {MODULE_WORD[c.module]} stage {c.stage}"
        yield Found(
            f, "clearance", title, words(c.gap), words(c.nominal_gap), words(c.standard_uncertainty),
            replace(f, excess=0.0), f"restore the tip clearance of {MODULE_WORD[c.module]} stage {c.stage}",
        )  # fmt: skip


def _clearance(c: Clearance) -> tuple[float, float]:
    if unit_named(c.gap.unit).dimension == "ratio":
        return 100.0 * (_in(c.gap) - _in(c.nominal_gap)), 100.0 * _u(c.standard_uncertainty)
    assert c.span is not None
    return clearance_excess(_in(c.gap), _in(c.span), _in(c.nominal_gap), _u(c.standard_uncertainty))


def _nozzles(sheet: BuildSheet) -> Iterator[Found]:
    for n in sheet.nozzle:
        excess, u = relative_excess(_in(n.area), _in(n.nominal_area), _u(n.standard_uncertainty))
        f = Finding(f"nozzle_{n.module}", "nozzle_area", n.module, 0, excess, u)
        named = f", class {n.nozzle_class}" if n.nozzle_class else ""
        yield Found(
            f, "nozzle", f"Nozzle throat area, {MODULE_WORD[n.module]}{named}", words(n.area),
            words(n.nominal_area), words(n.standard_uncertainty), replace(f, excess=0.0),
            f"fit a {MODULE_WORD[n.module]} nozzle of nominal area",
        )  # fmt: skip


def _blades(sheet: BuildSheet) -> Iterator[Found]:
    share = _share(sheet.stages, "compressor")
    for b in sheet.blend:
        row = _in(b.row_area)
        excess, u = 100.0 * _in(b.blended_area) / row, 100.0 * _u(b.standard_uncertainty) / row
        f = Finding(f"blend_{b.stage}", "blend", "compressor", b.stage, excess, u, share)
        yield Found(
            f, "blend", f"Blended blades, compressor stage {b.stage}", words(b.blended_area), "none",
            words(b.standard_uncertainty), replace(f, excess=0.0, uncertainty=0.0),
            f"re-blade compressor stage {b.stage}",
        )  # fmt: skip
    for r in sheet.roughness:
        rise, u = friction_rise(_in(r.roughness), _in(r.chord), r.reynolds)
        f = Finding(f"roughness_{r.stage}", "friction", "compressor", r.stage, rise, u, share)
        smooth = 100.0 * _in(r.chord) / r.reynolds / 6.0
        yield Found(
            f, "roughness", f"Blade roughness, compressor stage {r.stage}", f"Ra {words(r.roughness)}",
            f"smooth below Ra {from_inner(smooth, 'um'):.2f} µm", "30 % of the grain",
            replace(f, excess=0.0, uncertainty=0.0), f"polish or re-blade compressor stage {r.stage}",
        )  # fmt: skip


def _surface(sheet: BuildSheet) -> Iterator[Found]:
    if sheet.surface is None:
        return
    lost, u = DIRT[sheet.surface.state]
    f = Finding("surface", "fouling", "compressor", 0, lost, u)
    clean = replace(f, excess=DIRT["washed"][0], uncertainty=DIRT["washed"][1])
    yield Found(
        f, "surface", f"Compressor surface, {DIRT_WORD[sheet.surface.state]}",
        f"about {lost:g} % of flow lost", "clean", f"{u:g} % of flow, by eye", clean, "wash the compressor",
    )  # fmt: skip


def _leaks(sheet: BuildSheet, model: EngineModel) -> Iterator[Found]:
    for s in sheet.seal:
        excess, u = relative_excess(_in(s.clearance), _in(s.new_clearance), _u(s.standard_uncertainty))
        f = Finding(f"seal_{s.name}", "seal", "", 0, excess, u)
        title = f"Seal clearance, {s.name.replace('_', ' ')}"
        yield Found(
            f, "seal", title, words(s.clearance), words(s.new_clearance), words(s.standard_uncertainty),
            replace(f, excess=0.0), f"renew the seal {s.name.replace('_', ' ')}",
        )  # fmt: skip
    if not sheet.leak_check:
        return
    r = model.data.reference
    at = solve(model, model.data.condition(), set_by="power", target=r.power)
    for c in sheet.leak_check:
        flow, scale = _in(c.flow), (_in(c.pressure), _in(c.temperature))
        to = (float(at.air_flow), float(at.p3), float(at.T3))
        share = orifice_share(max(flow, 1e-9), *scale, *to)
        u = orifice_share(_u(c.standard_uncertainty), *scale, *to)
        f = Finding(f"leak_{c.name}", "leak", "", 0, share, u)
        yield Found(
            f, "leak_check", f"Leak check, {c.name.replace('_', ' ')}", words(c.flow), "none",
            words(c.standard_uncertainty), replace(f, excess=0.0), f"seal {c.name.replace('_', ' ')}",
        )  # fmt: skip


def _rest(sheet: BuildSheet) -> Iterator[Found]:
    if sheet.vanes is not None:
        v = sheet.vanes
        f = Finding("vanes", "vanes", "compressor", 0, _in(v.offset), _u(v.standard_uncertainty))
        yield Found(
            f, "vanes", "Vane rigging", words(v.offset), "0°", words(v.standard_uncertainty),
            replace(f, excess=0.0), "re-rig the variable vanes",
        )  # fmt: skip
    for d in sheet.drag:
        excess, u = relative_excess(_in(d.power), _in(d.nominal_power), _u(d.standard_uncertainty))
        cause = "gear_drag" if d.of == "gearbox" else "accessory_drag"
        f = Finding(cause, cause, "", 0, excess, u)
        yield Found(
            f, "drag", f"Drag of the {d.of}", words(d.power), words(d.nominal_power),
            words(d.standard_uncertainty), replace(f, excess=0.0), f"put the {d.of} right",
        )  # fmt: skip
