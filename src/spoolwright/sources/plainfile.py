"""Small files that people hand over, read whole: bounded, and never waiting for a pipe that nobody writes."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from spoolwright.errors import InputError

LARGEST = 5_000_000
"""Bytes. A hand-written file is a hundredth of it."""


def read_whole(path: Path, noun: str, most: int = LARGEST) -> bytes:
    """The bytes of a small plain file.

    Parameters
    ----------
    path : where it is
    noun : what it should be, for the message: "run sheet"
    most : largest size in bytes

    Raises
    ------
    InputError
        It cannot be opened, is no plain file, or is too large.
    """
    try:
        # a pipe is refused by its kind; without O_NONBLOCK opening it would wait for its writer
        with open(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)), "rb") as file:
            _check_plain(file.fileno(), path, noun)
            data = file.read(most + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or "the path is not valid"
        raise InputError(
            f"the {noun} cannot be read: {reason}.", where=str(path), mend="Check the path and rights."
        ) from error
    if len(data) > most:
        what = f"the file is larger than {most / 1e6:g} MB; no {noun} is."
        raise InputError(what, where=str(path), mend=f"Give a {noun}.")
    return data


def _check_plain(handle: int, path: Path, noun: str) -> None:
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        raise InputError("it is not a plain file.", where=str(path), mend=f"Give the path of a {noun}.")
