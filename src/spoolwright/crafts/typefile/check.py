"""Everything that can be wrong in a type file, found at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from spoolwright.crafts.typefile.base import Condition, Record, Source
from spoolwright.crafts.typefile.checking import (
    channels,
    definitions,
    limits,
    parameters,
    procedure,
    ratings,
    references,
    units,
)
from spoolwright.crafts.typefile.checking.context import Context
from spoolwright.crafts.typefile.checking.draft import Draft, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.definition import CoastDownDefinition, SlamDefinition, StartDefinition
from spoolwright.crafts.typefile.model import (
    Cell,
    Channel,
    Correction,
    CorrectionLaw,
    DataPlate,
    DataSheet,
    Factor,
    Gate,
    Instrument,
    Limit,
    LimitCurve,
    Module,
    Oil,
    Rating,
    ScheduleItem,
    Stabilisation,
)

_RecordCheck = Callable[[Context, Path, Any], Iterator[Mistake]]

RECORD_CHECKS: dict[type[Record], tuple[_RecordCheck, ...]] = {
    Source: (references.source_document,),
    Module: (references.module_factors,),
    Channel: (
        units.channel_units,
        references.channel_station,
        channels.channel_figures,
        channels.channel_band,
    ),
    Condition: (references.condition_channel, units.condition_units, limits.window_order),
    LimitCurve: (references.curve_channel, units.curve_units, limits.curve_order),
    Limit: (
        references.limit_names,
        units.limit_units,
        limits.limit_shape,
        limits.limit_times,
        limits.exception_sense,
        limits.limit_within_instrument,
        limits.nominal_meets,
        channels.limit_roles,
    ),
    Rating: (
        units.amount_units,
        ratings.rating_power,
        ratings.rating_torque,
        ratings.rating_fuel,
        ratings.rating_plausible,
    ),
    ScheduleItem: (
        references.schedule_names,
        units.schedule_units,
        procedure.hold_set_point,
        procedure.corrected_target,
        procedure.hold_can_count,
        procedure.hold_within_rating,
        channels.schedule_roles,
    ),
    Stabilisation: (references.drift_channel, units.drift_units),
    StartDefinition: (units.amount_units, definitions.start_speeds),
    SlamDefinition: (units.slam_units, definitions.slam_change),
    CoastDownDefinition: (units.amount_units, definitions.coast_down_speeds),
    Correction: (units.amount_units, procedure.reference_condition, channels.correction_roles),
    CorrectionLaw: (procedure.law_exponents,),
    Gate: (procedure.gate_fields, procedure.gate_can_hold),
    Cell: (procedure.cell_dates,),
    Factor: (procedure.cell_factor,),
    Instrument: (references.instrument_channel,),
    DataPlate: (units.amount_units, ratings.data_plate_range),
    Oil: (units.amount_units, ratings.oil_density),
    DataSheet: (units.amount_units, references.data_sheet_rating, ratings.data_sheet_speed),
}
"""What is asked of each record by itself."""

FILE_CHECKS: tuple[Callable[[Context], Iterator[Mistake]], ...] = (
    references.unique_names,
    references.unique_parts,
    limits.contradictions,
    ratings.rating_order,
    procedure.rating_shown,
    procedure.one_gate_each,
    parameters.model_parameters,
)
"""What is asked of the file as a whole."""


def find_mistakes(raw: dict[str, Any]) -> list[Mistake]:
    """Every mistake of a raw type file, each once."""
    draft, mistakes = read_draft(raw)
    mistakes += cross_check(draft)
    return list({(m.path, m.what): m for m in mistakes}.values())


def cross_check(draft: Draft) -> list[Mistake]:
    """What the parts of a file say of one another."""
    ctx = Context(draft)
    out: list[Mistake] = []
    for path, record in draft.records:
        for check in RECORD_CHECKS.get(type(record), ()):
            _collect(check(ctx, path, record), draft, out)
    for file_check in FILE_CHECKS:
        _collect(file_check(ctx), draft, out)
    return out


def _collect(found: Iterator[Mistake], draft: Draft, out: list[Mistake]) -> None:
    """Take what a check finds. Over a hole in a record it may stumble; the hole itself is told already."""
    try:
        for mistake in found:
            out.append(mistake)
    except (AttributeError, TypeError):
        if not draft.holed:
            raise
