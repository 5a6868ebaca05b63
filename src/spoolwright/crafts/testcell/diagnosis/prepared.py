"""A type made ready for diagnosing: model, baseline, prior, the shop's own tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.diagnosing import Weigher, Weighing
from spoolwright.core.diagnosis.weighing import PriorShares
from spoolwright.crafts.testcell.diagnosis.baseline import Baseline, check_type
from spoolwright.crafts.testcell.diagnosis.check_table import CheckTable
from spoolwright.crafts.testcell.diagnosis.margins_after import MarginTeller
from spoolwright.crafts.testcell.diagnosis.mechanical import Seen
from spoolwright.crafts.testcell.diagnosis.observe import diagnosis_roles
from spoolwright.crafts.testcell.diagnosis.reopening import ReopeningTable
from spoolwright.crafts.testcell.diagnosis.visit_read import VisitRead
from spoolwright.crafts.testcell.forecast.run_to_come import limits_asked
from spoolwright.crafts.testcell.service import TypeInForce
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Tables:
    """The shop's own tables: prior shares and weights of causes, checks, hours and money."""

    shares: PriorShares = field(default_factory=PriorShares)
    weights: Mapping[str, float] = field(default_factory=dict)
    priors_file: str = ""
    checks: CheckTable | None = None
    costs: ReopeningTable | None = None


@dataclass(frozen=True)
class Weighed:
    """The runs of a visit, weighed: gas path, other readings, mechanical faults, nothing wrong."""

    read: VisitRead
    weighing: Weighing
    seen: Mapping[str, Seen]
    mechanical: Mapping[str, float]
    healthy: float


class Prepared:
    """A type made ready.

    Raises
    ------
    InputError
        The baseline is of another type, or a weight is of a cause that there is none of.
    """

    def __init__(
        self, kind: TypeInForce, baseline: Baseline, tables: Tables | None = None, baseline_sha256: str = ""
    ) -> None:
        check_type(baseline, kind.type_file)
        self.kind, self.baseline = kind, baseline
        self.tables, self.baseline_sha256 = tables or Tables(), baseline_sha256
        names = {c.id: c.name for c in kind.type_file.channel}
        read = {c: names[c] for c in diagnosis_roles(kind.basis).values()}
        self.weigher = Weigher(kind.basis.model, baseline.calibrated, read, self.tables.shares)
        self.weigher.modules = _weighted(self.weigher.modules, self.tables.weights)
        self._margins: dict[str, MarginTeller | None] = {}

    def margin_teller(self, limit_set: str) -> MarginTeller | None:
        """Margins at the ratings of a limit set; None where it has no limit there."""
        if limit_set not in self._margins:
            try:
                limits = limits_asked(self.kind.type_file, limit_set)
            except InputError:
                self._margins[limit_set] = None
            else:
                teller = MarginTeller(self.kind.basis, self.baseline.calibrated, limits)
                self._margins[limit_set] = teller
        return self._margins[limit_set]


def _weighted(causes: tuple[Cause, ...], weights: Mapping[str, float]) -> tuple[Cause, ...]:
    known = {c.id for c in causes}
    for name in weights:
        if name not in known:
            raise InputError(f"cause '{name}' is not known.", mend=f"Use one of: {', '.join(sorted(known))}.")
    return tuple(replace(c, weight=weights.get(c.id, c.weight)) for c in causes)
