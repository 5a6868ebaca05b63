"""Every unit is known and of the dimension that its figure needs."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.typefile.base import Amount, Condition, Record
from spoolwright.crafts.typefile.checking.context import Context, wrong_unit
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path, choice
from spoolwright.crafts.typefile.definition import CoastDownDefinition, SlamDefinition, StartDefinition
from spoolwright.crafts.typefile.model import (
    Channel,
    Correction,
    DataPlate,
    DataSheet,
    Limit,
    LimitCurve,
    Oil,
    Rating,
    ScheduleItem,
    Stabilisation,
)
from spoolwright.units import INNER_UNIT

_AMOUNTS: dict[type[Record], dict[str, str]] = {
    Rating: {
        "power": "power",
        "nominal_power": "power",
        "measured_gas_temperature": "temperature",
        "gas_generator_speed": "speed",
        "power_turbine_speed": "speed",
        "specific_fuel_consumption": "specific fuel consumption",
        "torque": "torque",
        "fuel_flow": "mass flow",
    },
    DataSheet: {
        "air_flow": "mass flow",
        "output_speed": "speed",
        "power_turbine_shaft_speed": "speed",
        "idle_gas_generator_speed": "speed",
    },
    Correction: {
        "reference_temperature": "temperature",
        "reference_pressure": "pressure",
        "reference_humidity": "humidity ratio",
        "reference_heating_value": "specific energy",
    },
    DataPlate: {"torque_conformation": "ratio"},
    Oil: {"density": "density", "density_standard_uncertainty": "density"},
    StartDefinition: {
        "light_off_rise": "temperature difference",
        "idle_speed": "speed",
        "idle_within": "speed",
    },
    CoastDownDefinition: {"from_speed": "speed", "to_speed": "speed"},
}

ROLE_DIMENSIONS: dict[str, tuple[str, ...]] = {
    "ambient_temperature": ("temperature",),
    "ambient_pressure": ("pressure",),
    "inlet_temperature": ("temperature",),
    "inlet_pressure": ("pressure", "gauge pressure"),
    "relative_humidity": ("ratio",),
    "dew_point": ("temperature",),
    "wet_bulb": ("temperature",),
    "gas_generator_speed": ("speed",),
    "power_turbine_speed": ("speed",),
    "torque": ("torque",),
    "dynamometer_torque": ("torque",),
    "measured_gas_temperature": ("temperature",),
    "compressor_discharge_temperature": ("temperature",),
    "compressor_discharge_pressure": ("pressure", "gauge pressure"),
    "interturbine_pressure": ("pressure", "gauge pressure"),
    "exhaust_pressure": ("pressure", "gauge pressure"),
    "exhaust_temperature": ("temperature",),
    "fuel_mass_flow": ("mass flow",),
    "fuel_volume_flow": ("volume flow",),
    "fuel_temperature": ("temperature",),
    "oil_pressure": ("gauge pressure", "pressure"),
    "oil_temperature": ("temperature",),
    "oil_quantity": ("volume", "mass", "ratio"),
    "vibration": ("velocity", "acceleration", "length"),
    "wind_speed": ("velocity",),
    "vane_angle": ("angle", "ratio"),
    "bleed_valve": ("ratio", "state", "angle"),
    "ignition": ("state",),
    "starter": ("state",),
    "power_lever": ("angle", "ratio"),
    "chip_detector": ("state",),
}

_DIFFERENCES = {
    "temperature": ("temperature difference", "temperature"),
    "pressure": ("pressure", "gauge pressure"),
    "gauge pressure": ("gauge pressure", "pressure"),
}
"""A drift of a temperature or pressure may stand in a difference's unit too: offsets drop out."""


def channel_units(ctx: Context, path: Path, c: Channel) -> Iterator[Mistake]:
    """Dimension, unit and second unit of a channel."""
    if c.dimension is not None and c.dimension not in INNER_UNIT:
        mend = choice(c.dimension, list(INNER_UNIT), "dimensions")
        yield Mistake((*path, "dimension"), f"'{c.dimension}' is not a dimension.", mend)
        return
    allowed = ROLE_DIMENSIONS.get(c.role)
    if allowed and c.dimension is not None and c.dimension not in allowed:
        what = f"a channel of role '{c.role}' cannot be a {c.dimension}."
        yield Mistake((*path, "dimension"), what, f"Use {' or '.join(allowed)}, or another role.")
    subject = f"channel '{c.id}'"
    yield from wrong_unit((*path, "unit"), c.unit, (c.dimension,), subject)
    if c.also_shown_in:
        yield from wrong_unit((*path, "also_shown_in"), c.also_shown_in, (c.dimension,), subject)


def amount_units(ctx: Context, path: Path, record: Record) -> Iterator[Mistake]:
    """Units of a record's amounts."""
    for name, dimension in _AMOUNTS.get(type(record), {}).items():
        amount = getattr(record, name)
        if isinstance(amount, Amount):
            yield from wrong_unit((*path, name, "unit"), amount.unit, (dimension,), name.replace("_", " "))


def slam_units(ctx: Context, path: Path, d: SlamDefinition) -> Iterator[Mistake]:
    """The least change of a slam is in the unit of what it is measured on."""
    allowed = ("torque",) if d.measured_on == "torque" else ("speed",)
    if isinstance(d.least_change, Amount):
        yield from wrong_unit((*path, "least_change", "unit"), d.least_change.unit, allowed, "least change")


def limit_units(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """A limit's unit is of its quantity's dimension."""
    if limit.quantity is None:
        return
    dimension = ctx.dimension(limit.quantity)
    if dimension is not None:
        yield from wrong_unit((*path, "unit"), limit.unit, (dimension,), f"'{limit.quantity}'")


def condition_units(ctx: Context, path: Path, c: Condition) -> Iterator[Mistake]:
    """A window's unit is of its channel's dimension."""
    dimension = ctx.dimension(c.channel) if c.channel in ctx.channels else None
    if dimension is not None:
        yield from wrong_unit((*path, "unit"), c.unit, (dimension,), f"'{c.channel}'")


def curve_units(ctx: Context, path: Path, curve: LimitCurve) -> Iterator[Mistake]:
    """The x unit of a curve is of its channel's dimension."""
    if curve.of in ctx.channels:
        yield from wrong_unit(
            (*path, "x_unit"), curve.x_unit, (ctx.channels[curve.of].dimension,), f"'{curve.of}'"
        )


def schedule_units(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """A set point's unit is of the dimension of the channel that sets it."""
    if item.set_by in ctx.channels and item.unit:
        dimension = ctx.channels[item.set_by].dimension
        yield from wrong_unit((*path, "unit"), item.unit, (dimension,), f"'{item.set_by}'")


def drift_units(ctx: Context, path: Path, s: Stabilisation) -> Iterator[Mistake]:
    """A drift's unit is of the dimension of its channel, or of a difference of it."""
    if s.channel in ctx.channels:
        dimension = ctx.channels[s.channel].dimension
        allowed = _DIFFERENCES.get(dimension, (dimension,))
        yield from wrong_unit((*path, "unit"), s.unit, allowed, f"a drift of '{s.channel}'")
