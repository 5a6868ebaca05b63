"""A type made ready for diagnosing one recording after the other."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.progress import silent
from spoolwright.errors import SpoolwrightError

if TYPE_CHECKING:
    from spoolwright.bootstrap.batch.material import Material
    from spoolwright.core.diagnosis.calibrated import Calibrated
    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
    from spoolwright.crafts.testcell.service import TypeInForce
    from spoolwright.reports.batch_rows import Hashes, Row
    from spoolwright.sources.places import Placed
    from spoolwright.sources.typefile import LoadedType


@dataclass(frozen=True)
class Ready:
    """Type, model and calibration, loaded once."""

    loaded: LoadedType
    kind: TypeInForce
    calibrated: Calibrated
    channel_map: Path | None

    def diagnosis(self, path: Path, sheet: Path) -> Diagnosis:
        """The diagnosis of one recording by itself, as `spoolwright diagnose` gives it."""
        from spoolwright.crafts.testcell.diagnosis.service import diagnose

        (run,) = visits.visit_runs([path], None, self.channel_map, self.loaded, silent)
        return diagnose([run], self.kind, self.calibrated, visits.doubts(self.kind))

    def row(self, one: Placed, path: Path, sheet: Path, hashes: Hashes) -> Row:
        """The row of one recording; a bad file, sheet or run stands in it as a sentence."""
        from spoolwright.reports.batch_rows import failed_row, row_of
        from spoolwright.sources.places import as_placed

        try:
            return row_of(self.diagnosis(path, sheet), one.name, hashes)
        except SpoolwrightError as error:
            return failed_row(one.name, hashes, as_placed(str(error), one.place, path))


def ready_for(material: Material) -> Ready:
    """Make a type ready from what a batch carries.

    Raises
    ------
    SpoolwrightError
        Type file, baseline or channel map is not what it should be, or the baseline is of another type.
    """
    from spoolwright.core.diagnosis.calibrated import data_sheet_only
    from spoolwright.sources.typefile import load_type

    with tempfile.TemporaryDirectory(prefix="spoolwright-") as name:
        folder = Path(name)
        loaded = load_type(material.type_file.written(folder))
        kind = visits.in_force(loaded, None)
        return Ready(loaded, kind, data_sheet_only(loaded.type_file.type.id), None)
