"""Curves through a block's points as they stand in the result: points, interval, limit line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.numerics import value
from spoolwright.core.reduction.baseline import FEATURES
from spoolwright.core.reduction.curve import PerformanceCurve
from spoolwright.core.reduction.estimate import Estimate, estimate
from spoolwright.crafts.testcell.model import Curve, CurvePoint
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner
from spoolwright.crafts.testcell.performance.block import SFC, BlockReduction
from spoolwright.crafts.testcell.performance.rated import FAR, ApprovedCurves
from spoolwright.crafts.typefile.model import Limit, Rating
from spoolwright.units import INNER_UNIT, to_inner

_MGT = "measured_gas_temperature"
_GRID = 41
_TITLES = {
    "power": "Corrected power",
    "gas_generator_speed": "Corrected gas generator speed",
    _MGT: "Corrected MGT",
    SFC: "Corrected specific fuel consumption",
}
_LINES = {
    (_MGT, "power"): ("power_at_rated_mgt", _MGT, False),
    ("gas_generator_speed", "power"): ("ng_at_rated_power", "power", True),
    ("power", "gas_generator_speed"): ("ng_at_rated_power", "power", False),
    ("power", SFC): ("sfc_at_rated_power", "power", False),
}
"""Which limits draw the limit line of a curve: quantity, the other coordinate, and whether the limit is x."""


@dataclass(frozen=True)
class CurveScribe:
    """Writes the curves of one block."""

    basis: ReductionBasis
    limits: Sequence[Limit]

    def curve(
        self, reduction: BlockReduction, curves: ApprovedCurves, x: str, y: str, number: int
    ) -> Curve | None:
        """An approved curve with its interval, its points and the limit line; None where there is none."""
        fitted = curves.curves.get((x, y))
        xs, ys = reduction.corrected(x), reduction.corrected(y)
        if fitted is None or xs is None or ys is None:
            return None
        grid = self._grid(fitted, x)
        band = [fitted.at(v) for v in grid]
        half = [e.half_width() for e in band]
        errors = reduction.inputs.basis
        return Curve(
            id=f"c{number}",
            title=f"{_TITLES[y]} over {_TITLES[x][0].lower()}{_TITLES[x][1:]}, block {reduction.block}",
            x_quantity=x,
            y_quantity=y,
            x_unit=INNER_UNIT[self.basis.shown(x).dimension],
            y_unit=INNER_UNIT[self.basis.shown(y).dimension],
            method="approved",
            block=reduction.block,
            points=tuple(
                _curve_point(estimate(xs, errors, i), estimate(ys, errors, i), p.id, bool(curves.used[i]))
                for i, p in enumerate(reduction.points)
            ),
            x=tuple(grid),
            y=tuple(e.value for e in band),
            low=tuple(e.value - h for e, h in zip(band, half, strict=True)),
            high=tuple(e.value + h for e, h in zip(band, half, strict=True)),
            limit_lines=self._limit_lines(x, y),
        )

    def model_curve(self, reduction: BlockReduction, number: int) -> Curve | None:
        """The model's curve of power over MGT at the reference condition, through this engine's level."""
        model = reduction.model
        if model is None:
            return None
        theta = np.exp(model.features[:, FEATURES.index("ln theta")])
        observed = reduction.correlated[_MGT]
        mgt = np.asarray(value(observed)) / theta
        ratings = [inner(r.measured_gas_temperature) for r in self._ratings()]
        grid = np.linspace(min(mgt.min(), *ratings), max(mgt.max(), *ratings), _GRID)
        grid = grid[
            (grid > model.reference.gas_temperature[0]) & (grid < model.reference.gas_temperature[-1])
        ]
        band = [model.value_at("power", float(v)) for v in grid]
        half = [e.half_width() for e in band]
        points = [model.point_value("power", i, float(t)) for i, t in enumerate(mgt)]
        errors = reduction.inputs.basis
        spread = [estimate(observed, errors, i).standard_uncertainty / theta[i] for i in range(len(points))]
        return Curve(
            id=f"c{number}",
            title=f"Corrected power over corrected MGT by the model (advisory), block {reduction.block}",
            x_quantity=_MGT,
            y_quantity="power",
            x_unit="K",
            y_unit="W",
            method="model",
            block=reduction.block,
            points=tuple(
                CurvePoint(x=float(t), y=e.value, ux=u, uy=e.standard_uncertainty, point=p.id, used=True)
                for t, e, u, p in zip(mgt, points, spread, reduction.points, strict=True)
                if np.isfinite(e.value) and np.isfinite(e.standard_uncertainty)  # beyond the model's reach
            ),
            x=tuple(float(v) for v in grid),
            y=tuple(e.value for e in band),
            low=tuple(e.value - h for e, h in zip(band, half, strict=True)),
            high=tuple(e.value + h for e, h in zip(band, half, strict=True)),
            limit_lines=self._limit_lines(_MGT, "power"),
        )

    def _ratings(self) -> list[Rating]:
        named = {x.rating for x in self.limits if x.rating}
        found = [r for r in self.basis.type_file.rating if r.id in named]
        return found or [
            r for r in self.basis.type_file.rating if r.id == self.basis.type_file.data_sheet.rating
        ]

    def _grid(self, curve: PerformanceCurve, x: str) -> list[float]:
        """From the first to the last point, and on to the ratings where the curve still counts."""
        at = {
            _MGT: [inner(r.measured_gas_temperature) for r in self._ratings()],
            "power": [inner(r.power) for r in self._ratings()],
        }.get(x, [])
        near = [v for v in at if curve.extrapolation(v) <= FAR]
        return [float(v) for v in np.linspace(min([curve.low, *near]), max([curve.high, *near]), _GRID)]

    def _limit_lines(self, x: str, y: str) -> tuple[tuple[str, float, float, float, float], ...]:
        """Limits of neighbouring ratings joined by straight lines; a single one as a short level line."""
        quantity, other, turned = _LINES[x, y]
        ratings = {r.id: r for r in self.basis.type_file.rating}
        ends = sorted(
            (inner(getattr(ratings[limit.rating], other)), to_inner(limit.value, limit.unit))
            for limit in self.limits
            if limit.quantity == quantity and limit.rating in ratings and limit.value is not None
        )
        ends = [(b, a) for a, b in ends] if turned else ends
        if len(ends) == 1:
            (a, b) = ends[0]
            ends = [(0.99 * a, b), (1.01 * a, b)]
        label = "limit"
        return tuple((label, *ends[i], *ends[i + 1]) for i in range(len(ends) - 1))


def _curve_point(x: Estimate, y: Estimate, point: str, used: bool) -> CurvePoint:
    return CurvePoint(
        x=x.value, y=y.value, ux=x.standard_uncertainty, uy=y.standard_uncertainty, point=point, used=used
    )
