"""Limits, readings and sheets of the shipped type, made by hand for tests of judging."""

from __future__ import annotations

import math
import tomllib
from datetime import date
from functools import lru_cache
from typing import Any

from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.rules.verdict import Judging
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.limit import Limit
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.sources.typefile import shipped_type

KW = 1000.0


@lru_cache(maxsize=1)
def corrie() -> TypeFile:
    """The shipped type."""
    return TypeFile.model_validate(tomllib.loads(shipped_type().read_text(encoding="utf-8")))


def around(**changes: Any) -> Judging:
    """Nothing but the type file stands around a reading."""
    return Judging(corrie(), Ledger(), **changes)


def power_limit(value: float = 940.0, **changes: Any) -> Limit:
    """Least power at the rated MGT, in kW."""
    fields: dict[str, Any] = {
        "id": "least_power",
        "name": "Power at rated MGT, take-off",
        "quantity": "power_at_rated_mgt",
        "bound": "min",
        "regime": "rating",
        "rating": "take_off",
        "unit": "kW",
        "value": value,
        "sets": ("new",),
        "action": "Find the cause.",
        "source": {"document": "ATS-940", "paragraph": "6.1"},
    }
    return Limit.model_validate({**fields, **changes})


def reading(value: float, u: float, **changes: Any) -> ScalarReading:
    """A power at the rated MGT in kW, with its standard uncertainty."""
    fields: dict[str, Any] = {
        "quantity": "power_at_rated_mgt",
        "regime": "rating",
        "value": value * KW,
        "uncertainty": u * KW,
        "unit": "W",
        "run": "1",
        "block": 0,
        "from_s": 0.0,
        "to_s": 60.0,
        "title": "Power at rated MGT",
        "calculation": "made by hand",
        "formula": "-",
        "reference": "-",
        "rating": "take_off",
        "shares": (Share("torquemeter", u * KW),),
    }
    return ScalarReading(**{**fields, **changes})


def channel_reading(
    quantity: str, regime: str, value: float, u: float, unit: str, **changes: Any
) -> ScalarReading:
    """A reading of a channel, in its inner unit."""
    plain = reading(0.0, 0.0, quantity=quantity, regime=regime, unit=unit, rating=None, shares=())
    return ScalarReading(**{**vars(plain), "value": value, "uncertainty": u, **changes})


def not_made() -> ScalarReading:
    """A reading that could not be made."""
    return reading(math.nan, math.nan, why_not="nothing was recorded", mend="Record it.")


def sheet(run: str = "1", **changes: Any) -> RunSheet:
    """A run sheet in which every gate holds."""
    cell = corrie().cell[0]
    fields: dict[str, Any] = {
        "format": 1,
        "run": run,
        "performed_on": date(2026, 10, 1),
        "limit_set": "overhauled",
        "engine": {"serial": "FG-1", "torque_conformation": 1.0, "mgt_trim_class": "T0"},
        "cell": {"cell": cell.id, "configuration": cell.configuration, "precipitation": "none"},
        "fuel": {
            "batch": "F-1",
            "sampled_on": date(2026, 9, 25),
            "lower_heating_value": {"value": 43.1, "unit": "MJ/kg"},
            "heating_value_standard_uncertainty": {"value": 0.05, "unit": "MJ/kg"},
            "density_15c": {"value": 803.0, "unit": "kg/m3"},
            "hydrogen_to_carbon": 1.92,
        },
    }
    return RunSheet.model_validate({**fields, **changes})
