"""Rated values and margins as they stand in the result, and the readings that limits are judged against."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.core.reduction.estimate import Estimate
from spoolwright.crafts.testcell.ledger import Ledger, Shown, figure, share_inputs
from spoolwright.crafts.testcell.model import Figure, Input, RatedValue
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner
from spoolwright.crafts.testcell.performance.block import BlockReduction
from spoolwright.crafts.testcell.performance.rated import FAR, RATED_QUANTITIES, RatedEstimate
from spoolwright.crafts.testcell.reading import ScalarReading, Share
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import Rating
from spoolwright.units import INNER_UNIT

_MGT = "measured_gas_temperature"
_RATED_TITLES = {
    "power_at_rated_mgt": "Power at rated MGT",
    "mgt_at_rated_power": "MGT at rated power",
    "ng_at_rated_power": "Gas generator speed at rated power",
    "sfc_at_rated_power": "Specific fuel consumption at rated power",
}


@dataclass(frozen=True)
class MarginScribe:
    """Writes the rated values of one block."""

    basis: ReductionBasis
    ledger: Ledger

    def rated_value(self, e: RatedEstimate, block: int, points: Sequence[str]) -> RatedValue:
        """A rated value with its margin against the rating."""
        shown = self.basis.shown(RATED_QUANTITIES[e.quantity])
        nominal = nominal_value(e.rating, e.quantity)
        approved = None if e.approved is None else _figured(e.approved, shown, self._how(e, points))
        return RatedValue(
            rating=e.rating.id,
            quantity=e.quantity,
            approved=approved,
            model=None if e.model is None else _figured(e.model, shown, self._model_how(e, points)),
            nominal=figure(nominal, shown, self._nominal_how(e.rating, e.quantity)),
            margin=self._margin(e, nominal, shown, approved),
            difference=self._difference(e, shown, points),
            extrapolated=e.extrapolation > 0.0,
            block=block,
        )

    def reading(self, e: RatedEstimate, reduction: BlockReduction, run: str) -> ScalarReading:
        """A rated value as a reading for its limits."""
        points = [p.id for p in reduction.points]
        far = e.approved is not None and e.extrapolation > FAR
        why = e.why
        if far:
            why = f"the rating lies {e.extrapolation:.0%} of the points' span beyond them; take one nearer"
        known = e.approved is not None and not far
        return ScalarReading(
            quantity=e.quantity,
            regime="rating",
            value=e.approved.value if known and e.approved else math.nan,
            uncertainty=e.approved.standard_uncertainty if known and e.approved else math.nan,
            unit=INNER_UNIT[DERIVED_QUANTITIES[e.quantity]],
            run=run,
            block=reduction.block,
            from_s=min(p.from_s for p in reduction.points),
            to_s=max(p.to_s for p in reduction.points),
            title=self._title(e),
            calculation="testcell.performance.rated.rated_estimates",
            formula=_formula(e.quantity),
            reference=self._reference(),
            inputs=self._inputs(e, points),
            rating=e.rating.id,
            degrees_of_freedom=e.approved.degrees_of_freedom if known and e.approved else math.inf,
            shares=tuple(Share(c, u) for c, u in e.approved.shares().items()) if e.approved else (),
            why_not=why,
            mend=_mend(why, far=far),
            runs=tuple(dict.fromkeys(p.run for p in reduction.points)),
        )

    def _margin(
        self, e: RatedEstimate, nominal: float, shown: Shown, approved: Figure | None
    ) -> Figure | None:
        if e.approved is None or approved is None:
            return None
        sign = 1.0 if e.quantity == "power_at_rated_mgt" else -1.0
        how = self.ledger.enter(
            f"Margin of {self._title(e)}",
            "testcell.margins",
            "value - rated" if sign > 0.0 else "rated - value",
            [
                Input(name="value", value=e.approved.value, unit=approved.unit, origin=approved.how),
                Input(
                    name="rated",
                    value=nominal,
                    unit=approved.unit,
                    origin=f"type file, rating '{e.rating.id}'",
                ),
            ],
            source_text(self.basis.type_file, e.rating.source),
        )
        return figure(
            sign * (e.approved.value - nominal), shown, how, e.approved.standard_uncertainty, difference=True
        )

    def _difference(self, e: RatedEstimate, shown: Shown, points: Sequence[str]) -> Figure | None:
        apart = e.difference
        if apart is None:
            return None
        how = self.ledger.enter(
            f"{self._title(e)}: approved method less model",
            "testcell.performance.rated.RatedEstimate.difference",
            "approved - model; errors common to both cancel",
            [Input(name="point", value=p, origin=f"point {p}") for p in points],
            "definition",
        )
        return figure(apart.value, shown, how, apart.standard_uncertainty, difference=True)

    def _title(self, e: RatedEstimate) -> str:
        return f"{_RATED_TITLES[e.quantity]}, {e.rating.name}"

    def _how(self, e: RatedEstimate, points: Sequence[str]) -> str:
        inputs = self._inputs(e, points)
        return self.ledger.enter(
            self._title(e),
            "testcell.performance.rated.rated_estimates",
            _formula(e.quantity),
            inputs,
            self._reference(),
        )

    def _inputs(self, e: RatedEstimate, points: Sequence[str]) -> tuple[Input, ...]:
        inputs = [
            Input(name="corrected point", value=p, origin=f"point {p}, approved correction") for p in points
        ]
        rated = "measured_gas_temperature" if e.quantity == "power_at_rated_mgt" else "power"
        amount = getattr(e.rating, rated)
        inputs.append(
            Input(
                name=f"rated {'MGT' if rated == _MGT else 'power'}",
                value=inner(amount),
                unit=INNER_UNIT["temperature" if rated == _MGT else "power"],
                origin=f"type file, rating '{e.rating.id}'",
            )
        )
        if e.approved is not None:
            inputs += share_inputs(e.approved.shares(), _unit(e))
        return tuple(inputs)

    def _reference(self) -> str:
        correction = self.basis.type_file.correction
        return (
            source_text(self.basis.type_file, correction.source) if correction else "no approved correction"
        )

    def _model_how(self, e: RatedEstimate, points: Sequence[str]) -> str:
        inputs = [Input(name="point", value=p, origin=f"point {p}") for p in points]
        if e.model is not None:
            inputs += share_inputs(e.model.shares(), _unit(e))
        return self.ledger.enter(
            f"{self._title(e)}, by the model",
            "reduction.model_method.ModelMethod",
            "model at the reference condition * this engine's level against the model * learnt shape",
            inputs,
            "advisory; the approved document's correction governs",
        )

    def _nominal_how(self, rating: Rating, quantity: str) -> str:
        return self.ledger.enter(
            f"Rated value: {_RATED_TITLES[quantity]}, {rating.name}",
            "testcell.performance.margins.nominal_value",
            "as the approved document states it",
            [Input(name="rating", value=rating.id, origin=f"type file, rating '{rating.id}'")],
            source_text(self.basis.type_file, rating.source),
        )


def nominal_value(rating: Rating, quantity: str) -> float:
    """What a rating states for a rated quantity, in the inner unit."""
    field = {
        "power_at_rated_mgt": rating.power,
        "mgt_at_rated_power": rating.measured_gas_temperature,
        "ng_at_rated_power": rating.gas_generator_speed,
        "sfc_at_rated_power": rating.specific_fuel_consumption,
    }[quantity]
    return inner(field)


def _unit(e: RatedEstimate) -> str:
    """Inner unit of a rated quantity."""
    return INNER_UNIT[DERIVED_QUANTITIES[e.quantity]]


def _formula(quantity: str) -> str:
    axes = {
        "power_at_rated_mgt": "curve of ln power over ln MGT through the corrected points, at the rated MGT",
        "mgt_at_rated_power": "MGT at which the curve of ln power over ln MGT reaches the rated power",
        "ng_at_rated_power": "curve of ln speed over ln power through the corrected points, "
        "at the rated power",
        "sfc_at_rated_power": "curve of ln fuel consumption over ln power through the corrected points, "
        "at the rated power",
    }
    return f"{axes[quantity]}; uncertainty with all common errors (JCGM 100:2008, 5.2.2)"


def _figured(e: Estimate, shown: Shown, how: str) -> Figure:
    return figure(e.value, shown, how, e.standard_uncertainty)


def _mend(why: str, *, far: bool) -> str:
    if far:
        return "Take a point at or above the rating, or on a day that lets the engine reach it."
    if "conformation" in why:
        return "Read the conformation factor off the data plate and write it on the run sheet."
    if "heating value" in why:
        return "Have the fuel sampled and write its heating value on the run sheet."
    return "Take the points of the schedule again with every channel recorded."
