"""Values at the ratings, read from the curve through one block's points by both methods."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.numerics import Dual, Number
from spoolwright.core.reduction.curve import PerformanceCurve, distinct_arguments, performance_curve
from spoolwright.core.reduction.estimate import ErrorBasis, Estimate
from spoolwright.core.reduction.model_method import ModelMethod
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner, performance_ratings
from spoolwright.crafts.testcell.performance.block import SFC, BlockReduction
from spoolwright.crafts.typefile.model import Rating

RatedQuantity = Literal["power_at_rated_mgt", "mgt_at_rated_power", "ng_at_rated_power", "sfc_at_rated_power"]
RATED_QUANTITIES: dict[RatedQuantity, str] = {
    "power_at_rated_mgt": "power",
    "mgt_at_rated_power": "measured_gas_temperature",
    "ng_at_rated_power": "gas_generator_speed",
    "sfc_at_rated_power": SFC,
}
"""What is read at a rating, and the quantity it is a value of."""

FAR = 0.25
"""An approved value further beyond the points than this part of their span is no reading."""
_MGT = "measured_gas_temperature"
_NG = "gas_generator_speed"


@dataclass(frozen=True)
class RatedEstimate:
    """A value at a rating.

    `why` tells why the approved method gives none, `model_why` the same of the model, `extrapolation` how far
    beyond the points the rating lies, as a part of their span.
    """

    rating: Rating
    quantity: RatedQuantity
    approved: Estimate | None
    why: str
    extrapolation: float
    model: Estimate | None
    model_why: str

    @property
    def difference(self) -> Estimate | None:
        """Approved less model, where both give a value."""
        if self.approved is None or self.model is None:
            return None
        a, m = self.approved, self.model
        return Estimate(a.value - m.value, a.contributions - m.contributions, a.basis)


@dataclass(frozen=True)
class ApprovedCurves:
    """Curves through a block's points by the approved method; `untold` says why one is missing."""

    curves: Mapping[tuple[str, str], PerformanceCurve]
    untold: Mapping[tuple[str, str], str]
    used: NDArray[np.bool_]


CURVES = ((_MGT, "power"), (_NG, "power"), ("power", _NG), ("power", SFC))
"""Curves drawn and read: x, y."""


def approved_curves(reduction: BlockReduction, used: NDArray[np.bool_]) -> ApprovedCurves:
    """Curves through the points that count by the approved document (`used`)."""
    curves, untold = {}, {}
    for x, y in CURVES:
        xs, ys = reduction.corrected(x), reduction.corrected(y)
        if xs is None or ys is None:
            untold[x, y] = reduction.untold.get(x) or reduction.untold.get(y) or "a quantity is not known"
            continue
        a, b = chosen(xs, used, reduction.inputs.basis), chosen(ys, used, reduction.inputs.basis)
        apart = distinct_arguments(np.log(a.v)) if used.any() else 0
        if apart < 2:
            untold[x, y] = f"{apart} usable point(s) at different power carry no curve"
        else:
            curves[x, y] = performance_curve(a, b, reduction.inputs.basis)
    return ApprovedCurves(curves, untold, used)


def chosen(number: Number, used: NDArray[np.bool_], basis: ErrorBasis) -> Dual:
    """The chosen points of a number over points."""
    n = used.size
    if not isinstance(number, Dual):
        return Dual(np.broadcast_to(number, (n,))[used], np.zeros((basis.size, int(used.sum()))))
    v = np.broadcast_to(number.v, (n,))
    return Dual(v[used], np.broadcast_to(number.d, (basis.size, n))[:, used])


def rated_estimates(
    reduction: BlockReduction, curves: ApprovedCurves, basis: ReductionBasis
) -> list[RatedEstimate]:
    """Every quantity at every performance rating."""
    out = []
    for rating in performance_ratings(basis.type_file):
        for quantity in RATED_QUANTITIES:
            approved, why, beyond = _approved(curves, rating, quantity)
            model, model_why = _by_model(reduction, rating, quantity)
            out.append(RatedEstimate(rating, quantity, approved, why, beyond, model, model_why))
    return out


def _approved(
    curves: ApprovedCurves, rating: Rating, quantity: RatedQuantity
) -> tuple[Estimate | None, str, float]:
    axes = {
        "power_at_rated_mgt": (_MGT, "power"),
        "mgt_at_rated_power": (_MGT, "power"),
        "ng_at_rated_power": ("power", _NG),
        "sfc_at_rated_power": ("power", SFC),
    }[quantity]
    curve = curves.curves.get(axes)
    if curve is None:
        return None, curves.untold[axes], math.inf
    if quantity == "power_at_rated_mgt":
        x = inner(rating.measured_gas_temperature)
        found = curve.at(x)
    elif quantity == "mgt_at_rated_power":
        found = curve.argument_at(inner(rating.power))
        x = found.value
    else:
        x = inner(rating.power)
        found = curve.at(x)
    beyond = curve.extrapolation(x) if math.isfinite(x) else math.inf
    if not math.isfinite(found.value):
        return None, "the curve through the points does not reach the rating", beyond
    return found, "", beyond


def _by_model(
    reduction: BlockReduction, rating: Rating, quantity: RatedQuantity
) -> tuple[Estimate | None, str]:
    if reduction.model is None:
        return None, reduction.model_untold
    found = _MODEL[quantity](reduction.model, rating)
    if not math.isfinite(found.value):
        return None, "the model does not reach the rating"
    return found, ""


def _model_sfc(model: ModelMethod, rating: Rating) -> Estimate:
    power = inner(rating.power)
    fuel = model.value_at_power("fuel_flow", power)
    return Estimate(fuel.value / power, fuel.contributions / power, fuel.basis)


_MODEL: dict[str, Callable[[ModelMethod, Rating], Estimate]] = {
    "power_at_rated_mgt": lambda m, r: m.value_at("power", inner(r.measured_gas_temperature)),
    "mgt_at_rated_power": lambda m, r: m.gas_temperature_at(inner(r.power)),
    "ng_at_rated_power": lambda m, r: m.value_at_power(_NG, inner(r.power)),
    "sfc_at_rated_power": _model_sfc,
}
