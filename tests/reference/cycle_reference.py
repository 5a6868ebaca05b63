"""The generic reference turboshaft of the tables in this folder, as engine data.

Compressor with vertical speed lines, corrected flow 1 + 2 (n - 1), both turbines choked, constant
efficiencies, no cooling, no bleed: see data/cycle_reference.toml.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from spoolwright.core.cycle.engine import (
    Combustor,
    Compressor,
    CompressorMap,
    Curve,
    Ducts,
    EngineData,
    HandlingBleed,
    Reference,
    SecondaryFlows,
    Shafts,
    Turbine,
    TurbineMap,
    VariableVanes,
)
from spoolwright.core.cycle.gaspath import log_critical_flow
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.gas.mixture import GasMixture

SPEED = 40000.0  # rpm; only ratios to it matter


def _axis(low: float, high: float, count: int) -> tuple[float, ...]:
    return tuple(np.linspace(low, high, count).tolist())


def _compressor_map() -> CompressorMap:
    n, b = _axis(0.8, 1.2, 41), _axis(-1.0, 1.0, 9)
    flow = tuple(tuple(1.0 + 2.0 * (s - 1.0) for _ in b) for s in n)
    rise = tuple(tuple(math.exp(v) for v in b) for _ in n)
    flat = tuple(tuple(1.0 for _ in b) for _ in n)
    return CompressorMap(n, b, flow, rise, flat, _axis(0.5, 1.5, 5), (5.0,) * 5)


def _turbine(area: float, ratio: float, efficiency: float, corrected_speed: float) -> Turbine:
    n, y = _axis(0.2, 3.0, 8), _axis(0.4, 1.6, 49)
    flat = tuple(tuple(1.0 for _ in y) for _ in n)
    return Turbine(area, ratio, efficiency, corrected_speed, TurbineMap(n, y, flat, flat))


def reference_model(gas: Any = None) -> EngineModel:
    """The engine; throat areas follow from flow, temperature and pressure of the table's design point."""
    gas = gas or GasMixture(1.9)
    far, flow = 0.0215797, 4.5 + 0.0971088

    def area(T: float, p: float) -> float:
        choked = math.exp(log_critical_flow(gas.gamma(T, far)))
        return flow * math.sqrt(gas.gas_constant(far) * T) / p / choked

    curve = Curve((0.0, 0.5, 1.0, 1.5), (0.0,) * 4)
    data = EngineData(
        name="generic reference",
        reference=Reference(1220.121e3, SPEED, SPEED / 2, 1100.4467, 1350.0, 0.0971088),
        compressor=Compressor(4.5, 9.0, 0.82, _compressor_map()),
        vanes=VariableVanes(curve, curve),
        handling_bleed=HandlingBleed(),
        secondary=SecondaryFlows(),
        ducts=Ducts(1.0, 1.0, exhaust_loss_fixed=0.03),
        combustor=Combustor(0.99, 1.0, 1.0, 2.29, 0.0, 0.04, 0.0),
        gas_generator_turbine=_turbine(area(1350.0, 875448.0), 2.794636, 0.86, SPEED / 700.0),
        power_turbine=_turbine(area(1100.4467, 313260.0), 3.00159, 0.88, SPEED / 1300.0),
        shafts=Shafts(4.0, 0.01, 0.01, gear_loss=0.01, spool_loss=0.01),
    )
    return EngineModel(data)
