"""How the rig's engine differs in shape from the type's own model.

A reduction that is tested on engines made by its own model with the same maps tests its algebra, not its
physics. The rig therefore bends every law of the type's model by the amounts below. Each bend leaves the
reference point where it is and grows away from it, as a map measured on a component rig differs from the
engine it is put in:

- compressor: flow over speed steeper and more curved, speed lines more curved, efficiency island at another
  speed and loading;
- turbines: capacity with a slope over speed, efficiency peak at another speed ratio;
- vanes a little off their schedule at part speed, with more effect a degree; handling bleed shuts at
  another speed;
- stronger Reynolds effect, another split of the cooling flows, combustor losses of another law;
- exhaust and gear losses split otherwise between a fixed part and one that grows with load;
- metal with other heat capacities and a stronger effect of its lag on tip clearance.

Sizes are of the order in which published component maps of one class differ among each other (a per cent or
two of flow and efficiency at 80 % speed). Engines of a type share these bends; a few numbered shapes vary
them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.engine import (
    CompressorMap,
    Curve,
    EngineData,
    HandlingBleed,
    HeatSoak,
    Table,
    TurbineMap,
)
from spoolwright.core.grid import Map
from spoolwright.rig.draws import stream

FloatArray = NDArray[np.float64]

SHAPES = 6
"""Number of different shapes."""
_SPREAD = 0.25
"""Standard deviation of each bend among the shapes, as a fraction of its size."""


@dataclass(frozen=True)
class Distortion:
    """Sizes of all bends; 0 leaves the type's model as it is.

    Parameters
    ----------
    flow_slope, flow_curvature : relative change of compressor flow for (n - 1) and (n - 1)^2 [-]
    rise_slope, rise_curvature : the same for pressure ratio - 1 [-]
    line_curvature : loading is read at l + k l^2, which bends every speed line [-]
    island_speed, island_loading : shift of the efficiency island in speed and loading [-]
    efficiency_curvature : relative efficiency lost for (n - 1)^2 beyond the type's map [-]
    turbine_capacity_slope : relative change of capacity for (corrected speed - 1), both turbines [-]
    turbine_peak_shift : relative shift of the corrected speed of best efficiency, both turbines [-]
    turbine_efficiency_curvature : relative efficiency lost for (expansion - 1)^2 [-]
    vane_deviation : vane angle off schedule at 80 % corrected speed, zero at 100 % [deg]
    vane_effect : relative change of the effects of a degree [-]
    bleed_speed : shift of the handling bleed's two speeds [-]
    bleed_fraction : relative change of the bleed flow [-]
    reynolds : relative change of both Reynolds exponents [-]
    cooling_split : share of the nozzle cooling that goes to the rotor instead [-]
    combustor_law : relative change of the combustor's loading exponent and heat-addition share [-]
    exhaust_split : share of the growing exhaust loss that is fixed instead [-]
    gear_split : share of the gear loss in proportion to power that is drag instead [-]
    soak : relative change of metal heat capacities [-]
    clearance : relative change of the effect of metal lag on efficiency [-]
    """

    flow_slope: float = 0.06
    flow_curvature: float = -0.35
    rise_slope: float = 0.05
    rise_curvature: float = -0.25
    line_curvature: float = 0.12
    island_speed: float = -0.006
    island_loading: float = 0.05
    efficiency_curvature: float = 0.10
    turbine_capacity_slope: float = -0.02
    turbine_peak_shift: float = 0.03
    turbine_efficiency_curvature: float = 0.05
    vane_deviation: float = 1.2
    vane_effect: float = 0.15
    bleed_speed: float = -0.008
    bleed_fraction: float = 0.10
    reynolds: float = 0.25
    cooling_split: float = 0.06
    combustor_law: float = 0.20
    exhaust_split: float = 0.25
    gear_split: float = 0.20
    soak: float = 0.20
    clearance: float = 0.30


NONE = Distortion(**{f.name: 0.0 for f in fields(Distortion)})
"""The type's own model."""


def shape(number: int) -> Distortion:
    """The bends of one shape; the same number always gives the same shape."""
    generator = stream(number % SHAPES, "shape")
    usual = Distortion()
    return Distortion(
        **{
            f.name: getattr(usual, f.name) * (1.0 + _SPREAD * generator.standard_normal())
            for f in fields(usual)
        }
    )


def distorted(data: EngineData, d: Distortion) -> EngineData:
    """The engine with every law bent as told; the reference point stays where it is."""
    c, s = data.compressor, data.secondary
    moved = s.nozzle_cooling * d.cooling_split
    return replace(
        data,
        compressor=replace(
            c,
            map=_compressor_map(c.map, d),
            reynolds_loss_exponent=c.reynolds_loss_exponent * (1.0 + d.reynolds),
            reynolds_flow_exponent=c.reynolds_flow_exponent * (1.0 + d.reynolds),
        ),
        vanes=replace(
            data.vanes,
            schedule=_vane_schedule(data.vanes.schedule, d.vane_deviation),
            flow_per_degree=data.vanes.flow_per_degree * (1.0 + d.vane_effect),
            efficiency_per_degree_squared=data.vanes.efficiency_per_degree_squared * (1.0 + d.vane_effect),
        ),
        handling_bleed=_handling_bleed(data.handling_bleed, d),
        secondary=replace(s, nozzle_cooling=s.nozzle_cooling - moved, rotor_cooling=s.rotor_cooling + moved),
        combustor=replace(
            data.combustor,
            loading_exponent=data.combustor.loading_exponent * (1.0 + d.combustor_law),
            heat_loss_share=data.combustor.heat_loss_share * (1.0 + d.combustor_law),
        ),
        gas_generator_turbine=replace(
            data.gas_generator_turbine, map=_turbine_map(data.gas_generator_turbine.map, d)
        ),
        power_turbine=replace(data.power_turbine, map=_turbine_map(data.power_turbine.map, d)),
        ducts=replace(
            data.ducts,
            exhaust_loss=data.ducts.exhaust_loss * (1.0 - d.exhaust_split),
            exhaust_loss_fixed=data.ducts.exhaust_loss_fixed + data.ducts.exhaust_loss * d.exhaust_split,
        ),
        shafts=replace(
            data.shafts,
            gear_loss=data.shafts.gear_loss * (1.0 - d.gear_split),
            gear_drag=data.shafts.gear_drag + data.shafts.gear_loss * d.gear_split * data.reference.power,
        ),
        heat_soak=None if data.heat_soak is None else _heat_soak(data.heat_soak, d),
    )


def _table(
    rows: tuple[float, ...],
    columns: tuple[float, ...],
    table: Table,
    where: Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]],
    times: Callable[[FloatArray, FloatArray], FloatArray],
    at: tuple[float, float],
) -> Table:
    """A table read at moved places and multiplied, still 1 where it was 1: at the reference point `at`."""
    spline = Map(rows, columns, [np.log(table).tolist()], "map")

    def bent(x: FloatArray, y: FloatArray) -> FloatArray:
        return np.asarray(np.exp(spline(*where(x, y))[0]) * times(x, y))

    x, y = np.meshgrid(rows, columns, indexing="ij")
    one = np.array(at[:1]), np.array(at[1:])
    was = np.exp(spline(*one)[0])
    new = bent(x, y) * (was / bent(*one))
    return tuple(tuple(float(v) for v in row) for row in new)


def _compressor_map(m: CompressorMap, d: Distortion) -> CompressorMap:
    def same(n: FloatArray, load: FloatArray) -> tuple[FloatArray, FloatArray]:
        return n, load + d.line_curvature * load * load

    def island(n: FloatArray, load: FloatArray) -> tuple[FloatArray, FloatArray]:
        return n - d.island_speed, load - d.island_loading

    def growth(slope: float, curvature: float) -> Callable[[FloatArray, FloatArray], FloatArray]:
        return lambda n, _: 1.0 + slope * (n - 1.0) + curvature * (n - 1.0) ** 2

    at = (1.0, 0.0)
    return replace(
        m,
        flow=_table(m.speed, m.loading, m.flow, same, growth(d.flow_slope, d.flow_curvature), at),
        pressure_rise=_table(
            m.speed, m.loading, m.pressure_rise, same, growth(d.rise_slope, d.rise_curvature), at
        ),
        efficiency=_table(m.speed, m.loading, m.efficiency, island, growth(0.0, -d.efficiency_curvature), at),
    )


def _turbine_map(m: TurbineMap, d: Distortion) -> TurbineMap:
    def same(n: FloatArray, expansion: FloatArray) -> tuple[FloatArray, FloatArray]:
        return n, expansion

    def peak(n: FloatArray, expansion: FloatArray) -> tuple[FloatArray, FloatArray]:
        return n * (1.0 - d.turbine_peak_shift), expansion

    def capacity(n: FloatArray, _: FloatArray) -> FloatArray:
        return 1.0 + d.turbine_capacity_slope * (n - 1.0)

    def loss(_: FloatArray, expansion: FloatArray) -> FloatArray:
        return 1.0 - d.turbine_efficiency_curvature * (expansion - 1.0) ** 2

    at = (1.0, 1.0)
    return replace(
        m,
        capacity=_table(m.speed, m.expansion, m.capacity, same, capacity, at),
        efficiency=_table(m.speed, m.expansion, m.efficiency, peak, loss, at),
    )


def _vane_schedule(schedule: Curve, at_80: float) -> Curve:
    """Vanes off their schedule by a parabola over 60 to 100 % speed, full at 80 %."""
    bent = (
        y + at_80 * max(0.0, 1.0 - ((x - 0.8) / 0.2) ** 2)
        for x, y in zip(schedule.x, schedule.y, strict=True)
    )
    return Curve(schedule.x, tuple(bent))


def _handling_bleed(b: HandlingBleed, d: Distortion) -> HandlingBleed:
    return replace(
        b,
        fraction=b.fraction * (1.0 + d.bleed_fraction),
        speed_open=b.speed_open + d.bleed_speed,
        speed_closed=b.speed_closed + d.bleed_speed,
    )


def _heat_soak(h: HeatSoak, d: Distortion) -> HeatSoak:
    return replace(
        h,
        compressor_heat_capacity=h.compressor_heat_capacity * (1.0 + d.soak),
        turbine_heat_capacity=h.turbine_heat_capacity * (1.0 + d.soak),
        compressor_clearance=h.compressor_clearance * (1.0 + d.clearance),
        turbine_clearance=h.turbine_clearance * (1.0 + d.clearance),
    )
