"""Build scatter of a serial, and faults of its modules that can be planted by name and size.

Sizes are in per cent unless a unit stands beside the name. Ratios of flow to efficiency follow published
signatures: fouling 3:1 and erosion 2:1 of a compressor, erosion of a turbine 2:1 with capacity up
(Diakunchak 1992, J. Eng. Gas Turbines Power 114, 161; Escher 1995; Zwebek and Pilidis 2003), foreign-object
damage 2:1, turbine tip clearance mostly efficiency. The ratio is typical, not unique to a fault
(Mathioudakis et al. 2024, Energies 17, 3409).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from numpy.random import Generator

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.errors import InputError

SCATTER: dict[str, float] = {
    "compressor_flow": 0.004,
    "compressor_efficiency": 0.0025,
    "combustor_efficiency": 0.0004,
    "combustor_loss": 0.03,
    "gas_generator_turbine_area": 0.003,
    "gas_generator_turbine_efficiency": 0.0020,
    "power_turbine_area": 0.003,
    "power_turbine_efficiency": 0.0025,
    "inlet_loss": 0.03,
    "interturbine_loss": 0.04,
    "exhaust_loss": 0.05,
    "gear_loss": 0.04,
    "accessory_power": 0.04,
    "cooling_flow": 0.03,
    "handling_bleed": 0.05,
}
"""Standard deviation of each condition factor among serials of good build [-]; normal about 1."""
LEAK_SCATTER = 0.0008
"""Mean of the exponentially distributed leak of a good build [-]."""
VANE_SCATTER = 0.35
"""Standard deviation of the vane rigging of a good build [deg]."""


@dataclass(frozen=True)
class ModuleFault:
    """What a fault does to the condition factors at a size of 1 (per cent, or the unit told).

    Parameters
    ----------
    text : what it is
    relative : relative change of multiplying factors for size 1 [-]
    added : change of added factors (leak, vane_offset) for size 1 [unit of the factor]
    scale : turns the size into multiples of the above for an engine; 1 for most [-]
    """

    text: str
    relative: Mapping[str, float]
    added: Mapping[str, float]
    scale: Callable[[EngineData], float] = lambda _: 1.0


def _exhaust_scale(data: EngineData) -> float:
    """Multiples of the engine's own exhaust loss that make 1 % of back pressure."""
    return 0.01 / (data.ducts.exhaust_loss_fixed + data.ducts.exhaust_loss)


def _gear_scale(data: EngineData) -> float:
    """Multiples of the gear's own loss that cost 1 % of the reference power."""
    return 0.01 / (data.shafts.gear_loss + data.shafts.gear_drag / data.reference.power)


def _accessory_scale(data: EngineData) -> float:
    """Multiples of the accessories' own power that make 1 % of the reference power."""
    return 0.01 * data.reference.power / data.shafts.accessory_power


_C, _G, _P = "compressor", "gas_generator_turbine", "power_turbine"
MODULE_FAULTS: dict[str, ModuleFault] = {
    "compressor_fouling": ModuleFault(
        "dirt on the compressor; size: flow lost",
        {f"{_C}_flow": -0.01, f"{_C}_efficiency": -0.01 / 3.0},
        {},
    ),
    "compressor_erosion": ModuleFault(
        "eroded compressor blades; size: flow lost",
        {f"{_C}_flow": -0.01, f"{_C}_efficiency": -0.005},
        {},
    ),
    "foreign_object_damage": ModuleFault(
        "damaged compressor blades; size: flow lost",
        {f"{_C}_flow": -0.01, f"{_C}_efficiency": -0.005},
        {},
    ),
    "compressor_tip_clearance": ModuleFault(
        "compressor tips too short; size: efficiency lost",
        {f"{_C}_flow": -0.01, f"{_C}_efficiency": -0.01},
        {},
    ),
    "turbine_tip_clearance": ModuleFault(
        "gas generator turbine tips too short; size: efficiency lost",
        {f"{_G}_efficiency": -0.01, f"{_G}_area": 0.002},
        {},
    ),
    "turbine_erosion": ModuleFault(
        "eroded gas generator turbine; size: capacity gained",
        {f"{_G}_area": 0.01, f"{_G}_efficiency": -0.005},
        {},
    ),
    "gas_generator_nozzle_area": ModuleFault(
        "gas generator nozzle of another area; size: area gained (negative: lost)", {f"{_G}_area": 0.01}, {}
    ),
    "power_turbine_area": ModuleFault(
        "power turbine nozzle of another area; size: area gained (negative: lost)", {f"{_P}_area": 0.01}, {}
    ),
    "power_turbine_efficiency": ModuleFault(
        "worn power turbine; size: efficiency lost", {f"{_P}_efficiency": -0.01}, {}
    ),
    "bleed_leak": ModuleFault("bleed or joint leaking; size: inlet air lost", {}, {"leak": 0.01}),
    "anti_ice_leak": ModuleFault(
        "anti-ice valve not shut; size: inlet air lost at compressor delivery", {}, {"leak": 0.01}
    ),
    "combustor_efficiency": ModuleFault(
        "poor burning; size: combustor efficiency lost", {"combustor_efficiency": -0.01}, {}
    ),
    "combustor_loss": ModuleFault(
        "combustor liner distorted; size: pressure loss gained, per cent of itself",
        {"combustor_loss": 0.01},
        {},
    ),
    "exhaust_back_pressure": ModuleFault(
        "exhaust diffuser damaged; size: back pressure gained", {"exhaust_loss": 1.0}, {}, _exhaust_scale
    ),
    "gear_loss": ModuleFault("gearbox dragging; size: rated power lost", {"gear_loss": 1.0}, {}, _gear_scale),
    "accessory_loss": ModuleFault(
        "accessories dragging; size: rated power taken from the gas generator",
        {"accessory_power": 1.0},
        {},
        _accessory_scale,
    ),
    "vane_rigging": ModuleFault("vanes off schedule; size: degrees closed", {}, {"vane_offset": 1.0}),
}
"""Faults of the gas path by name."""


@dataclass(frozen=True)
class MechanicalFault:
    """A fault that no gas path shows: what it is, the healthy value, and what a size of 1 adds to it."""

    text: str
    healthy: float
    unit: float


MECHANICAL_FAULTS: dict[str, MechanicalFault] = {
    "unbalance": MechanicalFault("gas generator out of balance; size: per cent more vibration", 1.0, 0.01),
    "rub": MechanicalFault("rotor rubbing; size: drag at the gas generator in N m", 0.0, 1.0),
    "start_fuel": MechanicalFault("start fuel rich; size: per cent too much", 1.0, 0.01),
    "acceleration_fuel": MechanicalFault("acceleration fuel rich; size: per cent too much", 1.0, 0.01),
    "oil_loss": MechanicalFault("oil consumed in excess; size: L/h", 0.0, 1e-3 / 3600.0),
    "oil_pressure": MechanicalFault("oil relief valve set off; size: per cent more pressure", 1.0, 0.01),
    "chips": MechanicalFault("metal on a chip detector; size: minutes after the start", 0.0, 60.0),
    "torque_zero": MechanicalFault("torquemeter off its data plate; size: per cent too much", 1.0, 0.01),
}
"""Faults that no gas path shows, by name."""


def drawn_factors(generator: Generator) -> ConditionFactors:
    """Condition of the modules of one serial of good build."""
    factors = {name: 1.0 + sigma * float(generator.standard_normal()) for name, sigma in SCATTER.items()}
    leak = LEAK_SCATTER * float(generator.standard_exponential())
    return ConditionFactors(
        **factors, leak=leak, vane_offset=VANE_SCATTER * float(generator.standard_normal())
    )


def check_faults(faults: Mapping[str, float]) -> None:
    """Whether every fault is known.

    Raises
    ------
    InputError
        Names the first that is not, and lists those that are.
    """
    for name in faults:
        if name not in MODULE_FAULTS and name not in MECHANICAL_FAULTS:
            raise InputError(
                f"fault '{name}' is not known.",
                mend=f"Use one of: {', '.join([*MODULE_FAULTS, *MECHANICAL_FAULTS])}.",
            )


def with_faults(factors: ConditionFactors, faults: Mapping[str, float], data: EngineData) -> ConditionFactors:
    """Condition factors with faults planted, name to size.

    Raises
    ------
    InputError
        When a fault is not known.
    """
    check_faults(faults)
    for name, size in faults.items():
        if name in MECHANICAL_FAULTS:
            continue
        fault = MODULE_FAULTS[name]
        steps = size * fault.scale(data)
        changes = {k: getattr(factors, k) * (1.0 + steps * v) for k, v in fault.relative.items()}
        changes |= {k: getattr(factors, k) + steps * v for k, v in fault.added.items()}
        factors = replace(factors, **changes)
    return factors
