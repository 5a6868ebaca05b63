"""An invented engine, and random conditions over the envelope that the model must cover."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.generic import DataSheet, generic_engine
from spoolwright.core.cycle.model import EngineModel

SHEET = DataSheet("invented", 940e3, 41200.0, 6000.0, 1080.0, 0.0796, 8.6, 26300.0, 3.72)


@cache
def engine() -> EngineData:
    return generic_engine(SHEET)[0]


@cache
def model() -> EngineModel:
    return EngineModel(engine())


def random_cases(count: int, seed: int) -> tuple[Condition, ConditionFactors, Any]:
    """Power 15 to 115 %; -40 to 50 degC up to 2000 m, ISA - 40 to ISA + 20 K above, to 4000 m.

    Module factors within 8 %. Every other effect varies too: humidity, bleed, anti-ice, accessories, back
    pressure, fuel, vane rigging.
    """
    r = np.random.default_rng(seed)

    def u(low: float, high: float) -> Any:
        return r.uniform(low, high, count)

    height = u(0.0, 4000.0)
    standard = 288.15 - 0.0065 * height
    pressure = 101325.0 * (standard / 288.15) ** 5.25588
    temperature = np.where(height < 2000.0, u(233.15, 323.15), standard + u(-40.0, 20.0))
    # Magnus formula: only the size matters here
    vapour = 611.2 * np.exp(17.62 * (temperature - 273.15) / (temperature - 30.03)) * u(0.0, 1.0)
    condition = engine().condition(
        temperature=temperature,
        pressure=pressure,
        water_air_ratio=0.622 * vapour / (pressure - vapour),
        output_speed=6000.0 * u(0.9, 1.05),
        customer_bleed=u(0.0, 0.03),
        anti_ice=u(0.0, 1.0) * (temperature < 283.15),
        accessory_load=u(0.0, 15e3),
        exhaust_pressure_ratio=u(0.99, 1.03),
        lower_heating_value=u(42.8e6, 43.4e6),
        fuel_temperature=u(260.0, 330.0),
    )
    healthy_one = [f.name for f in fields(ConditionFactors) if f.default == 1.0]
    factors = ConditionFactors(
        **{name: u(0.92, 1.08) for name in healthy_one}, leak=u(0.0, 0.02), vane_offset=u(-3.0, 3.0)
    )
    return condition, factors, u(0.15, 1.15) * engine().reference.power
