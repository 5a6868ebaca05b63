"""A type made ready for diagnosing one recording after the other."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap import visits
from spoolwright.bootstrap.diagnosing import DiagnosisFiles, prepare
from spoolwright.errors import SpoolwrightError

if TYPE_CHECKING:
    from spoolwright.bootstrap.batch.material import Material
    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
    from spoolwright.crafts.testcell.diagnosis.prepared import Prepared
    from spoolwright.crafts.testcell.service import Doubts, VisitRun
    from spoolwright.reports.batch_rows import Hashes, Row
    from spoolwright.sources.channelmap import ChannelMap
    from spoolwright.sources.places import Placed


@dataclass(frozen=True)
class Ready:
    """Type, model and calibration, loaded once."""

    prepared: Prepared
    doubts: Doubts
    names: ChannelMap | None

    def diagnosis(self, path: Path) -> Diagnosis:
        """The diagnosis of one recording by itself, as `spoolwright diagnose` gives it."""
        from spoolwright.crafts.testcell.diagnosis.service import diagnosed

        return diagnosed([self._read(path)], self.prepared, self.doubts)

    def _read(self, path: Path) -> VisitRun:
        from spoolwright.crafts.testcell.service import VisitRun
        from spoolwright.sources.reading import read_recording
        from spoolwright.sources.runsheet import read_run_sheet

        known = self.prepared.kind.type_file
        ((path, sheet),) = visits.with_sheets([path], None)
        return VisitRun(read_recording(path, known.channel, self.names), read_run_sheet(sheet, known))

    def row(self, one: Placed, path: Path, hashes: Hashes) -> Row:
        """The row of one recording; a bad file, sheet or run stands in it as a sentence."""
        from spoolwright.reports.batch_rows import failed_row, row_of
        from spoolwright.sources.places import as_placed

        try:
            return row_of(self.diagnosis(path), one.name, hashes)
        except SpoolwrightError as error:
            return failed_row(one.name, hashes, as_placed(str(error), one.place, path))


def ready_for(material: Material) -> Ready:
    """Make a type ready from what a batch carries.

    Raises
    ------
    SpoolwrightError
        A file is not what it should be, or the baseline is of another type.
    """
    with tempfile.TemporaryDirectory(prefix="spoolwright-") as folder:
        paths = material.written(Path(folder))
        type_path, channel_map = paths.pop("type_file"), paths.pop("channel_map", None)
        return ready(type_path, channel_map, DiagnosisFiles(**paths))


def ready(type_path: Path, channel_map: Path | None, files: DiagnosisFiles) -> Ready:
    """Make a type ready from the files themselves.

    Raises
    ------
    SpoolwrightError
        A file is not what it should be, or the baseline is of another type.
    """
    prepared = prepare(type_path, files.baseline, files)
    return Ready(prepared, visits.doubts(prepared.kind), visits.channel_names(channel_map))
