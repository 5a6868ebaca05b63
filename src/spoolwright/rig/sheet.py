"""The run sheet that the people on the bench fill in for a run of the rig."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from spoolwright.crafts.testcell.run_sheet import (
    Adjustment,
    CellState,
    CheckDone,
    Engine,
    FuelSample,
    OilAccount,
    RunSheet,
)
from spoolwright.crafts.typefile.model import Amount
from spoolwright.rig.day import Day
from spoolwright.rig.result import DEMONSTRATION

OPERATOR = "R. Tallis (invented)"
INSPECTOR = "M. Oakden (invented)"


@dataclass(frozen=True)
class SheetOptions:
    """What a caller may want otherwise on the sheet.

    Parameters
    ----------
    run : run number within the visit
    limit_set : limit set of the approved work
    purpose : why the engine runs
    visit : shop visit
    hours : engine hours
    checks : whether the checks of the schedule are signed
    oil_seconds : counted time of the oil account; none when 0 [s]
    sample_age : days between fuel sample and run
    configuration : of the cell; the correlated one when empty
    """

    run: str = "1"
    limit_set: str = ""
    purpose: str = "Acceptance run after approved work"
    visit: str = ""
    hours: float | None = None
    checks: bool = True
    oil_seconds: float = 0.0
    sample_age: int = 4
    configuration: str = ""


def written_sheet(day: Day, options: SheetOptions, adjustments: Sequence[Adjustment] = ()) -> RunSheet:
    """The sheet as the people on the bench would fill it in."""
    limit_set = options.limit_set or day.known.limit_set[0].id
    cell = day.cell.cell
    return RunSheet(
        format=1,
        run=options.run,
        performed_on=day.date,
        limit_set=limit_set,
        purpose=options.purpose,
        operator=OPERATOR,
        engine=_engine(day, options),
        cell=CellState(
            cell=cell.id,
            configuration=options.configuration or cell.configuration,
            precipitation=day.weather.precipitation,
        ),
        fuel=_fuel_sample(day, options.sample_age),
        oil=_oil_account(day, options.oil_seconds) if options.oil_seconds else None,
        adjustment=tuple(adjustments),
        check=_checks(day, limit_set) if options.checks else (),
        remark=(DEMONSTRATION,),
    )


def _engine(day: Day, options: SheetOptions) -> Engine:
    plate = day.known.data_plate
    return Engine(
        serial=day.engine.serial,
        visit=options.visit or f"V-{day.engine.serial}",
        hours=options.hours,
        torque_conformation=day.conformation if plate else None,
        mgt_trim_class=untrimmed_class(day) if plate else None,
    )


def untrimmed_class(day: Day) -> str | None:
    """The MGT trim class that leaves the indicated MGT as it is."""
    plate = day.known.data_plate
    classes = plate.mgt_trim_classes if plate else {}
    return min(classes, key=lambda name: abs(classes[name])) if classes else None


def _fuel_sample(day: Day, age: int) -> FuelSample:
    fuel = day.fuel
    return FuelSample(
        batch=fuel.name,
        sampled_on=day.date - timedelta(days=age),
        lower_heating_value=Amount(value=round(fuel.sampled_heating_value / 1e6, 3), unit="MJ/kg"),
        heating_value_standard_uncertainty=Amount(value=fuel.heating_value_uncertainty / 1e6, unit="MJ/kg"),
        density_15c=Amount(value=round(fuel.sampled_density, 1), unit="kg/m3"),
        hydrogen_to_carbon=round(fuel.sampled_hydrogen_to_carbon, 3),
    )


def _oil_account(day: Day, seconds: float) -> OilAccount:
    """Oil weighed in and out over the counted time, to 5 mL."""
    used = day.oil.consumption * seconds * 1e3
    return OilAccount(
        consumed=Amount(value=round(used / 0.005) * 0.005, unit="L"),
        standard_uncertainty=Amount(value=0.005, unit="L"),
        over=Amount(value=round(seconds / 60.0, 1), unit="min"),
    )


def _checks(day: Day, limit_set: str) -> tuple[CheckDone, ...]:
    before = datetime.combine(day.date, time(7, 50), UTC)
    after = datetime.combine(day.date, time(10, 40), UTC)
    first = next((i for i, s in enumerate(day.known.schedule) if s.kind == "start"), 0)
    return tuple(
        CheckDone(item=s.id, result="satisfactory", by=INSPECTOR, at=before if i < first else after)
        for i, s in enumerate(day.known.schedule)
        if s.kind == "check" and limit_set in s.sets
    )
