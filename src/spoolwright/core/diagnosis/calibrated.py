"""What the shop's own runs taught of a type: the record that a diagnosis starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spoolwright.core.diagnosis.comparison import FACTORS, UNIT
from spoolwright.core.diagnosis.families import Families
from spoolwright.core.diagnosis.redundancy import Twin, usual_twins
from spoolwright.core.diagnosis.spreads import BUILD, CHANNEL, ENGINE_LINE
from spoolwright.core.diagnosis.terms import COMMON, LINE, LINE_TERMS, NAMES, PRIOR, SPREADS, factors_along
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError

FORMAT = "spoolwright-calibration-1"


@dataclass(frozen=True)
class ModelError:
    """How far the model is from an output in a range of settings, told by engines it had not seen.

    Parameters
    ----------
    output : str
        Which output, see `OUTPUTS` [-].
    speed_from, speed_to : float
        Range of relative corrected gas generator speed [-].
    points : int
        How many points [-].
    before, after : float
        Mean residual against the data sheet's model and against the calibrated one [-].
    scatter : float
        Standard deviation of the residuals after calibration [-].
    stated : float
        Standard deviation that the calibration states for them [-].
    """

    output: str
    speed_from: float
    speed_to: float
    points: int
    before: float
    after: float
    scatter: float
    stated: float


@dataclass(frozen=True)
class Calibrated:
    """A type's model as calibrated.

    Parameters
    ----------
    type_id : str
        Type it belongs to; empty fits any [-].
    mean : array, shape (COMMON,)
        Common coefficients, see `terms` [-].
    covariance : array, shape (COMMON, COMMON)
        Of their errors [-].
    multipliers : array, shape (len(SPREADS),)
        Of what scatters [-].
    line : array, shape (LINE, LINE)
        Covariance of an engine's own line [-].
    runs, engines : int
        What it rests on; 0 when it is the data sheet alone [-].
    speed_range, warmth_range : tuple of float
        Smallest and largest ln(corrected speed) and ln(theta) seen [-].
    errors : tuple of ModelError
        Where the model is wrong and by how much, cross-validated [-].
    families : Families or None
        Families of engines found; one when None [-].
    twins : mapping
        How readings that ought to agree do, see `redundancy` [-].
    """

    type_id: str
    mean: FloatArray
    covariance: FloatArray
    multipliers: FloatArray
    line: FloatArray
    runs: int = 0
    engines: int = 0
    speed_range: tuple[float, float] = (0.0, 0.0)
    warmth_range: tuple[float, float] = (0.0, 0.0)
    errors: tuple[ModelError, ...] = field(default=())
    families: Families | None = None
    twins: Mapping[str, Twin] = field(default_factory=usual_twins)

    @property
    def build(self) -> dict[str, float]:
        """Build scatter: standard deviation of each condition factor [unit of the factor]."""
        spread = self.multipliers[: len(FACTORS)] * BUILD * UNIT
        return dict(zip(FACTORS, spread.tolist(), strict=True))

    @property
    def caution(self) -> float:
        """Factor on variances [-]: what scatters is known from so many engines.

        Of few, one standard error of a variance more; of more, twice what the distribution of the next one of
        a normal sample has beyond the sample's (Student's t: (n - 1) / (n - 3), about 1 + 2 / n).
        """
        n = self.engines
        return 1.0 + min(float(np.sqrt(2.0 / n)), 4.0 / n) if n else 1.0

    def factors(self, speed: FloatArray, warmth: FloatArray) -> FloatArray:
        """Condition factors of the average engine of good build along its operating line.

        Parameters
        ----------
        speed, warmth : array, shape (P,)
            ln of relative corrected speed and of theta [-].

        Returns
        -------
        array, shape (F, P)
            In the order of `FACTORS` [-].
        """
        return factors_along(self.mean, speed, warmth)

    def to_dict(self) -> dict[str, Any]:
        """Plain lists and numbers, ready for JSON [-]."""
        return {
            "format": FORMAT,
            "type_id": self.type_id,
            "factors": list(FACTORS),
            "outputs": list(NAMES),
            "spreads": list(SPREADS),
            "runs": self.runs,
            "engines": self.engines,
            "speed_range": list(self.speed_range),
            "warmth_range": list(self.warmth_range),
            "build": self.build,
            "errors": [vars(e).copy() for e in self.errors],
            "multipliers": self.multipliers.tolist(),
            "line": self.line.tolist(),
            "families": None
            if self.families is None
            else {k: v.tolist() for k, v in vars(self.families).items()},
            "twins": {name: [t.mean, t.deviation] for name, t in self.twins.items()},
            "mean": self.mean.tolist(),
            "covariance": self.covariance.tolist(),
        }


def data_sheet_only(type_id: str = "") -> Calibrated:
    """The calibration before any run was seen: the data sheet's model with wide stated uncertainty.

    Parameters
    ----------
    type_id : str
        Type it belongs to [-].

    Returns
    -------
    Calibrated
        Prior means and spreads [-].
    """
    line = np.diag((ENGINE_LINE * CHANNEL[:, 1 : 1 + len(LINE_TERMS)].ravel()) ** 2)
    return Calibrated(type_id, np.zeros(COMMON), np.diag(PRIOR**2), np.ones(len(SPREADS)), line)


def calibrated_from_dict(given: Any) -> Calibrated:
    """Read what `Calibrated.to_dict` wrote.

    Parameters
    ----------
    given : dict
        Parsed JSON [-].

    Returns
    -------
    Calibrated
        The calibration [-].

    Raises
    ------
    InputError
        When it is no calibration of this version.
    """
    try:
        if not isinstance(given, dict) or given.get("format") != FORMAT:
            raise ValueError("it has another format")
        if (given["factors"], given["outputs"], given["spreads"]) != (
            list(FACTORS),
            list(NAMES),
            list(SPREADS),
        ):
            raise ValueError("it has other factors or outputs")
        return Calibrated(
            str(given["type_id"]),
            _array(given["mean"], (COMMON,)),
            _array(given["covariance"], (COMMON, COMMON)),
            _array(given["multipliers"], (len(SPREADS),)),
            _array(given["line"], (LINE, LINE)),
            int(given["runs"]),
            int(given["engines"]),
            _pair(given["speed_range"]),
            _pair(given["warmth_range"]),
            tuple(ModelError(**e) for e in given["errors"]),
            _families(given.get("families")),
            {str(k): Twin(*_pair(v)) for k, v in given["twins"].items()},
        )
    except (LookupError, TypeError, ValueError, ArithmeticError) as error:
        told = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise InputError(
            f"this is not a calibration of this version ({told[:200]}).",
            mend="Calibrate again from recorded runs with `spoolwright calibrate`.",
        ) from error


def _plain(families: Families) -> dict[str, Any]:
    return {name: values.tolist() for name, values in vars(families).items()}


def _families(given: Any) -> Families | None:
    if given is None:
        return None
    shares = np.array(given["shares"], dtype=float)
    return Families(
        _array(given["shares"], shares.shape),
        _array(given["lines"], (shares.size, LINE)),
        _array(given["within"], (LINE, LINE)),
    )


def _array(given: Any, shape: tuple[int, ...]) -> FloatArray:
    out = np.array(given, dtype=float)
    if out.shape != shape or not np.all(np.isfinite(out)):
        raise ValueError("a table has another size, or holds a number that is not finite")
    return out


def _pair(given: Any) -> tuple[float, float]:
    low, high = (float(x) for x in given)
    return low, high
