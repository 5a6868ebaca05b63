"""From a type file to the engine model's data: what is given is taken, the rest is filled and told.

The model stands for a nominal new engine: it is scaled to the nominal point of the data sheet's rating.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.generic import DataSheet as Sheet
from spoolwright.core.cycle.generic import Fill, generic_engine
from spoolwright.core.cycle.mapping import engine_from_mapping, engine_to_mapping
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.model import DataSheet, Rating, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import to_inner

_STANDARD_HEATING_VALUE = Sheet.lower_heating_value


@dataclass(frozen=True)
class FilledEngine:
    """Engine data, and every parameter nobody gave with the rule that filled it."""

    data: EngineData
    filled: tuple[Fill, ...]


def engine_of(type_file: TypeFile) -> FilledEngine:
    """Engine data of a type: [model] where it tells, the generic shape scaled to the data sheet elsewhere.

    Raises
    ------
    InputError
        No plausible engine meets the data sheet, or a parameter is malformed.
    """
    sheet = type_file.data_sheet
    rating = next((r for r in type_file.rating if r.id == sheet.rating), None)
    if rating is None:
        raise InputError(f"there is no rating '{sheet.rating}'.", where="data sheet", mend="Name a rating.")
    heating = type_file.correction.reference_heating_value if type_file.correction else None
    return engine_from_parts(type_file.type.name, sheet, rating, type_file.model, heating)


def engine_from_parts(
    name: str, sheet: DataSheet, rating: Rating, given: dict[str, Any], heating_value: Amount | None = None
) -> FilledEngine:
    """Engine data from the tables of a type file that tell of the engine."""
    generic, fills = generic_engine(data_sheet(name, sheet, rating, heating_value))
    if not given:
        return FilledEngine(generic, tuple(fills))
    data = engine_from_mapping(_merged(engine_to_mapping(generic), given))
    return FilledEngine(data, tuple(f for f in fills if not _is_given(f.path, given)))


def reference_gap(data: EngineData, sheet: Sheet) -> tuple[str, float]:
    """At the reference point, what departs most from the data sheet, and by which fraction.

    Infinite where the model cannot be computed at all.
    """
    condition = data.condition()
    try:
        model = EngineModel(data)
        path = GasPath(model, Inlet(model, condition), (0.0, 0.0, 0.0, 0.0, 0.0), condition, HEALTHY)
    except (ArithmeticError, ValueError):
        return "nothing of it can be computed", math.inf
    reference, shafts = data.reference, data.shafts
    gaps = {
        "power": path.power / sheet.power - 1.0,
        "measured gas temperature": path.measured_gas_temperature / sheet.measured_gas_temperature - 1.0,
        "fuel flow": path.fuel_flow / sheet.fuel_flow - 1.0,
        "balance of flows and shaft power": max(abs(r) for r in path.residuals),
        "reference power": reference.power / sheet.power - 1.0,
        "reference speed": reference.gas_generator_speed / sheet.gas_generator_speed - 1.0,
        "output speed": reference.power_turbine_speed / shafts.gear_ratio / sheet.output_speed - 1.0,
    }
    return max(((k, g if math.isfinite(g) else math.inf) for k, g in gaps.items()), key=lambda x: abs(x[1]))


def data_sheet(name: str, sheet: DataSheet, rating: Rating, heating_value: Amount | None = None) -> Sheet:
    """The data sheet of a nominal engine at the rating the model is scaled to, in inner units."""
    power = _inner(rating.nominal_power or rating.power)
    return Sheet(
        name=name,
        power=power,
        gas_generator_speed=_inner(rating.gas_generator_speed),
        output_speed=_inner(sheet.output_speed or rating.power_turbine_speed),
        measured_gas_temperature=_inner(rating.measured_gas_temperature),
        fuel_flow=power * _inner(rating.specific_fuel_consumption),
        pressure_ratio=sheet.pressure_ratio,
        power_turbine_speed=_inner(sheet.power_turbine_shaft_speed)
        if sheet.power_turbine_shaft_speed
        else None,
        air_flow=_inner(sheet.air_flow) if sheet.air_flow else None,
        lower_heating_value=_inner(heating_value) if heating_value else _STANDARD_HEATING_VALUE,
    )


def _inner(a: Amount) -> float:
    return to_inner(a.value, a.unit)


def _merged(base: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in given.items():
        inside = out.get(key)
        out[key] = _merged(inside, value) if isinstance(inside, dict) and isinstance(value, dict) else value
    return out


def _is_given(path: str, given: dict[str, Any]) -> bool:
    inside: Any = given
    for key in path.split("."):
        if not isinstance(inside, dict) or key not in inside:
            return False
        inside = inside[key]
    return True
