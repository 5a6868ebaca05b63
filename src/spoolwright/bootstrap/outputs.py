"""Where results may be written."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from spoolwright.errors import OutputError


def check_outputs(outputs: Sequence[Path], inputs: Sequence[Path]) -> None:
    """Refuse, before any work, to write where nothing can be or where something recorded would be lost.

    Raises
    ------
    OutputError
        An output is a folder, one of the inputs, named twice, or in a place where no file can be made.
    """
    taken = {resolved(p) for p in inputs}
    for path in outputs:
        place = resolved(path)
        if place in taken:
            raise OutputError(
                "it would overwrite an input, or another result.",
                where=str(path),
                mend="Choose another name.",
            )
        if os.path.isdir(path):
            raise OutputError("it is a folder.", where=str(path), mend="Give the name of a file in it.")
        if os.path.exists(path) and not os.path.isfile(path):
            told = "it is a device or a pipe; writing the file would put one in its place."
            raise OutputError(told, where=str(path), mend="Give the name of a file.")
        folder = next(p for p in place.parents if os.path.exists(p))
        if not os.path.isdir(folder) or not os.access(folder, os.W_OK):
            told = f"no file can be written in '{folder}'."
            raise OutputError(told, where=str(path), mend="Choose another place, or see to the rights.")
        taken.add(place)


def resolved(path: Path) -> Path:
    """Where a path leads, links followed as far as they go."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):  # a link in a circle, a NUL
        return Path(os.path.abspath(str(path).replace("\0", "?")))
