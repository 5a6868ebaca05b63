"""Points as they stand in the result: readings, and every quantity from observed to corrected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.numerics import value
from spoolwright.core.reduction.estimate import Estimate, estimate
from spoolwright.core.reduction.model_method import ModelMethod
from spoolwright.core.reduction.point import ChannelMean, PointData
from spoolwright.crafts.testcell.ledger import Ledger, Shown, figure
from spoolwright.crafts.testcell.model import (
    CorrectedQuantity,
    Figure,
    Input,
    LadderStep,
    Point,
    Reading,
    Steadiness,
)
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import SFC, BlockReduction
from spoolwright.crafts.testcell.performance.step_inputs import step_formula, step_inputs
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.units import INNER_UNIT

_MGT = "measured_gas_temperature"
CORRECTED = ("power", "gas_generator_speed", _MGT, "fuel_flow", SFC)
_NAMES = {
    "power": "Power",
    "gas_generator_speed": "Gas generator speed",
    _MGT: "MGT",
    "fuel_flow": "Fuel flow",
    SFC: "Specific fuel consumption",
}
_OBSERVED = {
    "power": ("indicated torque * conformation * speed * 2 pi / 60", ("torque", "power_turbine_speed")),
    "gas_generator_speed": ("mean over the averaging window", ("gas_generator_speed",)),
    _MGT: ("mean over the averaging window", (_MGT,)),
    "fuel_flow": (
        "mean over the averaging window; of a volume flow times density at the fuel's temperature",
        ("fuel_mass_flow", "fuel_volume_flow", "fuel_temperature"),
    ),
    SFC: ("fuel flow / power", ("fuel_mass_flow", "fuel_volume_flow", "torque", "power_turbine_speed")),
}
_STEP_INPUTS = {
    "temperature": ("inlet_temperature",),
    "pressure": ("inlet_pressure",),
    "humidity": ("relative_humidity", "dew_point", "wet_bulb", "ambient_temperature", "ambient_pressure"),
    "inlet loss": ("inlet_pressure", "ambient_pressure"),
    "exhaust loss": ("exhaust_pressure", "ambient_pressure"),
}
_FACTOR_ORIGIN = {"cell correlation": "type file, correlation factors of the cell"}


@dataclass(frozen=True)
class PointScribe:
    """Writes the points of one block into the result."""

    basis: ReductionBasis
    ledger: Ledger

    def record(
        self,
        point: PointData,
        reduction: BlockReduction | None,
        reasons: Sequence[str],
        outside: Sequence[str],
    ) -> Point:
        """A point; `reduction` is None for one that is not used, `outside` tells why no approved value."""
        index = None
        if reduction is not None:
            index = next((i for i, p in enumerate(reduction.points) if p.id == point.id), None)
        corrected: tuple[CorrectedQuantity, ...] = ()
        if reduction is not None and index is not None:
            corrected = tuple(
                self._corrected(point, reduction, index, q, outside)
                for q in CORRECTED
                if q in reduction.observed
            )
        return Point(
            id=point.id,
            run=point.run,
            from_s=point.from_s,
            to_s=point.to_s,
            schedule_item=point.schedule_item,
            rating=point.rating,
            block=point.block,
            steady=point.steady,
            steadiness=self._steadiness(point),
            usable=not reasons,
            why_not=(*reasons, *outside),
            readings=tuple(self._reading(point, m) for m in point.channels.values()),
            corrected=corrected,
        )

    def _steadiness(self, point: PointData) -> tuple[Steadiness, ...]:
        dimension = {c.id: c.dimension for c in self.basis.type_file.channel}
        return tuple(
            Steadiness(
                channel=c.channel,
                drift=c.drift,
                allowed=c.allowed,
                unit=INNER_UNIT[dimension[c.channel]],
                met=c.met,
            )
            for c in point.criteria
        )

    def _reading(self, point: PointData, mean: ChannelMean) -> Reading:
        channel = next(c for c in self.basis.type_file.channel if c.id == mean.channel)
        shown = Shown(channel.dimension, channel.unit, channel.also_shown_in)
        how = self.ledger.enter(
            f"{channel.name}, mean at point {point.id}",
            "measurement.averaging.hold_mean",
            "arithmetic mean of the samples of the averaging window; scatter with autocorrelation",
            [
                self._window(point, mean.channel),
                Input(
                    name="independent samples",
                    value=round(mean.effective_samples, 1),
                    unit="1",
                    origin="autocorrelation",
                ),
                *(
                    Input(
                        name=f"systematic: {s.source}",
                        value=s.uncertainty,
                        unit=INNER_UNIT[channel.dimension],
                        origin="type file, uncertainty parts",
                    )
                    for s in mean.systematic
                ),
            ],
            "JCGM 100:2008, 4.2 and 4.3",
        )
        recorded = None if mean.as_recorded is None else figure(mean.as_recorded, shown, how)
        return Reading(
            channel=mean.channel,
            name=channel.name,
            mean=figure(mean.mean, shown, how, mean.uncertainty),
            random=mean.random,
            systematic=mean.systematic_uncertainty,
            effective_samples=mean.effective_samples,
            as_recorded=recorded,
        )

    def _window(self, point: PointData, channel: str) -> Input:
        where = f"channel {channel}, run {point.run}, {point.from_s:.1f} s to {point.to_s:.1f} s"
        return Input(name="samples", value=channel, origin=where)

    def _inputs(self, point: PointData, roles: Sequence[str]) -> list[Input]:
        out = []
        for role in roles:
            name = self.basis.roles.get(role, "")
            mean = point.channels.get(name)
            if mean is not None:
                where = f"channel {name}, run {point.run}, {point.from_s:.1f} s to {point.to_s:.1f} s"
                unit = INNER_UNIT[next(c.dimension for c in self.basis.type_file.channel if c.id == name)]
                out.append(Input(name=role.replace("_", " "), value=mean.mean, unit=unit, origin=where))
        return out

    def _corrected(
        self, point: PointData, reduction: BlockReduction, i: int, q: str, outside: Sequence[str]
    ) -> CorrectedQuantity:
        errors, shown = reduction.inputs.basis, self.basis.shown(q)
        formula, roles = _OBSERVED[q]
        inputs = self._inputs(point, roles)
        if q == "power" and "conformation" in reduction.inputs:
            conformation = float(reduction.inputs["conformation"].v[i])
            inputs.append(
                Input(name="conformation", value=conformation, unit="1", origin="run sheet, data plate")
            )
        how = self.ledger.enter(
            f"{_NAMES[q]} observed at point {point.id}",
            "testcell.calc.observed_quantities",
            formula,
            inputs,
            "definition",
        )
        observed = estimate(reduction.observed[q], errors, i)
        ladder, approved = self._ladder(point, reduction, i, q, how) if not outside else ((), None)
        model = self._by_model(reduction, i, q) if reduction.model is not None else None
        return CorrectedQuantity(
            quantity=q,
            observed=_figured(observed, shown, how),
            ladder=ladder,
            approved=None if approved is None else _figured(approved, shown, ladder[-1].value.how),
            model=None if model is None else _figured(model, shown, self._model_how(point, q)),
            difference=self._difference(point, q, approved, model, shown),
        )

    def _ladder(
        self, point: PointData, reduction: BlockReduction, i: int, q: str, observed: str
    ) -> tuple[tuple[LadderStep, ...], Estimate | None]:
        steps, last, before = [], None, observed
        correction = self.basis.type_file.correction
        reference = source_text(self.basis.type_file, correction.source) if correction else ""
        for rung in reduction.ladders.get(q, ()):
            factor = float(np.broadcast_to(value(rung.factor), (len(reduction.points),))[i])
            last = estimate(rung.value, reduction.inputs.basis, i)
            inputs = [
                Input(name="value before", value=before, origin=before),
                Input(name="factor", value=factor, unit="1", origin=_FACTOR_ORIGIN.get(rung.name, reference)),
                *self._inputs(point, _STEP_INPUTS.get(rung.name, ())),
                *step_inputs(reduction, i, q, rung.name, self.basis),
            ]
            if rung.name == "heating value":
                lower = float(reduction.inputs["heating_value"].v[i])
                inputs.append(Input(name="heating value", value=lower, unit="J/kg", origin="run sheet, fuel"))
            before = self.ledger.enter(
                f"{_NAMES[q]} at point {point.id}: {rung.name}",
                "reduction.approved.correction_ladder",
                step_formula(q, rung.name),
                inputs,
                _FACTOR_ORIGIN.get(rung.name, reference),
            )
            shown = self.basis.shown(q)
            steps.append(LadderStep(name=rung.name, factor=factor, value=_figured(last, shown, before)))
        return tuple(steps), last

    def _by_model(self, reduction: BlockReduction, i: int, q: str) -> Estimate | None:
        assert reduction.model is not None
        mgt = _reference_temperature(reduction, i, self.basis)
        found = _model_value(reduction.model, reduction, i, q, mgt)
        return found if np.isfinite(found.value) and np.all(np.isfinite(found.contributions)) else None

    def _model_how(self, point: PointData, q: str) -> str:
        at = "approved corrected power" if q == _MGT else "approved corrected MGT"
        return self.ledger.enter(
            f"{_NAMES[q]} at point {point.id}, by the model",
            "reduction.model_method.ModelMethod.point_value",
            "observed / model at today's conditions and MGT, times model at the reference condition, "
            f"times learnt shape; told at the {at}",
            [Input(name="point", value=point.id, origin=f"run {point.run}")],
            "advisory; the approved document's correction governs",
        )

    def _difference(
        self, point: PointData, q: str, approved: Estimate | None, model: Estimate | None, shown: Shown
    ) -> Figure | None:
        if approved is None or model is None:
            return None
        apart = Estimate(
            approved.value - model.value, approved.contributions - model.contributions, approved.basis
        )
        how = self.ledger.enter(
            f"{_NAMES[q]} at point {point.id}: approved method less model",
            "testcell.point_records",
            "approved - model; errors common to both cancel",
            [Input(name="point", value=point.id, origin=f"run {point.run}")],
            "definition",
        )
        return _figured(apart, shown, how, difference=True)


def _reference_temperature(reduction: BlockReduction, i: int, basis: ReductionBasis) -> Estimate:
    """MGT at the reference condition to which a point is carried: approved, else at the same MGT / T."""
    errors = reduction.inputs.basis
    approved = reduction.corrected(_MGT)
    if approved is not None:
        return estimate(approved, errors, i)
    assert reduction.model is not None
    s = float(reduction.model.features[i, 0])
    return Estimate(float(basis.curve.rated_gas_temperature * np.exp(s)), np.zeros(errors.size), errors)


def _model_value(model: ModelMethod, reduction: BlockReduction, i: int, q: str, mgt: Estimate) -> Estimate:
    """The model's value at a corrected MGT that carries its errors, as the approved value does."""
    if q == SFC:
        fuel, power = _along(model, i, "fuel_flow", mgt), _along(model, i, "power", mgt)
        ratio = fuel.value / power.value
        relative = fuel.contributions / fuel.value - power.contributions / power.value
        return Estimate(ratio, ratio * relative, fuel.basis)
    if q != _MGT:
        return _along(model, i, q, mgt)
    power = model.point_value("power", i, mgt.value)
    slope = power.value * model.reference.log_at("power", mgt.value)[1]
    approved = reduction.corrected("power")
    target = power if approved is None else estimate(approved, reduction.inputs.basis, i)
    return Estimate(
        mgt.value + (target.value - power.value) / slope,
        (target.contributions - power.contributions) / slope,
        power.basis,
    )


def _along(model: ModelMethod, i: int, q: str, mgt: Estimate) -> Estimate:
    at = model.point_value(q, i, mgt.value)
    slope = at.value * model.reference.log_at(q, mgt.value)[1]
    return Estimate(at.value, at.contributions + slope * mgt.contributions, at.basis)


def _figured(e: Estimate, shown: Shown, how: str, *, difference: bool = False) -> Figure:
    return figure(e.value, shown, how, e.standard_uncertainty, difference=difference)
