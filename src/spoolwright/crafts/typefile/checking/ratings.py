"""A rating's figures agree with one another, and ratings with each other."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.checking.context import Context, inner
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.model import DataPlate, DataSheet, Oil, Rating

_AGREEMENT = 0.005
"""Figures of one rating agree within the rounding of a data sheet."""
_ROLES = {
    "measured_gas_temperature": "measured_gas_temperature",
    "gas_generator_speed": "gas_generator_speed",
    "power_turbine_speed": "power_turbine_speed",
    "torque": "torque",
    "fuel_flow": "fuel_mass_flow",
}
_LEAST_HEATING_VALUE = 40e6  # J/kg, below any turbine fuel: bounds the efficiency that SFC may imply


_OIL = (700.0, 1200.0)
"""Densities between which mineral and synthetic oils lie, cold or hot [kg/m3]."""


def rating_torque(ctx: Context, path: Path, r: Rating) -> Iterator[Mistake]:
    """Rated power is torque times speed."""
    power, torque, speed = _inner(r.power), _inner(r.torque), _inner(r.power_turbine_speed)
    if power is None or torque is None or speed is None:
        return
    found = torque * speed * math.pi / 30.0
    if abs(found / power - 1.0) > _AGREEMENT:
        what = f"torque times speed gives {found / 1e3:.4g} kW, the rated power is {power / 1e3:.4g} kW."
        yield Mistake((*path, "torque"), what, "Check torque, speed (same shaft) and power.")


def rating_fuel(ctx: Context, path: Path, r: Rating) -> Iterator[Mistake]:
    """Fuel flow is specific fuel consumption times power, and no engine beats the first law."""
    power, sfc = _inner(r.nominal_power or r.power), _inner(r.specific_fuel_consumption)
    if power is None or sfc is None:
        return
    place = (*path, "specific_fuel_consumption")
    if sfc <= 0 or 1.0 / (sfc * _LEAST_HEATING_VALUE) > 0.5:
        mend = "Check the figure and its unit."
        yield Mistake(place, "the fuel consumption is less than any gas turbine needs.", mend)
    flow = _inner(r.fuel_flow)
    if flow is not None and abs(flow / (power * sfc) - 1.0) > _AGREEMENT:
        need, have = power * sfc * 3600, flow * 3600
        what = f"power times fuel consumption gives {need:.4g} kg/h, stated is {have:.4g} kg/h."
        yield Mistake((*path, "fuel_flow"), what, "Both belong to the nominal power at the rated MGT.")


def rating_power(ctx: Context, path: Path, r: Rating) -> Iterator[Mistake]:
    """Power is positive, and a nominal engine gives at least the rated power."""
    power, nominal = _inner(r.power), _inner(r.nominal_power)
    if power is not None and power <= 0:
        yield Mistake((*path, "power"), "the rated power is not above zero.", "Give the rated power.")
    if power is not None and nominal is not None and nominal < power:
        what = "the nominal power is less than the rated power: a nominal engine would fail."
        yield Mistake((*path, "nominal_power"), what, "Check both figures.")


def rating_plausible(ctx: Context, path: Path, r: Rating) -> Iterator[Mistake]:
    """Every figure of a rating can be read on its channel."""
    for name, role in _ROLES.items():
        amount, c = getattr(r, name), ctx.roles.get(role)
        value = _inner(amount)
        if value is None or c is None or c.plausible is None:
            continue
        low, high = inner(c.plausible[0], c.unit), inner(c.plausible[1], c.unit)
        if low is not None and high is not None and not low <= value <= high:
            span = f"{c.plausible[0]:g} … {c.plausible[1]:g} {c.unit}"
            what = (
                f"{amount.value:g} {amount.unit} is outside what channel '{c.id}' can plausibly read, {span}."
            )
            yield Mistake((*path, name), what, "Check figure, unit and plausible window.")


def rating_order(ctx: Context) -> Iterator[Mistake]:
    """More power takes a higher MGT and gas generator speed."""
    known = [(p, r, _inner(r.power)) for p, r in ctx.draft.whole(Rating)]
    ordered = sorted(((w, p, r) for p, r, w in known if w is not None), key=lambda x: x[0])
    for (w0, _, a), (w1, p, b) in pairwise(ordered):
        for name in ("measured_gas_temperature", "gas_generator_speed"):
            low, high = _inner(getattr(a, name)), _inner(getattr(b, name))
            if w1 > w0 and low is not None and high is not None and high <= low:
                what = f"'{b.id}' gives more power than '{a.id}' at no higher {name.replace('_', ' ')}."
                yield Mistake((*p, name), what, "Check the figures of both ratings.")


def data_sheet_speed(ctx: Context, path: Path, d: DataSheet) -> Iterator[Mistake]:
    """The output speed of the data sheet is the rating's."""
    rating = ctx.ratings.get(d.rating)
    stated, rated = _inner(d.output_speed), _inner(rating.power_turbine_speed) if rating else None
    if stated is not None and rated is not None and abs(stated / rated - 1.0) > _AGREEMENT:
        what = f"output speed {stated:g} rpm, but rating '{d.rating}' has {rated:g} rpm."
        yield Mistake((*path, "output_speed"), what, "Both mean the shaft on which torque is measured.")


def data_plate_range(ctx: Context, path: Path, d: DataPlate) -> Iterator[Mistake]:
    """The range rises and holds the nominal value; there is a trim class."""
    low, high = d.torque_conformation_range
    if not low < d.torque_conformation.value < high:
        what = f"[{low:g}, {high:g}] does not hold the nominal {d.torque_conformation.value:g} inside."
        yield Mistake(
            (*path, "torque_conformation_range"), what, "Write [lowest, highest] around the nominal."
        )
    if not d.mgt_trim_classes:
        yield Mistake(
            (*path, "mgt_trim_classes"), "no MGT trim class is given.", "Write { T0 = 0 } if there is one."
        )


def oil_density(ctx: Context, path: Path, oil: Oil) -> Iterator[Mistake]:
    """The density is one of a turbine oil, known to some part of itself."""
    density, u = _inner(oil.density), _inner(oil.density_standard_uncertainty)
    low, high = _OIL
    if density is not None and not low <= density <= high:
        what = f"{density:.4g} kg/m3 is no density of an oil."
        yield Mistake((*path, "density"), what, f"Check value and unit: {low:g} to {high:g} kg/m3.")
    if density is not None and u is not None and not 0.0 < u < 0.2 * density:
        what = f"a standard uncertainty of {u:.4g} kg/m3 does not go with {density:.4g} kg/m3."
        yield Mistake(
            (*path, "density_standard_uncertainty"), what, "Give more than none and less than a fifth."
        )


def _inner(a: Amount | None) -> float | None:
    return inner(a.value, a.unit) if a is not None else None
