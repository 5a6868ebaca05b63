"""What a step from observed to corrected rests on, so that its factor can be computed again by hand."""

from __future__ import annotations

import numpy as np

from spoolwright.core.numerics import value
from spoolwright.crafts.testcell.calc import surroundings
from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import SFC, BlockReduction
from spoolwright.crafts.typefile.lookup import source_text

_FORMULAS = {
    "cell correlation": "correlation factor of the cell",
    "temperature": "(T / T reference) ^ -theta exponent",
    "pressure": "(p / p reference) ^ -delta exponent",
    "humidity": "(1 + humidity slope * (water-air ratio - reference))",
    "heating value": "(heating value / reference) ^ exponent",
    "inlet loss": "(1 + slope * (inlet loss - reference))",
    "exhaust loss": "(1 + slope * (exhaust loss - reference))",
}
_OF = {
    "temperature": ("temperature", "theta_exponent", "K"),
    "pressure": ("pressure", "delta_exponent", "Pa"),
    "humidity": ("water_air_ratio", "humidity_slope", "kg/kg"),
    "heating value": ("heating_value", "heating_value_exponent", "J/kg"),
    "inlet loss": ("inlet_loss", "inlet_loss_slope", "1"),
    "exhaust loss": ("exhaust_loss", "exhaust_loss_slope", "1"),
}
_COMPUTED = {
    "humidity": "from humidity, temperature and pressure of the air",
    "inlet loss": "1 - inlet pressure / ambient pressure, or the run sheet",
    "exhaust loss": "exhaust pressure / ambient pressure - 1, or the run sheet",
}


def step_formula(quantity: str, step: str) -> str:
    """The factor of a step in symbols."""
    if quantity == SFC:
        return f"value before * factor of fuel flow / factor of power, each {_FORMULAS[step]}"
    return f"value before * {_FORMULAS[step]}"


def step_inputs(
    reduction: BlockReduction, i: int, quantity: str, step: str, basis: ReductionBasis
) -> list[Input]:
    """Condition, reference condition and the document's coefficients behind a step at one point."""
    if step not in _OF or basis.reference is None or basis.type_file.correction is None:
        return []
    attribute, coefficient, unit = _OF[step]
    words, document = (
        attribute.replace("_", " "),
        source_text(basis.type_file, basis.type_file.correction.source),
    )
    out = []
    at = surroundings(reduction.readings)
    if at is not None and step in _COMPUTED:
        x = float(np.broadcast_to(value(getattr(at, attribute)), (len(reduction.points),))[i])
        if np.isfinite(x):
            out.append(Input(name=words, value=x, unit=unit, origin=_COMPUTED[step]))
    reference = float(value(getattr(basis.reference, attribute)))
    out.append(Input(name=f"reference {words}", value=reference, unit=unit, origin=document))
    for own in ("fuel_flow", "power") if quantity == SFC else (quantity,):
        name = f"{coefficient} of {own}" if quantity == SFC else coefficient
        size = getattr(basis.laws[own], coefficient)
        out.append(Input(name=name.replace("_", " "), value=size, unit="1", origin=document))
    return out
