"""A forecast as it was asked for, what it rests on, and all that was computed for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.forecast.build import Build
from spoolwright.core.diagnosis.forecast.outlook import Outlook
from spoolwright.core.diagnosis.forecast.published import published_rules
from spoolwright.core.diagnosis.forecast.rules import RuleBook
from spoolwright.core.reduction.doubt.priors import BUILD
from spoolwright.crafts.testcell.forecast.change import Change
from spoolwright.crafts.testcell.forecast.found import Found
from spoolwright.crafts.testcell.forecast.run_to_come import LimitAsked
from spoolwright.crafts.testcell.forecast.sheet import BuildSheet, CostTable
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.errors import InputError


@dataclass(frozen=True)
class ForecastBasis:
    """What a forecast rests on.

    `model` is the type's engine model, calibrated where a baseline was given; `scatter` the build scatter of
    each condition factor; the two texts say where they come from, `rests_on` names the builds learnt from,
    `average` is the change of ln(value) of the average good build by rating and quantity; empty without a
    baseline.
    """

    reduction: ReductionBasis
    model: EngineModel
    scatter: dict[str, float]
    rules: RuleBook
    model_basis: str
    rules_basis: str
    rests_on: tuple[str, ...] = ()
    average: Mapping[tuple[str, str], float] = field(default_factory=dict)


def data_sheet_basis(reduction: ReductionBasis) -> ForecastBasis:
    """What a forecast rests on before the shop's own history says anything."""
    return ForecastBasis(
        reduction=reduction,
        model=reduction.model,
        scatter=dict(BUILD),
        rules=published_rules(),
        model_basis="Model: the data sheet's engine; build scatter as assembly tolerances usually leave it.",
        rules_basis="Rules: published and stated coefficients; no build of this shop compared yet.",
    )


def with_average_build(
    basis: ForecastBasis, average: Mapping[tuple[str, str], float], scatter: Mapping[str, float], told: str
) -> ForecastBasis:
    """The basis with the average build and the build scatter that a calibration found."""
    return replace(basis, average=dict(average), scatter=dict(scatter), model_basis=told)


def with_rules(basis: ForecastBasis, rules: RuleBook, rests_on: Sequence[str]) -> ForecastBasis:
    """The basis with rules that the shop's own builds taught.

    Raises
    ------
    InputError
        The rules were learnt for another type.
    """
    known = basis.reduction.type_file.type.id
    if rules.type_id not in ("", known):
        raise InputError(
            f"the rules were learnt for type '{rules.type_id}', not '{known}'.",
            mend="Give the rules file of this type, or none.",
        )
    told = f"Rules: coefficients and build scatter as {rules.builds} build(s) of this shop taught them."
    return replace(basis, rules=rules, rules_basis=told, rests_on=tuple(rests_on))


@dataclass(frozen=True)
class Asked:
    """A forecast as it was asked for."""

    sheet: BuildSheet
    sheet_file: str
    sheet_sha256: str
    costs: CostTable | None = None
    guard_times: float = 0.0
    draws: int = 4096
    seed: int = 1


@dataclass(frozen=True)
class Tried:
    """A change or a finding left out, with its outlook."""

    change: Change
    outlook: Outlook
    cost: tuple[float | None, float | None, str] = (None, None, "")


@dataclass(frozen=True)
class Computed:
    """Everything computed, ready to be told."""

    asked: Asked
    basis: ForecastBasis
    limits: list[LimitAsked]
    found: list[Found]
    build: Build
    outlook: Outlook
    compared: Outlook
    without: list[tuple[Found, Outlook]]
    tried: list[Tried]
    shares: list[tuple[str, float]] = field(default_factory=list)

    @property
    def governing(self) -> int:
        """Index of the limit least sure to be passed."""
        return int(np.argmin(self.outlook.passing))
