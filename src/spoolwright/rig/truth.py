"""A simulated engine of a type: bent shapes, build scatter, planted faults, and its exact standard-day
performance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from spoolwright.constants import STANDARD_PRESSURE, STANDARD_TEMPERATURE
from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.crafts.typefile.model import Amount, Rating, TypeFile
from spoolwright.errors import RangeError
from spoolwright.rig.bench import humidity_ratio
from spoolwright.rig.distortion import SHAPES, distorted, shape
from spoolwright.rig.draws import stream
from spoolwright.rig.module_faults import MECHANICAL_FAULTS, drawn_factors, with_faults
from spoolwright.units import to_inner, unit_named

FloatArray = NDArray[np.float64]

QUANTITIES: dict[str, str] = {
    "power_at_rated_mgt": "W",
    "mgt_at_rated_power": "K",
    "ng_at_rated_power": "rpm",
    "sfc_at_rated_power": "kg/J",
    "ng_at_rated_mgt": "rpm",
    "sfc_at_rated_mgt": "kg/J",
}
"""What the standard-day truth tells at a rating, with the inner unit."""
_LEAST_POWER = 0.3
"""Below this share of the reference power one MGT belongs to several powers: nothing is told at rated MGT."""


@dataclass(frozen=True)
class TruthEngine:
    """One simulated engine.

    Parameters
    ----------
    known : the type
    serial : serial number
    seed : seed that made it
    shape : number of its shape
    model : its model, bent away from the type's
    factors : condition of its modules, faults included
    faults : planted faults, name to size
    """

    known: TypeFile
    serial: str
    seed: int
    shape: int
    model: EngineModel
    factors: ConditionFactors
    faults: Mapping[str, float]

    def mechanical(self, name: str) -> float:
        """Size of a mechanical fault, as the rest of the rig uses it; the healthy value when not planted."""
        fault = MECHANICAL_FAULTS[name]
        return fault.healthy + fault.unit * self.faults.get(name, 0.0)


@lru_cache(maxsize=64)
def truth_model(data: EngineData, shape_number: int, hydrogen_to_carbon: float) -> EngineModel:
    """Model of one shape burning one fuel."""
    fuel = replace(data.fuel, hydrogen_to_carbon=hydrogen_to_carbon)
    return EngineModel(replace(distorted(data, shape(shape_number)), fuel=fuel))


def truth_engine(
    known: TypeFile,
    data: EngineData,
    seed: int,
    faults: Mapping[str, float] | None = None,
    *,
    serial: str = "",
    scatter: bool = True,
    hydrogen_to_carbon: float | None = None,
) -> TruthEngine:
    """An engine of the type; the same seed always gives the same engine.

    Parameters
    ----------
    known : the type
    data : the type's own engine model, which the truth departs from
    seed : picks shape and build scatter
    faults : module and mechanical faults, name to size; see MODULE_FAULTS and MECHANICAL_FAULTS
    serial : serial number; made from the seed when empty
    scatter : whether modules scatter about the average build
    hydrogen_to_carbon : of the fuel burnt; the type's reference fuel when None
    """
    planted = dict(faults or {})
    number = seed % SHAPES
    factors = drawn_factors(stream(seed, "build")) if scatter else HEALTHY
    ratio = data.fuel.hydrogen_to_carbon if hydrogen_to_carbon is None else hydrogen_to_carbon
    model = truth_model(data, number, ratio)
    return TruthEngine(
        known=known,
        serial=serial or f"D{seed % 100000:05d}",
        seed=seed,
        shape=number,
        model=model,
        factors=with_faults(factors, planted, model.data),
        faults=planted,
    )


def stacked(factors: Sequence[ConditionFactors]) -> ConditionFactors:
    """Condition factors of many engines as arrays, for a batch."""
    names = [f.name for f in fields(ConditionFactors)]
    return ConditionFactors(**{n: np.array([float(getattr(f, n)) for f in factors]) for n in names})


def output_speed_ratio(known: TypeFile, data: EngineData) -> float:
    """Speed that the power turbine channel reads over output shaft speed [-]."""
    rating = next(r for r in known.rating if r.id == known.data_sheet.rating)
    output = data.reference.power_turbine_speed / data.shafts.gear_ratio
    return _inner(rating.power_turbine_speed) / output


def reference_condition(known: TypeFile, data: EngineData, rating: Rating) -> Condition:
    """The condition to which the type's ratings refer; a dry standard day where the type file states none."""
    c = known.correction
    temperature = _inner(c.reference_temperature) if c else STANDARD_TEMPERATURE
    pressure = _inner(c.reference_pressure) if c else STANDARD_PRESSURE
    inlet, exhaust = (c.reference_inlet_loss, c.reference_exhaust_loss) if c else (0.0, 0.0)
    return data.condition(
        temperature=temperature,
        pressure=pressure * (1.0 - inlet),
        exhaust_pressure_ratio=(1.0 + exhaust) / (1.0 - inlet),
        output_speed=_inner(rating.power_turbine_speed) / output_speed_ratio(known, data),
        water_air_ratio=_reference_humidity(c.reference_humidity, temperature, pressure) if c else 0.0,
        lower_heating_value=_inner(c.reference_heating_value) if c else data.fuel.lower_heating_value,
    )


def _reference_humidity(amount: Amount, temperature: float, pressure: float) -> float:
    if unit_named(amount.unit).dimension == "humidity ratio":
        return _inner(amount)
    return humidity_ratio(_inner(amount), temperature, pressure)


def _inner(amount: Amount) -> float:
    return to_inner(amount.value, amount.unit)


def standard_day(
    known: TypeFile, model: EngineModel, factors: ConditionFactors
) -> dict[str, dict[str, FloatArray]]:
    """Exact performance at the reference condition, for one engine or a batch.

    Parameters
    ----------
    known : the type
    model : model of the engine or engines
    factors : condition factors, floats or arrays of shape (N,)

    Returns
    -------
    dict
        Rating to quantity (see QUANTITIES) to values, shape (N,) [inner]; at idle only what goes with power.

    Raises
    ------
    RangeError
        An engine does not reach a rating.
    """
    return {rating.id: _rated(known, model, factors, rating) for rating in known.rating}


def _rated(
    known: TypeFile, model: EngineModel, factors: ConditionFactors, rating: Rating
) -> dict[str, FloatArray]:
    condition = reference_condition(known, model.data, rating)
    size = max(np.size(v) for v in vars(factors).values())
    power = _inner(rating.power)
    at_power = solve(model, condition, factors, set_by="power", target=np.full(size, power))
    truth = {
        "mgt_at_rated_power": np.asarray(at_power.measured_gas_temperature),
        "ng_at_rated_power": np.asarray(at_power.gas_generator_speed),
        "sfc_at_rated_power": np.asarray(at_power.specific_fuel_consumption),
    }
    if power > _LEAST_POWER * model.data.reference.power:
        mgt = np.full(size, _inner(rating.measured_gas_temperature))
        at_mgt = solve(model, condition, factors, set_by="mgt", target=mgt)
        truth |= {
            "power_at_rated_mgt": np.asarray(at_mgt.power),
            "ng_at_rated_mgt": np.asarray(at_mgt.gas_generator_speed),
            "sfc_at_rated_mgt": np.asarray(at_mgt.specific_fuel_consumption),
        }
    if not all(np.all(np.isfinite(v)) for v in truth.values()):
        raise RangeError(f"an engine does not reach rating '{rating.id}'.", mend="Plant smaller faults.")
    return truth
