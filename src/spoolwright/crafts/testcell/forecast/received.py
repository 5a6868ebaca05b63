"""What an as-received run says of the modules that were left as they were."""

from __future__ import annotations

from typing import Final

import numpy as np

from spoolwright.core.diagnosis.forecast.build import FACTORS, Received
from spoolwright.core.diagnosis.forecast.learning import OWN
from spoolwright.core.diagnosis.forecast.rated import LEVELS, rated_slopes
from spoolwright.core.numerics import FloatArray
from spoolwright.core.reduction.doubt.priors import WORN
from spoolwright.crafts.testcell.forecast.case import ForecastBasis
from spoolwright.crafts.testcell.forecast.run_to_come import covariance, expected_readings, rated
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.errors import InputError
from spoolwright.units import difference_to_inner, to_inner

SERVED: Final = 3.0
"""A module that served and was found fit to stay scatters so many times as one of good build [-]. `[M]`."""
_STEPS: Final = 3


def kept_factors(sheet: BuildSheet, basis: ForecastBasis) -> tuple[str, ...]:
    """Condition factors of the modules that were left as they were.

    Raises
    ------
    InputError
        The kept modules own no factor of the engine model.
    """
    assert sheet.as_received is not None
    modules = {m.id: m.factors for m in basis.reduction.type_file.module}
    kept = tuple(f for name in sheet.as_received.kept for f in modules[name] if f in FACTORS)
    if not kept:
        raise InputError(
            "the kept modules own no condition factor of the engine model.",
            mend="Name modules whose [[module]] in the type file lists factors.",
            where="as_received.kept",
        )
    return kept


def received_by_readings(sheet: BuildSheet, basis: ForecastBasis) -> Received:
    """Condition of the kept modules from what the as-received run read.

    Worn modules that were opened since and modules that were kept explain the readings together, by the
    normal update; only the kept modules' part is handed on.
    """
    asked = sheet.as_received
    assert asked is not None
    kept = kept_factors(sheet, basis)
    expected = expected_readings(basis.reduction, basis.model, sheet.cell)
    type_file = basis.reduction.type_file
    for i, r in enumerate(asked.reading):
        if (r.rating, r.quantity) not in expected:
            raise InputError(
                f"rating '{r.rating}' has no {r.quantity} to compare with.",
                mend="Give readings at the performance ratings.",
                where=f"as_received.reading[{i + 1}]",
            )
    points = [
        rated(basis.reduction, basis.model, rating_named(type_file, r.rating), r.quantity, basis.average)
        for r in asked.reading
    ]
    value = np.array([to_inner(r.value, r.unit) for r in asked.reading])
    shared = covariance([expected[r.rating, r.quantity] for r in asked.reading])
    sd = np.sqrt(np.diag(shared))
    own = np.array(
        [
            difference_to_inner(r.standard_uncertainty.value, r.standard_uncertainty.unit)
            for r in asked.reading
        ]
    )
    relative = shared / np.outer(sd, sd) * np.outer(own / value, own / value)
    noise = relative + OWN**2 * np.eye(len(value))
    spread = np.array([SERVED * basis.scatter.get(f, 0.0) if f in kept else WORN[f] for f in FACTORS])
    levels = basis.rules.coefficients([(name, 0) for name in LEVELS]).covariance
    loadings = np.array([p.levels for p in points])
    noise = noise + loadings @ levels @ loadings.T
    mean = np.zeros(len(FACTORS))
    after = np.diag(spread**2)
    for _ in range(_STEPS):
        found, slope = rated_slopes(basis.model, points, mean[:, None])
        d = slope[:, :, 0]
        mean, after = _updated(d, np.log(value / found[:, 0]) + d @ mean, spread, noise)
    at = [FACTORS.index(f) for f in kept]
    return Received(kept, mean[at], after[np.ix_(at, at)])


def _updated(
    d: FloatArray, residual: FloatArray, spread: FloatArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Normal update of factors with mean 0 by readings d @ factors + noise."""
    prior = np.diag(spread**2)
    gain = np.linalg.solve(d @ prior @ d.T + noise, d @ prior).T
    after = prior - gain @ d @ prior
    return gain @ residual, 0.5 * (after + after.T)
