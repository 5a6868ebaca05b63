"""The causes that a diagnosis weighs: what can be wrong with an engine's modules, and wrong readings.

Ratios of flow to efficiency follow published signatures (Diakunchak 1992, J. Eng. Gas Turbines Power 114,
161; Escher 1995; Zwebek and Pilidis 2003; Hanachi et al. 2018): fouling 3:1, erosion and foreign-object
damage 2:1 with flow down, turbine erosion 2:1 with capacity up. The ratio is typical, not unique to a cause
(Mathioudakis et al. 2024, Energies 17, 3409): causes of one module that differ in the ratio alone are told
apart only as far as the ratio holds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from spoolwright.core.cycle.engine import EngineData

Kind = Literal["module", "reading"]


@dataclass(frozen=True)
class Cause:
    """One thing that may be wrong.

    Parameters
    ----------
    id : str
        Its name in files [-].
    text : str
        Its name for people [-].
    kind : {"module", "reading"}
        Something of the engine, or an instrument [-].
    module : str
        Part of the engine, or the channel [-].
    unit : str
        What a size of 1 is, in words [-].
    factors : mapping
        Departure of condition factors for size 1: relative where a factor multiplies, else added [-].
    sizes : tuple of float
        Smallest and largest size taken as possible [in `unit`].
    signs : tuple of int
        (1,) where it goes one way only, else (1, -1) [-].
    weight : float
        Prior probability relative to the other causes of its kind [-].
    seen_by : str
        Output that shows the size itself, where there is one [-].
    divided : bool
        Whether it is a loss of which a part is fixed and a part grows with power [-].
    """

    id: str
    text: str
    kind: Kind
    module: str
    unit: str
    factors: Mapping[str, float] = field(default_factory=dict)
    sizes: tuple[float, float] = (0.3, 6.0)
    signs: tuple[int, ...] = (1,)
    weight: float = 1.0
    seen_by: str = ""
    divided: bool = False


_C, _G, _P = "compressor", "gas_generator_turbine", "power_turbine"


def module_causes(data: EngineData) -> tuple[Cause, ...]:
    """Causes in the modules of an engine.

    Parameters
    ----------
    data : EngineData
        The type; sizes told as shares of rated power or pressure depend on its own losses [-].

    Returns
    -------
    tuple of Cause
        In the order of the gas path [-].
    """
    return (*_compressor_and_combustor(), *_turbines(), *_losses(data))


def _compressor_and_combustor() -> tuple[Cause, ...]:
    both = (1, -1)
    return (
        _cause(
            "compressor_fouling", "Compressor fouled", _C, "% of flow",
            {f"{_C}_flow": -1.0, f"{_C}_efficiency": -1.0 / 3.0},
        ),
        _cause(
            "compressor_erosion", "Compressor eroded, or damaged by a foreign object", _C, "% of flow",
            {f"{_C}_flow": -1.0, f"{_C}_efficiency": -0.5},
        ),
        _cause(
            "compressor_clearance", "Compressor tip clearance wide", _C, "% of efficiency",
            {f"{_C}_flow": -1.0, f"{_C}_efficiency": -1.0},
        ),
        _cause(
            "vane_rigging", "Variable vanes off their schedule", _C, "deg",
            {"vane_offset": math.radians(100.0)}, (0.5, 8.0), both, "vane_angle",
        ),
        _cause("bleed_leak", "Bleed or anti-ice valve leaking", _C, "% of inlet air", {"leak": 1.0}),
        _cause(
            "combustor_efficiency", "Combustor burning poorly", "combustor", "% of efficiency",
            {"combustor_efficiency": -1.0},
        ),
        _cause(
            "combustor_loss", "Combustor pressure loss high", "combustor", "tenths of the loss",
            {"combustor_loss": 10.0},
        ),
    )  # fmt: skip


def _turbines() -> tuple[Cause, ...]:
    both = (1, -1)
    return (
        _cause(
            "turbine_clearance", "Gas generator turbine worn or tip clearance wide", _G, "% of efficiency",
            {f"{_G}_efficiency": -1.0, f"{_G}_area": 0.2},
        ),
        _cause(
            "turbine_erosion", "Gas generator turbine eroded", _G, "% of capacity",
            {f"{_G}_area": 1.0, f"{_G}_efficiency": -0.5},
        ),
        _cause(
            "turbine_nozzle_area", "Gas generator turbine nozzle area off", _G, "% of area",
            {f"{_G}_area": 1.0}, signs=both,
        ),
        _cause(
            "power_turbine_efficiency", "Power turbine worn", _P, "% of efficiency",
            {f"{_P}_efficiency": -1.0},
        ),
        _cause(
            "power_turbine_nozzle_area", "Power turbine nozzle area off", _P, "% of area",
            {f"{_P}_area": 1.0}, signs=both,
        ),
    )  # fmt: skip


def _losses(data: EngineData) -> tuple[Cause, ...]:
    exhaust = data.ducts.exhaust_loss_fixed + data.ducts.exhaust_loss
    gear = data.shafts.gear_loss + data.shafts.gear_drag / data.reference.power
    accessory = data.shafts.accessory_power / data.reference.power
    share = "% of rated power"
    return (
        _cause(
            "exhaust_back_pressure", "Exhaust back pressure high", "exhaust", "% of pressure",
            {"exhaust_loss": 1.0 / exhaust}, divided=True,
        ),
        _cause(
            "gear_loss", "Reduction gear dragging", "gearbox", share, {"gear_loss": 1.0 / gear}, divided=True,
        ),
        _cause(
            "accessory_loss", "Accessories dragging on the gas generator", "accessories", share,
            {"accessory_power": 1.0 / accessory},
        ),
    )  # fmt: skip


def _cause(
    name: str,
    text: str,
    module: str,
    unit: str,
    factors: dict[str, float],
    sizes: tuple[float, float] = (0.3, 6.0),
    signs: tuple[int, ...] = (1,),
    seen_by: str = "",
    divided: bool = False,
) -> Cause:
    """A cause whose factors are given for a whole unit and sized in per cent of it."""
    moved = {k: 0.01 * v for k, v in factors.items()}
    return Cause(name, text, "module", module, unit, moved, sizes, signs, seen_by=seen_by, divided=divided)


@dataclass(frozen=True)
class ReadingScale:
    """What a size of 1 of a wrong reading is.

    Parameters
    ----------
    channel : str
        Which channel [-].
    name : str
        Its name for people [-].
    step : float
        One standard uncertainty, or what little counts as wrong [inner unit].
    """

    channel: str
    name: str
    step: float


def reading_causes(scales: Sequence[ReadingScale]) -> tuple[Cause, ...]:
    """A wrong reading for every channel.

    Parameters
    ----------
    scales : sequence of ReadingScale
        Channels that enter the diagnosis [-].

    Returns
    -------
    tuple of Cause
        Sizes in standard uncertainties, either way: less is what the stated uncertainty covers [-].
    """
    return tuple(
        Cause(
            f"reading:{s.channel}", f"{s.name} reads wrong", "reading", s.channel, "standard uncertainties",
            sizes=(3.0, 300.0), signs=(1, -1),
        )
        for s in scales
    )  # fmt: skip


def size_density(cause: Cause, size: float) -> float:
    """Prior density of a cause's size.

    Parameters
    ----------
    cause : Cause
        Which cause [-].
    size : float
        Its size, without sign [unit of the cause].

    Returns
    -------
    float
        Uniform for modules; for readings as the inverse square, since most err by some standard uncertainties
        and a few by very many; 0 outside [1 / unit of the cause].
    """
    low, high = cause.sizes
    if not low <= size <= high:
        return 0.0
    if cause.kind == "module":
        return 1.0 / (high - low)
    return low * high / ((high - low) * size**2)
