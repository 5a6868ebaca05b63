"""Joins the bench run of an engine with the checks made on the aircraft."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.calibrating import read_baseline
from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.core.reduction.model_method import ModelMethod
    from spoolwright.crafts.installation.calc import Bench
    from spoolwright.crafts.testcell.performance.basis import ReductionBasis


def bench_of(method: ModelMethod, basis: ReductionBasis, rating_id: str) -> Bench:
    """A reduced run as checks on the aircraft are compared with it."""
    from spoolwright.constants import STANDARD_PRESSURE
    from spoolwright.crafts.installation.calc import Bench
    from spoolwright.crafts.testcell.performance.basis import inner
    from spoolwright.crafts.typefile.lookup import rating_named

    rating, reference = rating_named(basis.type_file, rating_id), basis.reference
    return Bench(
        method=method,
        model=basis.model,
        pressure=float(reference.pressure) if reference else STANDARD_PRESSURE,
        water_air_ratio=float(reference.water_air_ratio) if reference else 0.0,
        power=inner(rating.power),
        gas_temperature=inner(rating.measured_gas_temperature),
        speed_ratio=basis.speed_ratio,
    )


def bench_from_files(
    runs: Sequence[Path],
    type_path: Path,
    rating_id: str,
    *,
    sheets: Sequence[Path] | None = None,
    baseline: Path | None = None,
) -> Bench:
    """The bench from recorded runs.

    Raises
    ------
    SpoolwrightError
        A file cannot be read, or the run holds nothing to compare with.
    """
    from spoolwright.bootstrap.progress import silent
    from spoolwright.crafts.testcell.visit.bench import bench_reduction
    from spoolwright.sources.typefile import load_type

    loaded = load_type(type_path)
    kind = visits.in_force(loaded, None if baseline is None else read_baseline(baseline))
    read = list(visits.visit_runs(runs, sheets, None, loaded, silent))
    reduction = bench_reduction(read, kind, visits.doubts(kind))
    if reduction.model is None:
        raise InputError(reduction.model_untold)
    return bench_of(reduction.model, kind.basis, rating_id)
