"""Joins the bench run of an engine with the checks made on the aircraft."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.calibrating import read_baseline
from spoolwright.bootstrap.progress import Tell, part, silent

if TYPE_CHECKING:
    from spoolwright.core.reduction.model_method import ModelMethod
    from spoolwright.crafts.installation.calc import Bench
    from spoolwright.crafts.installation.compare import Subject
    from spoolwright.crafts.installation.model import InstallationResult
    from spoolwright.crafts.testcell.performance.basis import ReductionBasis
    from spoolwright.crafts.typefile.shop.model import ShopPart


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


def subject_from(
    runs: Sequence[Path],
    type_path: Path,
    shop: ShopPart,
    *,
    sheets: Sequence[Path] | None = None,
    baseline: Path | None = None,
    progress: Tell = silent,
) -> Subject:
    """The engine as it was on the bench, and the rules of the check on the aircraft.

    Raises
    ------
    SpoolwrightError
        A file cannot be read, the run holds nothing to compare with, or the shop part has no power check.
    """
    from spoolwright.crafts.installation.airframe import airframe
    from spoolwright.crafts.installation.compare import Subject
    from spoolwright.crafts.testcell.visit.bench import bench_reduction
    from spoolwright.sources.typefile import load_type

    airframe(shop.power_check)
    assert shop.power_check is not None
    loaded = load_type(type_path)
    kind = visits.in_force(loaded, None if baseline is None else read_baseline(baseline))
    read = list(visits.visit_runs(runs, sheets, None, loaded, part(progress, 0.1, 0.7)))
    reduction = bench_reduction(read, kind, visits.doubts(kind))
    assert reduction.model is not None
    run = reduction.points[0].run
    serial = next(r.sheet.engine.serial for r in read if r.sheet.run == run)
    bench = bench_of(reduction.model, kind.basis, shop.power_check.rating)
    return Subject(serial, run, loaded.type_file, shop.power_check, bench)


def check_installation(
    checks: Path,
    runs: Sequence[Path],
    type_path: Path,
    *,
    sheets: Sequence[Path] | None = None,
    baseline: Path | None = None,
    progress: Tell = silent,
) -> InstallationResult:
    """What an operator's checks say against the bench run; the shop part lies beside the type file.

    Raises
    ------
    SpoolwrightError
        A file cannot be read as what it should be; the text says which, where and how to mend it.
    """
    from spoolwright.crafts.installation.compare import compare_checks
    from spoolwright.sources.installation_checks import read_checks
    from spoolwright.sources.shop_part import load_shop_part, shop_folder
    from spoolwright.sources.typefile import load_type

    progress("reading checks", 0.0)
    type_file = load_type(type_path).type_file
    shop = load_shop_part(shop_folder(type_path), type_file).shop
    read = read_checks(checks, type_file)
    subject = subject_from(
        runs, type_path, shop, sheets=sheets, baseline=baseline, progress=part(progress, 0.1, 0.8)
    )
    progress("comparing", 0.8)
    return compare_checks(read.readings, subject)
