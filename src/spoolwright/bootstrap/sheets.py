"""Run sheets: begun from a recording, read and checked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap.outputs import check_outputs
from spoolwright.bootstrap.visits import channel_names
from spoolwright.errors import OutputError

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.run_sheet import RunSheet
    from spoolwright.crafts.typefile.model import TypeFile


def begin_sheet(
    run: Path, type_path: Path, *, channel_map: Path | None = None, out: Path | None = None
) -> Path:
    """Begin the run sheet of a recording with what its header tells; gives its path.

    Raises
    ------
    SpoolwrightError
        A file cannot be read, the sheet cannot be written, or there is one already.
    """
    from spoolwright.crafts.testcell.run.blank_sheet import blank_sheet
    from spoolwright.sources.reading import read_recording
    from spoolwright.sources.runsheet import sheet_beside
    from spoolwright.sources.typefile import load_type

    path = out or sheet_beside(run)
    check_outputs([path], [run, type_path])
    known = load_type(type_path).type_file
    text = blank_sheet(read_recording(run, known.channel, channel_names(channel_map)), known)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise OutputError(
            "there is a run sheet already.",
            where=str(path),
            mend="Go on with it, or name another (--out).",
        ) from error
    except OSError as error:
        raise OutputError(
            f"it cannot be written: {error.strerror}.", where=str(path), mend="Choose another place."
        ) from error
    return path


def read_sheet(path: Path, type_path: Path) -> tuple[RunSheet, TypeFile]:
    """A run sheet that holds no mistake, and the type it was checked against."""
    from spoolwright.sources.runsheet import read_run_sheet
    from spoolwright.sources.typefile import load_type

    known = load_type(type_path).type_file
    return read_run_sheet(path, known), known
