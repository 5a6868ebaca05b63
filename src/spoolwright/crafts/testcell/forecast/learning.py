"""The use case: learn the rules' coefficients from builds that were run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.core.diagnosis.forecast.build import Build
from spoolwright.core.diagnosis.forecast.learning import Learnt, PastBuild, learn
from spoolwright.core.reduction.estimate import Estimate
from spoolwright.crafts.testcell.forecast.case import ForecastBasis
from spoolwright.crafts.testcell.forecast.found import found_of
from spoolwright.crafts.testcell.forecast.run_to_come import covariance, expected_readings, rated
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Reading:
    """A rated quantity as a run showed it [inner unit]."""

    quantity: str
    rating: str
    value: float
    uncertainty: float


@dataclass(frozen=True)
class Ran:
    """A build that was run; `sheet` is None for an accepted run without a build sheet."""

    name: str
    sheet: BuildSheet | None
    cell: str
    readings: tuple[Reading, ...]


def learn_from(
    basis: ForecastBasis, ran: Sequence[Ran], tell: Callable[[str, float], None] = lambda _, __: None
) -> Learnt:
    """Update the rules from builds that were run.

    Raises
    ------
    InputError
        A build stands in the list twice, has no reading, or one the type does not know.
    """
    names = [r.name for r in ran]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"build {name} stands in the history twice.", mend="Keep it once.")
        if name in basis.rests_on:
            raise InputError(
                f"the rules have learnt from build {name} before.",
                mend="Leave it out of the history, or begin again without --rules.",
            )
    cells = {r.cell: expected_readings(basis.reduction, basis.model, r.cell) for r in ran}
    past = []
    for i, r in enumerate(ran):
        tell("reading builds", 0.5 * i / len(ran))
        past.append(_past(basis, r, cells[r.cell]))
    tell("learning", 0.6)
    found = learn(basis.model, basis.rules, past)
    return replace(found, after=replace(found.after, type_id=basis.reduction.type_file.type.id))


def _past(basis: ForecastBasis, r: Ran, expected: dict[tuple[str, str], Estimate]) -> PastBuild:
    if not r.readings:
        raise InputError(f"build {r.name} has no reading of a rated quantity.", mend="Name its result file.")
    unknown = [x for x in r.readings if (x.rating, x.quantity) not in expected]
    if unknown:
        x = unknown[0]
        raise InputError(
            f"build {r.name}: the type has no performance rating '{x.rating}' with {x.quantity}.",
            mend="Correct the rating, or leave the reading out.",
        )
    # the curves join the ratings: readings at others add little, and rest on the model's slope
    main = basis.reduction.type_file.data_sheet.rating
    readings = [x for x in r.readings if x.rating == main] or list(r.readings)
    findings = () if r.sheet is None else tuple(f.finding for f in found_of(r.sheet, basis.model))
    ratings = {x.id: x for x in basis.reduction.type_file.rating}
    asked = tuple(
        rated(basis.reduction, basis.model, ratings[x.rating], x.quantity, basis.average) for x in readings
    )
    # a result states each uncertainty; what the readings share is as the cell's budget has it
    shared = covariance([expected[x.rating, x.quantity] for x in readings])
    sd = np.sqrt(np.diag(shared))
    own = np.array([x.uncertainty for x in readings])
    return PastBuild(
        r.name,
        Build(findings, basis.scatter),
        asked,
        np.array([x.value for x in readings]),
        shared / np.outer(sd, sd) * np.outer(own, own),
    )
