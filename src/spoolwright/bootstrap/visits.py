"""Recorded runs with their run sheets, and the type in force, made ready for the use cases."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap.progress import Tell
from spoolwright.errors import InputError

if TYPE_CHECKING:
    from spoolwright.core.reduction.baseline import ModelBaseline
    from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun
    from spoolwright.sources.channelmap import ChannelMap
    from spoolwright.sources.typefile import LoadedType


def doubts(kind: TypeInForce) -> Doubts:
    """The doubts about a run's data, with the engine model that is ready already."""
    from spoolwright.crafts.testcell.doubt.find import find

    return lambda recording, sheet, type_file: find(recording, sheet, type_file, kind.basis.model)


def in_force(loaded: LoadedType, baseline: ModelBaseline | None) -> TypeInForce:
    from spoolwright.crafts.testcell.performance.basis import reduction_basis
    from spoolwright.crafts.testcell.service import TypeInForce

    basis = reduction_basis(loaded.type_file, loaded.engine, baseline)
    filled = tuple(f"{f.path} = {f.value} ({f.rule})" for f in loaded.filled)
    return TypeInForce(basis, loaded.sha256, filled)


def visit_runs(
    runs: Sequence[Path],
    sheets: Sequence[Path] | None,
    channel_map: Path | None,
    loaded: LoadedType,
    progress: Tell,
) -> Iterator[VisitRun]:
    """The runs with their sheets, one after the other."""
    from spoolwright.crafts.testcell.service import VisitRun
    from spoolwright.sources.reading import read_recording
    from spoolwright.sources.runsheet import read_run_sheet

    names = channel_names(channel_map)
    for i, (path, sheet_path) in enumerate(with_sheets(runs, sheets)):
        progress(path.name, i / len(runs))
        recording = read_recording(path, loaded.type_file.channel, names)
        yield VisitRun(recording, read_run_sheet(sheet_path, loaded.type_file))


def with_sheets(runs: Sequence[Path], sheets: Sequence[Path] | None) -> Iterator[tuple[Path, Path]]:
    """Each recording with its run sheet, as named or beside it.

    Raises
    ------
    InputError
        There are not as many sheets as recordings, or none lies beside a recording.
    """
    from spoolwright.sources.runsheet import sheet_beside

    if sheets and len(sheets) != len(runs):
        raise InputError(
            f"{len(sheets)} run sheet(s) are named for {len(runs)} recording(s).",
            mend="Name one --sheet per RUN, in the same order, or none to use NAME.run.toml beside each.",
        )
    for i, path in enumerate(runs):
        sheet_path = sheets[i] if sheets else sheet_beside(path)
        if not sheets and os.path.isfile(path) and not os.path.isfile(sheet_path):
            raise InputError(
                f"there is no run sheet '{sheet_path.name}' beside it.",
                where=str(path),
                mend="Begin one with `spoolwright sheet new`, or name it with --sheet.",
            )
        yield path, sheet_path


def channel_names(channel_map: Path | None) -> ChannelMap | None:
    from spoolwright.sources.channelmap import read_channel_map

    return None if channel_map is None else read_channel_map(channel_map)
