"""What every reading of a run has in common: run, block, doubts, and where it comes from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from spoolwright.crafts.testcell.model import Input
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.testcell.run.run_data import RunData
from spoolwright.crafts.testcell.run.thin import Thin, out_of_date, sparse
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES, Limit, Regime
from spoolwright.units import INNER_UNIT

_MOVING = ("start", "transient", "run", "shut_down", "coast_down")
"""Regimes in which readings change from row to row."""


@dataclass(frozen=True)
class Asked:
    """What is to be read: a quantity in a regime over a time, by which rule, from which channels."""

    quantity: str
    regime: Regime
    title: str
    calculation: str
    formula: str
    reference: str
    channels: tuple[str, ...]
    from_s: float
    to_s: float

    def made(
        self,
        data: RunData,
        value: float,
        uncertainty: float,
        *,
        inputs: Sequence[Input] = (),
        shares: Sequence[Share] = (),
        at_s: float | None = None,
    ) -> ScalarReading:
        """The reading, in the inner unit of its quantity."""
        when = self.to_s if at_s is None else at_s
        thin = out_of_date(data.type_file, data.sheet, self.channels)
        if thin is None and self.regime in _MOVING and self.channels:
            thin = sparse(data)
        return ScalarReading(
            quantity=self.quantity,
            regime=self.regime,
            value=float(value),
            uncertainty=float(uncertainty),
            unit=unit_of_quantity(data, self.quantity),
            run=data.run,
            block=data.block_at(when),
            from_s=self.from_s,
            to_s=self.to_s,
            title=self.title,
            calculation=self.calculation,
            formula=self.formula,
            reference=self.reference,
            inputs=tuple(inputs),
            at_s=at_s,
            shares=tuple(shares),
            findings=data.doubts(self.channels, self.from_s, self.to_s, found_by_speed=self.regime != "run"),
            thin=thin.why if thin else "",
            mend=thin.mend if thin else "",
        )

    def not_made(self, data: RunData, why: str) -> ScalarReading:
        """The reading that could not be made, and why."""
        return replace(self.made(data, math.nan, math.nan), why_not=why, mend="")


def lacking(reading: ScalarReading, thin: Thin | None) -> ScalarReading:
    """The reading, told to be too thin to meet a limit on where it is."""
    if thin is None or reading.thin:
        return reading
    return replace(reading, thin=thin.why, mend=thin.mend)


def unit_of_quantity(data: RunData, quantity: str) -> str:
    """Inner unit of a channel or a derived quantity."""
    if quantity in DERIVED_QUANTITIES:
        return INNER_UNIT[DERIVED_QUANTITIES[quantity]]
    return INNER_UNIT[data.channel(quantity).dimension]


def asked_for(data: RunData, quantity: str, regimes: Iterable[str] = ()) -> tuple[Limit, ...]:
    """Limits in force on a quantity."""
    wanted = tuple(regimes)
    return tuple(x for x in data.limits if x.quantity == quantity and (not wanted or x.regime in wanted))


def channels_of(limit: Limit) -> tuple[str, ...]:
    """Channels that a limit depends on, besides the one it is on."""
    windows = [*limit.valid_when, *(c for e in limit.exceptions for c in e.when)]
    names = [limit.curve.of] if limit.curve is not None else []
    return tuple(dict.fromkeys([*names, *(c.channel for c in windows)]))


def document(data: RunData, source: Source | None) -> str:
    """Where a definition stands; the program's own rule where no document gives one."""
    return source_text(data.type_file, source) if source is not None else "no definition in the type file"


def channel_input(data: RunData, name: str, value: float, from_s: float, to_s: float | None = None) -> Input:
    """A channel's value at a moment or over a time, as an input of a calculation."""
    when = f"at {from_s:.2f} s" if to_s is None else f"{from_s:.1f} to {to_s:.1f} s"
    unit = unit_of_quantity(data, name)
    shown = value if math.isfinite(value) else "not known"
    return Input(name=data.channel(name).name, value=shown, unit=unit, origin=f"channel {name}, {when}")
