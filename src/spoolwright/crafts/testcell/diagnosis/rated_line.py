"""The average engine's operating line at a rating's reference condition, and quantities read off it.

The line is one more run: the engine model as the data sheet has it at eleven speeds, with what the
calibration expects of the outputs there, by the same columns that runs are compared with.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.causes import module_causes
from spoolwright.core.diagnosis.comparison import Compared, compared
from spoolwright.core.diagnosis.observation import CONDITIONS, Observation
from spoolwright.core.diagnosis.signatures import Signature, module_signatures
from spoolwright.core.diagnosis.terms import common_columns, line_columns
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.forecast.run_to_come import condition_at
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner, performance_ratings
from spoolwright.crafts.typefile.model import Rating

READ = ("power", "measured_gas_temperature", "fuel_flow")
"""Outputs that rated quantities are made of."""
_READ_AT = {
    "power_at_rated_mgt": (0, 1),
    "mgt_at_rated_power": (1, 0),
    "sfc_at_rated_power": (2, 0),
    "ng_at_rated_power": (3, 0),
}
"""Rated quantity to what is read and what is set, as places in `READ`; after them comes speed."""
SPEEDS = np.linspace(0.88, 1.08, 11)
"""Relative gas generator speeds at which the outputs are computed; a polynomial runs through them."""
_DEGREE = 8
_PLACES = np.linspace(-1.0, 1.0, SPEEDS.size)
_FIT = np.linalg.pinv(np.vander(_PLACES, _DEGREE + 1))
"""The polynomial's coefficients from the values along a line: the same places every time."""


@dataclass(frozen=True)
class Line:
    """Outputs of the average engine along its operating line at a reference condition.

    `logs` (3, S) are the logarithms of the outputs `READ` as the calibrated model has them, `unknown`
    (3, S, U) what a unit of each unknown adds to them: build, the engine's own line, and the common
    coefficients; `effects` the signatures of the causes in modules over all outputs of `seen`, of which those
    of `READ` stand at `rows`.
    """

    seen: Compared
    logs: FloatArray
    unknown: FloatArray
    effects: Mapping[str, Signature]
    rows: tuple[int, ...]

    def of(self, values: FloatArray) -> FloatArray:
        """Values over all outputs, shape (..., K S), at the outputs `READ`: shape (..., 3, S)."""
        k, s = self.seen.residual.shape
        return values.reshape(*values.shape[:-1], k, s)[..., list(self.rows), :]


def average_line(
    model: EngineModel, calibrated: Calibrated, condition: Condition, outputs: Sequence[str] = READ
) -> Line:
    """The line of the average engine; `outputs` are those that a run has, `READ` come on top."""
    names = (*outputs, *(o for o in READ if o not in outputs))
    (seen,) = compared(model, [_as_run(model, condition, names)])
    rows = tuple(names.index(o) for o in READ)
    reference = model.data.reference
    common = common_columns(seen, reference.temperature, reference.pressure)
    build = seen.by_factor.reshape(len(seen.by_factor), -1).T
    unknown = np.concatenate([build, line_columns(seen), common], axis=1)
    k, s = seen.residual.shape
    logs = (common @ calibrated.mean).reshape(k, s) - seen.residual
    causes = module_causes(model.data)
    (signatures,) = module_signatures(model, [seen], causes)
    effects = {c.id: x for c, x in zip(causes, signatures, strict=True)}
    chosen = unknown.reshape(k, s, -1)[list(rows)]
    return Line(seen, logs[list(rows)], chosen, effects, rows)


def _as_run(model: EngineModel, condition: Condition, outputs: Sequence[str]) -> Observation:
    """A run without errors that reads 1 everywhere: its residuals are minus the model's logarithms."""
    n = SPEEDS.size
    return Observation(
        engine="", visit="", run="", cell="", points=tuple(str(i) for i in range(n)), channels=(),
        observed={o: np.ones(n) for o in outputs},
        conditions={c: np.full(n, float(getattr(condition, c))) for c in CONDITIONS},
        speed=SPEEDS * model.data.reference.gas_generator_speed,
        readings=np.zeros((0, n)), errors=np.zeros((0, 0, n)), sources=(), random=np.zeros(0, dtype=bool),
    )  # fmt: skip


def average_changes(basis: ReductionBasis, calibrated: Calibrated) -> dict[tuple[str, str], float]:
    """Change of ln(value) of the average engine against the data sheet's, by rating and rated quantity."""
    out = {}
    for rating in performance_ratings(basis.type_file):
        line = average_line(basis.model, calibrated, condition_at(basis, basis.model, rating))
        for quantity in _READ_AT:
            average, _ = read_off(quantity, rating, line.logs)
            sheet, _ = read_off(quantity, rating, -line.of(line.seen.vector))
            out[rating.id, quantity] = math.log(average / sheet)
    return out


def read_off(quantity: str, rating: Rating, logs: FloatArray) -> tuple[float, FloatArray]:
    """A rated quantity read off a line, and its derivatives with the logarithms along it, shape (3, S).

    A speed is relative to the reference; not a number where the line does not reach the rating.
    """
    read, by_set = _READ_AT[quantity]
    target = inner(rating.measured_gas_temperature if by_set == 1 else rating.power)
    at = _place(logs[by_set], math.log(target))
    if at is None:
        return math.nan, np.zeros_like(logs)
    here = np.vander([at], _DEGREE + 1)[0] @ _FIT
    every = np.concatenate([logs, [np.log(SPEEDS)]])
    rate = [float(np.polyval(np.polyder(_FIT @ y), at)) for y in every]
    value = math.exp(float(here @ every[read])) / (target if quantity == "sfc_at_rated_power" else 1.0)
    by = np.zeros_like(every)
    by[read] = here
    by[by_set] -= here * rate[read] / rate[by_set]
    return value, by[: len(logs)] * value


def _place(y: FloatArray, target: float) -> float | None:
    """Where the polynomial through y has a value; None outside the line."""
    if not np.all(np.isfinite(y)) or not y.min() <= target <= y.max():
        return None
    at = float(np.interp(target, y, _PLACES))
    fitted = _FIT @ y
    for _ in range(4):
        at -= (float(np.polyval(fitted, at)) - target) / float(np.polyval(np.polyder(fitted), at))
    return at
