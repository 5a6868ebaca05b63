"""Collects how every figure came to be while an assessment is computed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from spoolwright import __version__
from spoolwright.crafts.testcell.model import Derivation, Figure, Input
from spoolwright.units import INNER_UNIT

_NAMED = 8
"""More causes of uncertainty than this are summed up."""


@dataclass(frozen=True)
class Shown:
    """How values of a quantity are shown: dimension, main unit, second unit."""

    dimension: str
    unit: str
    also: str = ""


@dataclass
class Ledger:
    """Derivations in order of computation. Equal derivations are kept once."""

    derivations: dict[str, Derivation] = field(default_factory=dict)
    _known: dict[tuple[object, ...], str] = field(default_factory=dict)

    def enter(
        self,
        title: str,
        calculation: str,
        formula: str,
        inputs: Sequence[Input],
        reference: str,
    ) -> str:
        """Keep a derivation and give its id."""
        key = (title, calculation, formula, tuple(inputs), reference)
        if key not in self._known:
            id = f"d{len(self.derivations) + 1}"
            self._known[key] = id
            self.derivations[id] = Derivation(
                id=id,
                title=title,
                calculation=calculation,
                version=__version__,
                formula=formula,
                inputs=tuple(inputs),
                reference=reference,
            )
        return self._known[key]


def share_inputs(shares: Mapping[str, float], unit: str, origin: str = "budget") -> list[Input]:
    """Standard uncertainties by cause, the largest named, the rest in one: their squares add to the whole."""
    ranked = sorted(shares.items(), key=lambda item: -item[1])
    named, rest = ranked[:_NAMED], ranked[_NAMED:]
    if rest:
        named.append((f"{len(rest)} others together", math.hypot(*(u for _, u in rest))))
    return [
        Input(name=f"uncertainty share: {cause}", value=u, unit=unit, origin=origin) for cause, u in named
    ]


def figure(
    value: float, shown: Shown, how: str, uncertainty: float | None = None, *, difference: bool = False
) -> Figure:
    """A figure in the inner unit of its dimension that points to its derivation.

    An uncertainty without a bound is none that can be stated.
    """
    if uncertainty is not None and not math.isfinite(uncertainty):
        uncertainty = None
    return Figure(
        value=float(value),
        unit=INNER_UNIT[shown.dimension],
        shown_in=shown.unit,
        also_in=shown.also,
        dimension=shown.dimension,
        difference=difference,
        standard_uncertainty=None if uncertainty is None else float(uncertainty),
        how=how,
    )
